"""Which account a site needs, and what each may publish and read; pure.

Rights are MQTT topic filters. Whoever is not named here may nothing: both brokers refuse what is not allowed.
"""

from __future__ import annotations

from typing import Final, Literal, NamedTuple

from collector.site import Site
from collector.topics import ROOT, gauge_topic, heartbeat_topic, link_topic, readings_topic, signal_topic

Kind = Literal["collector", "check", "bridge", "ward"]
COLLECTOR: Final = "collector"
CHECK: Final = "check"  # an operator's: reads all of the facility, and writes where nobody else listens


class Owner(NamedTuple):
    """Whose an account is: the kind, and the id of the bridge or ward ("" for the two that are there once)."""

    kind: Kind
    of: str = ""

    @property
    def account(self) -> str:
        """The account's name, which is its user name at the broker."""
        return f"{self.kind}-{self.of}" if self.of else self.kind


class Rights(NamedTuple):
    """Topic filters that may be published to, and that may be read."""

    publish: tuple[str, ...] = ()
    read: tuple[str, ...] = ()


def owners(site: Site) -> list[Owner]:
    """Whoever needs an account: the collector, the operator's check, every bridge, every ward's screen."""
    bridges = [Owner("bridge", bridge.id) for bridge in site.bridges]
    wards = [Owner("ward", ward.id) for ward in site.places()]
    return [Owner(COLLECTOR), Owner(CHECK), *bridges, *wards]


def rights(site: Site, owner: Owner) -> Rights:
    """What an account may; nothing when its bridge or ward is no longer in the site file."""
    if owner not in owners(site):
        return Rights()
    facility = site.facility.id
    heartbeat = heartbeat_topic(facility)
    if owner.kind == "bridge":
        return _bridge(site, owner.of)
    if owner.kind == "ward":
        return Rights(read=(signal_topic(facility, owner.of), heartbeat))
    if owner.kind == "check":
        return Rights(publish=(f"{ROOT}/{facility}/check/#",), read=(f"{ROOT}/{facility}/#",))
    return Rights(
        publish=(signal_topic(facility, "+"), heartbeat),
        read=(readings_topic(facility, "+"), gauge_topic(facility, "+"), f"{ROOT}/{facility}/bridge/+/+"),
    )


def _bridge(site: Site, bridge_id: str) -> Rights:
    bridge = next(bridge for bridge in site.bridges if bridge.id == bridge_id)
    facility = site.facility.id
    listed = bool(bridge.units or bridge.cylinders)
    units, cylinders = (bridge.units, bridge.cylinders) if listed else (("+",), ("+",))
    own = link_topic(facility, bridge_id).removesuffix("link") + "+"
    return Rights(
        (
            *(readings_topic(facility, unit) for unit in units),
            *(gauge_topic(facility, cylinder) for cylinder in cylinders),
            own,
        )
    )
