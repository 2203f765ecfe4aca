"""A cluster of three nodes on this machine, made from deploy/cluster/node.conf: its addresses are all that differs."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

from collector.broker import Broker, free_port
from collector.broker.nats import find_nats

DEPLOY = Path(__file__).parent.parent / "deploy" / "cluster"
HOST = "127.0.0.1"
ROUTES = [f"192.0.2.{11 + n}:6222" for n in range(3)]


class Cluster:
    """Three nodes; each a Broker that can be killed and started again."""

    def __init__(self, folder: Path) -> None:
        self._client_ports, self._routes, self._mqtt_ports = ([free_port(HOST) for _ in range(3)] for _ in range(3))
        self.nodes = [self._node(folder / f"node-{n + 1}", n) for n in range(3)]
        self.servers = [f"nats://{HOST}:{port}" for port in self._client_ports]
        self.brokers = [f"{HOST}:{port}" for port in self._mqtt_ports]

    def _node(self, folder: Path, n: int) -> Broker:
        folder.mkdir(parents=True)
        text = (DEPLOY / "node.conf").read_text(encoding="utf-8")
        changes = {
            '"node-1"': f'"node-{n + 1}"',
            "0.0.0.0:4222": f"{HOST}:{self._client_ports[n]}",
            "0.0.0.0:6222": f"{HOST}:{self._routes[n]}",
            "0.0.0.0:1883": f"{HOST}:{self._mqtt_ports[n]}",
            "/var/lib/sieveward/cluster": str(folder / "js"),
            **{route: f"{HOST}:{port}" for route, port in zip(ROUTES, self._routes, strict=True)},
        }
        for old, new in changes.items():
            assert old in text, f"node.conf no longer has {old}"
            text = text.replace(old, new)
        settings = folder / "node.conf"
        settings.write_text(text, encoding="utf-8")
        program = find_nats()
        return Broker(program.named("nats-server"), [program.path, "-c", str(settings)], folder, HOST,
                      self._mqtt_ports[n])  # fmt: skip

    def start(self) -> None:
        """All at once: a node answers when most of them are there."""
        with ThreadPoolExecutor(3) as pool:
            list(pool.map(Broker.start, self.nodes))

    def stop(self) -> None:
        for node in self.nodes:
            if node.running:
                node.kill()


@contextmanager
def running_cluster(folder: Path) -> Iterator[Cluster]:
    cluster = Cluster(folder)
    try:
        cluster.start()
        yield cluster
    finally:
        cluster.stop()


def group_toml(cluster: Cluster, folder: Path, sites: dict[str, str], *, many_machines: bool = False) -> Path:
    """Write a group file, made from the one in deploy/, and its site files; returns where it lies."""
    (folder / "sites").mkdir(parents=True)
    for name, text in sites.items():
        (folder / "sites" / f"{name}.toml").write_text(text, encoding="utf-8")
    text = (DEPLOY / "group.toml").read_text(encoding="utf-8")
    text = text.replace("/srv/sieveward", "stores")
    if not many_machines:
        text = text.replace("many_machines = true", "many_machines = false")
    for n in range(3):
        text = text.replace(f"nats://192.0.2.{11 + n}:4222", cluster.servers[n])
        text = text.replace(f"192.0.2.{11 + n}:1883", cluster.brokers[n])
    path = folder / "group.toml"
    path.write_text(text, encoding="utf-8")
    return path
