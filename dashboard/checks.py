"""The form of a check of purity at rated flow, for a unit's page and for a work order's."""

from __future__ import annotations

from functools import partial

import streamlit as st

from collector.rules.entries import JournalEntry
from collector.service.proof import Measured, calibrations, limit_of
from collector.service.work import WorkOrder
from collector.site import Site
from dashboard import service_words as words
from dashboard.actions import Person
from dashboard.desk import act
from dashboard.frame import look
from dashboard.queries import Now
from dashboard.service_actions import prove


def draw_check(now: Now, unit: str, person: Person, order: WorkOrder | None = None) -> None:
    """Which analyser, what it showed before and after, at which flow; what is missing or wrong is said on writing."""
    if now.site is None:
        return
    site, model, key = now.site, now.site.model_of(unit), f"check-{unit}"
    found = calibrations(site, look().now_ms)
    if not found:
        st.warning(words.NO_ANALYSER)
        return
    usable = {one.analyser: words.until(one.title, one.until) for one in reversed(found) if one.good}
    usable |= {one.analyser: f"{one.title}: {words.not_usable(one.why)}" for one in found if not one.good}
    st.caption(words.check_how(f"{model.rated_flow_lpm:g}", f"{limit_of(model):g}"))
    with st.form(key, border=False):
        st.selectbox(words.ANALYSER, list(usable), format_func=usable.__getitem__, key=f"{key}-analyser")
        one, two, three = st.columns(3)
        one.number_input(words.AS_FOUND_IN, 0.0, 100.0, None, 0.1, format="%.1f", key=f"{key}-found",
                         placeholder=words.WHERE_IT_RAN)  # fmt: skip
        two.number_input(words.AS_LEFT_IN, 0.0, 100.0, None, 0.1, format="%.1f", key=f"{key}-left")
        three.number_input(words.FLOW_IN, 0.0, 50.0, model.rated_flow_lpm, 0.5, format="%.1f", key=f"{key}-flow")
        st.form_submit_button(words.WRITE_CHECK, type="primary", on_click=_write, args=(site, unit, person, order))


def _write(site: Site, unit: str, person: Person, order: WorkOrder | None) -> None:
    state, key = st.session_state, f"check-{unit}"
    left, flow = state[f"{key}-left"], state[f"{key}-flow"]
    measured = Measured(state[f"{key}-found"], float("nan") if left is None else left, flow or 0.0)
    act(
        partial(_entry, site, unit, person, state[f"{key}-analyser"], measured, order), f"{unit}: {words.CHECK_WRITTEN}"
    )


def _entry(
    site: Site, unit: str, person: Person, analyser: str, measured: Measured, order: WorkOrder | None, now_ms: int
) -> JournalEntry:
    return prove(site, unit, person, now_ms, analyser, measured, order)
