"""The bridge of the first use: into the site file, its own file to take along, and how one sees that it works."""

from __future__ import annotations

from urllib.parse import urlsplit

import streamlit as st

from collector.door import DoorError
from collector.rules.entries import JournalEntry
from collector.site import Bridge, Site
from dashboard import first_words as words
from dashboard.actions import Person, Refused
from dashboard.bridge_text import Wish, bridge_toml, broker_for, commands, needs_account, profiles, shares_line
from dashboard.describing import added, id_of
from dashboard.first_forms import may_describe
from dashboard.firstuse import heard
from dashboard.queries import Now
from dashboard.site_changes import ask

HEARD: int = 8  # names of units that are written out


def draw_adding(site: Site, person: Person) -> None:
    """A bridge into the site file: its name, its place, the units that it may speak for."""
    if not may_describe(person):
        return
    if not site.units:
        st.info(words.FIRST_THAT)
        return
    with st.form("first-bridge", border=False):
        one, two = st.columns(2)
        one.text_input(words.BRIDGE_NAME, key="first-bridge-name", max_chars=40)
        two.text_input(words.PLACE, key="first-bridge-place", max_chars=80)
        st.multiselect(words.BEHIND, [unit.id for unit in site.units], _unread(site), key="first-bridge-units")
        st.form_submit_button(words.ADD_BRIDGE, on_click=_add, args=(site, person), key="add-bridge")


def _unread(site: Site) -> list[str]:
    """Units that no bridge names yet."""
    named = {unit for bridge in site.bridges for unit in bridge.units}
    return [unit.id for unit in site.units if unit.id not in named]


def _add(site: Site, person: Person) -> None:
    def make(now_ms: int) -> list[JournalEntry]:
        state = st.session_state
        if not state["first-bridge-units"]:
            raise Refused(words.NO_UNITS)
        name = id_of(state["first-bridge-name"], {bridge.id for bridge in site.bridges})
        said = {"place": " ".join(state["first-bridge-place"].split()), "units": list(state["first-bridge-units"])}
        return [added("bridge", {"id": name} | {key: one for key, one in said.items() if one}, person, now_ms)]

    if ask(make):
        st.session_state["first-bridge-name"] = st.session_state["first-bridge-place"] = ""


def draw_file(now: Now, site: Site) -> None:
    """The bridge file of one of the site's bridges, and what is typed on the bridge."""
    if not site.bridges:
        return
    st.markdown(f"**{words.ITS_FILE}**")
    one, two, three = st.columns(3)
    bridge = one.selectbox(words.BRIDGE, site.bridges, format_func=lambda bridge: bridge.title, key="file-bridge")
    broker = two.text_input(words.BROKER, _broker(now), key="file-broker", help=words.BROKER_HELP)
    port = three.text_input(words.PORT, "/dev/ttyUSB0", key="file-port")
    baud = one.selectbox(words.BAUD, (9600, 1200, 2400, 4800, 19_200, 38_400, 57_600, 115_200), key="file-baud",
                         format_func=str)  # fmt: skip
    profile = st.selectbox(words.PROFILE, list(profiles()), index=list(profiles()).index("key-value-line"),
                           format_func=lambda name: f"{name}: {profiles()[name].about}", key="file-profile",
                           help=words.PROFILE_HELP)  # fmt: skip
    units = bridge.units or tuple(unit.id for unit in site.units)
    _draw_text(Wish(site.facility.id, bridge.id, units, profile, port.strip(), baud, broker.strip()))


def _broker(now: Now) -> str:
    where = now.collector.broker if now.collector else ""
    return broker_for(where, urlsplit(st.context.url or "").hostname or "")


def _draw_text(wish: Wish) -> None:
    try:
        text = bridge_toml(wish)
    except DoorError as error:
        st.error(str(error))
        return
    st.code(text, language="toml", wrap_lines=True)
    st.download_button(words.DOWNLOAD, text, f"{wish.bridge}.toml", "application/toml", key="file-download")
    if shares_line(wish.profile):
        st.caption(words.SHARED)
    st.write(words.HOW_TO)
    if needs_account(wish.broker):
        st.write(words.ACCOUNT_HOW)
    st.code("\n".join(commands(wish)), language="sh", wrap_lines=True)


def works(now: Now) -> str:
    """Whether it works, in words: bridges that reached the broker, and units that were heard."""
    found, site = heard(now), now.site
    if found:
        more = len(found) - HEARD
        names = ", ".join([*found[:HEARD], *([words.more_heard(more)] if more > 0 else [])])
        return words.heard(names)
    bridges: tuple[Bridge, ...] = site.bridges if site else ()
    reached = any(now.bridges.get(bridge.id, {}).get("state") == "online" for bridge in bridges)
    return f"{words.ONLINE if reached else words.NOT_ONLINE} {words.NONE_HEARD}"
