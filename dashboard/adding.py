"""“Add a unit” on the page of all units: the form, what became of it, and taking back one that was never heard."""

from __future__ import annotations

import streamlit as st

from dashboard import place_words as words
from dashboard import unit_form
from dashboard.crew import who_records
from dashboard.doing import draw_lately
from dashboard.frame import EVERY_S, look
from dashboard.lately import is_unit_list
from dashboard.queries import Now
from dashboard.site_changes import draw_fault


def draw_adding(now: Now) -> None:
    """Who, and the form, closed until it is wanted; below it what was added lately."""
    if now.site is None:
        return
    with st.expander(words.ADD_UNIT, key="add-unit"):
        st.caption(words.ADD_HOW)
        unit_form.draw(now.site, who_records(now))
        draw_fault()
    _watch(len(now.site.units))


@st.fragment(run_every=EVERY_S)
def _watch(listed: int) -> None:
    """What became of it; the page is drawn anew when there are other units than it lists."""
    now = look().now
    if now is not None and now.site is not None and len(now.site.units) != listed:
        st.rerun(scope="app")
    draw_lately(is_unit_list)
