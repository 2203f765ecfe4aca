"""The group file: where the cluster is, where the stores lie, and the folder of site files, checked key by key."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from collector.door import Door, DoorError, host_and_port
from collector.site import Site, SiteError, parse_site
from collector.site_lines import LineFinder, nearest

USER_VARIABLE: Final = "SIEVEWARD_NATS_USER"
PASSWORD_VARIABLE: Final = "SIEVEWARD_NATS_PASSWORD"  # noqa: S105 - a name, not a password


class GroupError(Exception):
    """The group file, or a site file it leads to, is wrong; the text names file, line and the way out."""


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class _Group(_Part):
    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]{0,39}$")
    sites: Path
    stores: Path
    many_machines: bool = False


class _Nats(_Part):
    servers: tuple[str, ...] = Field(min_length=1)
    replicas: int = Field(default=3, ge=1, le=5)
    ca: Path | None = None


class _Mqtt(_Part):
    brokers: tuple[str, ...] = Field(min_length=1)
    ca: Path | None = None


class _File(_Part):
    group: _Group
    nats: _Nats
    mqtt: _Mqtt


class Facility(BaseModel):
    """One facility of the group: its site file, read once, and its folder of data."""

    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)

    site_file: Path
    text: str
    site: Site
    data: Path


class GroupFile(BaseModel):
    """What a member is told; `many_machines` says that the stores lie where several machines open them.

    `replicas` is on how many nodes the group's table is kept.
    """

    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)

    id: str
    servers: tuple[str, ...]
    replicas: int
    nats_ca: Path | None
    many_machines: bool
    doors: tuple[Door, ...]
    facilities: dict[str, Facility]


def load_group_file(path: Path, mqtt_user: str = "", mqtt_password: str = "") -> GroupFile:
    """Read a group file and every *.toml of its folder of sites; GroupError with every fault of the file."""
    raw = _read(path)
    folder = path.parent
    return GroupFile(
        id=raw.group.id, servers=raw.nats.servers, replicas=raw.nats.replicas,
        nats_ca=folder / raw.nats.ca if raw.nats.ca else None, many_machines=raw.group.many_machines,
        doors=_doors(path, raw.mqtt, mqtt_user, mqtt_password),
        facilities=_facilities(path, folder / raw.group.sites, folder / raw.group.stores),
    )  # fmt: skip


def _read(path: Path) -> _File:
    try:
        text = path.read_text(encoding="utf-8")
        data = tomllib.loads(text)
        return _File.model_validate(data)
    except FileNotFoundError as error:
        raise GroupError(f"{path}: no such group file; deploy/cluster/group.toml is one to begin with") from error
    except (OSError, UnicodeDecodeError) as error:
        raise GroupError(f"{path}: cannot be read: {getattr(error, 'strerror', None) or error}") from error
    except tomllib.TOMLDecodeError as error:
        raise GroupError(f"{path}: not valid TOML: {error}") from error
    except ValidationError as error:
        lines = LineFinder(text)
        raise GroupError("\n".join(_fault(path, lines, dict(fault)) for fault in error.errors())) from error


def _fault(path: Path, lines: LineFinder, fault: dict[str, Any]) -> str:
    place = fault["loc"]
    where = f"{path}:{lines.line(place)}: {'.'.join(map(str, place))}"
    if fault["type"] == "extra_forbidden":
        parts: dict[str, type[BaseModel]] = {"group": _Group, "nats": _Nats, "mqtt": _Mqtt}
        part = parts[str(place[0])] if len(place) > 1 else _File
        return f"{where}: unknown key{nearest(str(place[-1]), part.model_fields)}"
    return f"{where}: {fault['msg'].lower()}"


def _doors(path: Path, mqtt: _Mqtt, user: str, password: str) -> tuple[Door, ...]:
    ca = path.parent / mqtt.ca if mqtt.ca else None
    try:
        return tuple(Door(*host_and_port(broker), user, password, ca) for broker in mqtt.brokers)
    except DoorError as error:
        raise GroupError(f"{path}: mqtt.brokers: {error}") from error


def _facilities(path: Path, sites: Path, stores: Path) -> dict[str, Facility]:
    found: dict[str, Facility] = {}
    for site_file in sorted(sites.glob("*.toml")):
        try:
            text = site_file.read_text(encoding="utf-8")
            site = parse_site(text, str(site_file))
        except (OSError, UnicodeDecodeError) as error:
            raise GroupError(f"{site_file}: cannot be read: {error}") from error
        except SiteError as error:
            raise GroupError(str(error)) from error
        if (other := found.get(site.facility.id)) is not None:
            raise GroupError(f"{site_file}: facility '{site.facility.id}' is in {other.site_file} too; remove one")
        found[site.facility.id] = Facility(site_file=site_file, text=text, site=site, data=stores / site.facility.id)
    if not found:
        raise GroupError(f"{path}: group.sites: {sites} holds no site file (*.toml); put one there for each facility")
    return found
