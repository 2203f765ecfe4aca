"""The embedded MQTT broker: started here, and nowhere else is it known which one it is.

with start_nats(data_dir) as broker:
    connect(broker.host, broker.port)
"""

from collector.broker.errors import BrokerError
from collector.broker.mosquitto import start_mosquitto
from collector.broker.nats import start_nats
from collector.broker.ports import free_port
from collector.broker.process import Broker

__all__ = ["Broker", "BrokerError", "free_port", "start_mosquitto", "start_nats"]
