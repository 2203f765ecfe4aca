"""What can go wrong with a broker, in plain sentences."""


class BrokerError(Exception):
    """The broker cannot be started or kept; the text says why and what to do."""


class PortTaken(BrokerError):
    """Another program listens where the broker should."""
