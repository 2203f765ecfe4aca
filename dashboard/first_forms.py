"""The first steps of the first use: the hospital, its wards, its models; each a form that asks for a change."""

from __future__ import annotations

from functools import cache
from zoneinfo import available_timezones

import streamlit as st

from collector.people.rights import DESCRIBE, may
from collector.rules.entries import JournalEntry
from collector.site import Model, Site
from dashboard import first_words as words
from dashboard.actions import Person, Refused
from dashboard.describing import added, described, id_of, names_in
from dashboard.language import names
from dashboard.site_changes import ask


@cache
def _zones() -> list[str]:
    return ["UTC", *sorted(zone for zone in available_timezones() if "/" in zone and not zone.startswith("Etc/"))]


def may_describe(person: Person) -> bool:
    """Whether this is theirs to do; said where it is not."""
    if may(person.role, DESCRIBE):
        return True
    st.info(words.NOT_YOURS)
    return False


def draw_hospital(site: Site, person: Person) -> None:
    """Name, time zone, language, height."""
    if not may_describe(person):
        return
    known = site.facility
    zones = [known.timezone, *(zone for zone in _zones() if zone != known.timezone)]
    spoken = {known.language: known.language} | names()
    with st.form("first-hospital", border=False):
        one, two = st.columns(2)
        one.text_input(words.NAME, known.name, key="first-name", max_chars=80)
        two.selectbox(words.ZONE, zones, key="first-zone")
        one.selectbox(words.LANGUAGE, list(spoken), format_func=spoken.__getitem__, key="first-language")
        two.number_input(words.ALTITUDE, -450.0, 6000.0, known.altitude_m, 10.0, key="first-altitude", format="%g",
                         help=words.ALTITUDE_HELP)  # fmt: skip
        st.form_submit_button(words.SAVE, on_click=_save, args=(site, person), key="save-hospital")


def _save(site: Site, person: Person) -> None:
    ask(lambda now_ms: _hospital(site, person, now_ms))


def _hospital(site: Site, person: Person, now_ms: int) -> list[JournalEntry]:
    state, known = st.session_state, site.facility
    said = {"name": " ".join(state["first-name"].split()), "timezone": state["first-zone"],
            "language": state["first-language"], "altitude_m": float(state["first-altitude"])}  # fmt: skip
    if not said["name"]:
        raise Refused(words.NAME_MISSING)
    news = {key: value for key, value in said.items() if value != getattr(known, key)}
    if not news:
        raise Refused(words.NOTHING_NEW)
    return [described(news, person, now_ms)]


def draw_wards(site: Site, person: Person) -> None:
    """Names of wards, one a line."""
    _there([ward.title for ward in site.wards])
    if not may_describe(person):
        return
    with st.form("first-wards", border=False):
        st.text_area(words.WARD_NAMES, key="first-wards-names", max_chars=2000, height=130)
        st.form_submit_button(words.ADD_WARDS, on_click=_add_wards, args=(site, person), key="add-wards")


def _there(names: list[str]) -> None:
    if names:
        st.caption(f"{words.THERE}: {', '.join(names[:40])}{' …' if len(names) > 40 else ''}")


def _add_wards(site: Site, person: Person) -> None:
    def make(now_ms: int) -> list[JournalEntry]:
        taken = {ward.id for ward in site.wards}
        called = {name: id_of(name, taken) for name in names_in(st.session_state["first-wards-names"])}
        return [added("ward", {"id": one, "name": name}, person, now_ms) for name, one in called.items()]

    if ask(make):
        st.session_state["first-wards-names"] = ""


def draw_models(site: Site, person: Person) -> None:
    """A model and its limits; what is left at its default is not written down, so a default stays one."""
    _there([model.id for model in site.models])
    if not may_describe(person):
        return
    fresh = Model(id="default")
    with st.form("first-models", border=False):
        one, two, three = st.columns(3)
        one.text_input(words.MODEL_NAME, key="first-model", max_chars=40)
        two.number_input(words.RATED, 0.5, 60.0, fresh.rated_flow_lpm, 0.5, help=words.RATED_HELP,
                         key="first-rated_flow_lpm", format="%g")  # fmt: skip
        three.number_input(words.WARM_UP, 0.0, 60.0, fresh.warm_up_min, 1.0, help=words.WARM_UP_HELP,
                           key="first-warm_up_min", format="%g")  # fmt: skip
        for column, key, label, text in ((one, "amber_pct", words.AMBER, words.AMBER_HELP),
                                         (two, "red_pct", words.RED, words.RED_HELP),
                                         (three, "shutdown_pct", words.SHUTDOWN, words.SHUTDOWN_HELP)):  # fmt: skip
            column.number_input(label, 22.0, 95.0, getattr(fresh, key), 0.5, key=f"first-{key}", format="%g", help=text)
        st.form_submit_button(words.ADD_MODEL, on_click=_add_model, args=(site, person), key="add-model")


def _add_model(site: Site, person: Person) -> None:
    def make(now_ms: int) -> list[JournalEntry]:
        state, fresh = st.session_state, Model(id="default")
        keys = ("rated_flow_lpm", "amber_pct", "red_pct", "shutdown_pct", "warm_up_min")
        said = {key: float(state[f"first-{key}"]) for key in keys}
        if not said["shutdown_pct"] < said["red_pct"] < said["amber_pct"]:
            raise Refused(words.ORDER)
        kept = {key: value for key, value in said.items() if key == keys[0] or value != getattr(fresh, key)}
        name = id_of(state["first-model"], {model.id for model in site.models})
        return [added("model", {"id": name, **kept}, person, now_ms)]

    if ask(make):
        st.session_state["first-model"] = ""
