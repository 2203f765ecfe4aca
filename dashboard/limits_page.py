"""The parts of the page on which other limits are tried on the past.

Rules of this file: nothing that runs is altered; the right is asked before a try begins, not only where it is drawn.
"""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Final

import streamlit as st

from collector.people.rights import ROLES, TRY_LIMITS, may
from collector.reading import parse_utc
from collector.site import Site
from dashboard import access, limits_words, service_words
from dashboard import limits_words as words
from dashboard.board import places
from dashboard.frame import in_words
from dashboard.launch import data_dir
from dashboard.limit_form import RULES, Option, changes_toml, groups, value_text
from dashboard.limits_rows import change_rows, count_rows, difference_rows, losses, said
from dashboard.queries import Now
from dashboard.sheet import sheet_html
from dashboard.times import day_end_ms, local, moment_text
from dashboard.tryout import MOST_READINGS, READINGS_PER_S, Desk, Outcome, Request, Tryout, chosen, readings_in
from dashboard.words import name_of

DAYS: Final = 7
_TRIED: Final = "limits-tried"
_RUN: Final = "limits-run"


@st.cache_resource(show_spinner=False)
def desk() -> Desk:
    """One for all screens of this dashboard."""
    return Desk()


def may_try() -> bool:
    """Whether whoever is here may try limits; in an open simulation, who says that they have such a role."""
    if (person := access.current()) is not None:
        return may(person.role, TRY_LIMITS)
    state = st.session_state
    role = st.selectbox(service_words.ROLE, ROLES, index=ROLES.index(state.get("as", "engineer")), width=320,
                        format_func=name_of, key="limits-role")  # fmt: skip
    return may(role, TRY_LIMITS)


def draw_changes(site: Site) -> dict[str, Option]:
    """What to change, and the changes so far; returns all that can be tried, by id."""
    known = groups(site)
    one, two, three = st.columns((2, 3, 2), vertical_alignment="bottom")
    of = one.selectbox(words.WHAT, list(known), key="limits-of")
    at = two.selectbox(words.LIMIT, range(len(known[of])), key=f"limits-key-{of}",
                       format_func=lambda place: known[of][place].title)  # fmt: skip
    option = known[of][at]
    today = value_text(option.value, option.sign)
    three.number_input(f"{words.NEW_VALUE}{f', {option.sign}' if option.sign else ''} ({words.now_is(today)})",
                       value=float(option.value or 0), step=_step(option), format="%g", key=f"limits-value-{option.id}",
                       help=option.help or None)  # fmt: skip
    if option.help:
        st.caption(option.help)
    st.button(words.ADD, on_click=_add, args=(option.id,))
    options = {option.id: option for listed in known.values() for option in listed}
    _draw_tried(options)
    return options


def _step(option: Option) -> float:
    return 1.0 if option.sign in ("s", "min", "h", "days", "W", "V") or isinstance(option.value, int) else 0.5


def _add(place: str) -> None:
    st.session_state.setdefault(_TRIED, {})[place] = st.session_state[f"limits-value-{place}"]


def _remove() -> None:
    for place in st.session_state.get("limits-remove", ()):
        st.session_state[_TRIED].pop(place, None)


def tried() -> dict[str, float]:
    """The changes so far."""
    return dict(st.session_state.get(_TRIED, {}))


def _draw_tried(options: dict[str, Option]) -> None:
    st.subheader(words.CHANGES)
    changes = {place: value for place, value in tried().items() if place in options}
    if not changes:
        st.write(words.NO_CHANGES)
        return
    st.html(sheet_html(words.CHANGE_COLUMNS, change_rows(options, changes), 60))
    st.pills(words.REMOVE, list(changes), format_func=lambda place: options[place].title, selection_mode="multi",
             key="limits-remove", on_change=_remove)  # fmt: skip


def draw_span(now: Now, site: Site, now_ms: int) -> Request | None:
    """Which past; None where it cannot be tried, which is said."""
    today = local(now_ms, now.zone).date()
    one, two = st.columns(2)
    first = one.date_input(words.FROM, today - timedelta(days=DAYS), max_value=today, key="limits-from",
                           format="YYYY-MM-DD")  # fmt: skip
    last = two.date_input(words.TO, today, max_value=today, key="limits-to", format="YYYY-MM-DD")
    names = {place.id: place.title for place in places(now)}
    wards = st.multiselect(words.WARDS, list(names), format_func=names.__getitem__, key="limits-wards")
    units = st.multiselect(words.UNITS, chosen(site, wards, []) or [unit.id for unit in site.units], key="limits-units")
    from_ms, to_ms = _begin_ms(first, now), min(now_ms, day_end_ms(last, now.zone))
    if to_ms <= from_ms:
        st.warning(words.WRONG_SPAN)
        return None
    request = Request(data_dir=str(data_dir()), toml="", from_ms=from_ms, to_ms=to_ms, units=chosen(site, wards, units))
    fits = False
    with in_words():
        fits = _fits(request, now, now_ms)
    return request if fits else None


def _begin_ms(day: date, now: Now) -> int:
    return round(datetime.combine(day, time(), now.zone).timestamp() * 1000)


def _fits(request: Request, now: Now, now_ms: int) -> bool:
    """Say what it will take, or why it is not tried."""
    count, kept_ms = readings_in(data_dir(), request.from_ms, request.to_ms, request.units)
    if kept_ms is not None and kept_ms > request.from_ms:
        st.info(words.kept_from(moment_text(kept_ms, now_ms, now.zone)))
    if not count:
        st.info(words.NO_READINGS)
    elif count > MOST_READINGS:
        st.warning(words.too_large(count, MOST_READINGS))
    else:
        st.caption(words.takes(count, count / READINGS_PER_S))
    return 0 < count <= MOST_READINGS


def draw_try(request: Request | None, options: dict[str, Option]) -> None:
    """The button that begins it."""
    changes = {place: value for place, value in tried().items() if place in options}
    running = isinstance(run := st.session_state.get(_RUN), Tryout) and not run.over
    if st.button(words.RUN, type="primary", disabled=request is None or not changes or running) and request:
        toml = changes_toml(options, changes)
        begun = desk().start(Request(data_dir=request.data_dir, toml=toml, from_ms=request.from_ms, to_ms=request.to_ms,
                                     units=request.units))  # fmt: skip
        if begun is None:
            st.warning(words.BUSY)
        else:
            st.session_state[_RUN] = begun


def draw_result(now: Now, now_ms: int) -> None:
    """How far it is, or what it came to."""
    run = st.session_state.get(_RUN)
    if not isinstance(run, Tryout):
        return
    if not run.over:
        st.fragment(_going, run_every=1.0)()
    elif run.stopped:
        st.info(words.STOPPED)
    elif run.told.outcome is None:
        st.error(words.failed(run.told.failed))
    else:
        draw_outcome(run.told.outcome, now, now_ms)
        draw_apply(run.request.toml)


def _going() -> None:
    run = st.session_state[_RUN]
    st.progress(run.share, text=f"{limits_words.RUNNING}: {run.share:.0%}")
    if st.button(words.CANCEL):
        run.stop()
    if run.over:
        st.rerun(scope="app")


def draw_outcome(outcome: Outcome, now: Now, now_ms: int) -> None:
    """Counts, what is lost, and the alarms that differ."""
    found = outcome.comparison
    lost = [words.lost(one.unit, moment_text(parse_utc(one.at), now_ms, now.zone)) for one in outcome.lost[:10]]
    if losses(found, lost):
        st.error("\n\n".join([f"**{words.LOST_TITLE}**", *lost]))
    for line in said(found):
        st.write(line)
    st.subheader(words.COUNTS)
    st.html(sheet_html(words.COUNT_COLUMNS, count_rows(found), 60))
    st.subheader(words.SAME_TABLE)
    if outcome.differences:
        st.html(sheet_html(words.DIFFERENCE_COLUMNS, difference_rows(outcome.differences, now, now_ms), 100))
    else:
        st.write(words.NO_DIFFERENCE)
    st.caption(words.CAUTION)


def draw_apply(toml: str) -> None:
    """How a change becomes the rule: the lines, and where they go."""
    with st.expander(words.APPLY):
        st.code(toml, language="toml")
        if f"[{RULES}]" != toml.strip().split("\n", 1)[0] or "\n[" in toml:
            st.write(words.APPLY_SITE)
        if f"[{RULES}]" in toml:
            st.write(words.APPLY_RULES)
