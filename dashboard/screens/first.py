"""The first use: from an empty hospital to the first live unit and a tried alarm, step by step; `?step=` opens one."""

from __future__ import annotations

import streamlit as st

from dashboard import access, bridge_form, first_forms, unit_form, way_trial
from dashboard import first_words as words
from dashboard import peoplerows as people
from dashboard.crew import who_records
from dashboard.firstuse import NAMES, Step, first_open, steps
from dashboard.frame import EVERY_S, in_words, look, needed_now, strip
from dashboard.launch import data_dir
from dashboard.queries import Now
from dashboard.site_changes import draw_answers

_DRAWN = "first-drawn"


def found_steps(now: Now) -> list[Step]:
    """The steps as they are now; StoreError."""
    return steps(now, len(people.people(data_dir()).accounts))


@st.fragment(run_every=EVERY_S)
def watch() -> None:
    """What the collector made of what was asked for; the page is drawn anew when a step has changed."""
    screen = look()
    if screen.now is None:
        return
    with in_words():
        draw_answers(screen.now, screen.wall_ms)
        fresh = (screen.now.site, found_steps(screen.now))
        if st.session_state.get(_DRAWN) not in (None, fresh):
            st.rerun(scope="app")
    st.caption(bridge_form.works(screen.now))


strip()
now, _ = needed_now()
st.header(words.PAGE)
if now.site is None:
    st.info(words.NO_SITE)
    st.stop()
site = now.site
with in_words():
    every = found_steps(now)
    st.session_state[_DRAWN] = (site, every)
    st.write(words.INTRO)
    st.write(words.progress(sum(one.done for one in every), len(every)))
    if all(one.done for one in every):
        st.success(words.COMPLETE)
    person = access.current() or who_records(now)
    watch()
    asked = st.query_params.get("step", "")
    opened = asked if asked in NAMES else first_open(every)
    for number, step in enumerate(every, 1):
        state = words.DONE if step.done else words.TO_DO if step.needed else words.LATER
        with st.expander(words.heading(number, words.TITLES[step.name], state), expanded=step.name == opened):
            st.caption(words.WHY[step.name])
            match step.name:
                case "hospital":
                    first_forms.draw_hospital(site, person)
                case "wards":
                    first_forms.draw_wards(site, person)
                case "models":
                    first_forms.draw_models(site, person)
                case "units":
                    st.write(words.units_there(len(site.units)))
                    unit_form.draw(site, person)
                case "bridge":
                    bridge_form.draw_adding(site, person)
                    bridge_form.draw_file(now, site)
                case "people":
                    st.write(words.PEOPLE_HOW)
                case "test":
                    way_trial.draw(now, site, person)
