"""Accounts and rights in the brokers' own words; pure texts."""

from __future__ import annotations

import json
from collections.abc import Iterable

from collector.doors.register import Account
from collector.doors.rights import Rights

MADE = "# made by 'sieveward site keys'; changes made here are lost\n"
Entry = tuple[Account, Rights]


def subject(topic_filter: str) -> str:
    """The NATS subject of an MQTT topic filter; ids have no dots, so nothing is ambiguous."""
    return topic_filter.replace("/", ".").replace("+", "*").replace("#", ">")


def nats_accounts(entries: Iterable[Entry]) -> str:
    """The accounts for nats-server: MQTT only, so that nobody comes in by NATS's own protocol."""
    users = "\n".join(_nats_user(account, rights) for account, rights in entries)
    return f"{MADE}accounts {{\n  SIEVEWARD: {{\n    jetstream: enabled\n    users: [\n{users}\n    ]\n  }}\n}}\n"


def _nats_user(account: Account, rights: Rights) -> str:
    allowed = f"publish: {_nats_rule(rights.publish)}, subscribe: {_nats_rule(rights.read)}"
    return (
        f'      {{ user: {json.dumps(account.name)}, password: {json.dumps(account.nats)}, '
        f'allowed_connection_types: ["MQTT"],\n        permissions: {{ {allowed} }} }}'
    )  # fmt: skip


def _nats_rule(filters: Iterable[str]) -> str:
    subjects = [subject(topic_filter) for topic_filter in filters]
    return f"{{ allow: {json.dumps(subjects)} }}" if subjects else '{ deny: ">" }'


def mosquitto_passwords(entries: Iterable[Entry]) -> str:
    """The password file for Mosquitto, which knows no comments."""
    return "".join(f"{account.name}:{account.mosquitto}\n" for account, _ in entries)


def mosquitto_permissions(entries: Iterable[Entry]) -> str:
    """The access control list for Mosquitto; a user without a topic may nothing."""
    lines = [MADE]
    for account, rights in entries:
        lines.append(f"\nuser {account.name}\n")
        lines += [f"topic write {topic}\n" for topic in rights.publish]
        lines += [f"topic read {topic}\n" for topic in rights.read]
    return "".join(lines)
