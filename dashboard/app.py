"""The dashboard's front door: run by Streamlit (see serve.py); whoever is not let in sees nothing of the facility."""

from __future__ import annotations

from typing import Literal

import streamlit as st

from collector.people.rights import PEOPLE, may
from dashboard import (
    access_words,
    compare_words,
    entrance,
    first_words,
    handover_words,
    limits_words,
    power_words,
    review_words,
    sensor_words,
    service_words,
    story_words,
    unitlist_words,
    words,
)
from dashboard.access import Access, Door, access, opened
from dashboard.frame import ASSETS, load_assets, look, speak

PATHS = ("units", "unit", "alarms", "handover", "backup", "due", "visits", "work", "parts", "fleet", "labels",
         "review", "power", "compare", "sensors", "limits", "data", "about", "first", "story",
         "people", "account", "sign-out")  # fmt: skip


def pages(found: Access) -> dict[str, list[st.Page]]:
    """The pages of this screen, by group; a wall screen has the board alone."""
    board = st.Page("screens/board.py", title=words.PAGE_BOARD, default=True)
    if found.door == Door.WALL:
        return {"": [board]}
    listed = {
        "": [
            board,
            st.Page("screens/units.py", title=unitlist_words.PAGE, url_path="units"),
            st.Page("screens/unit.py", title=words.PAGE_UNIT, url_path="unit", visibility="hidden"),
            st.Page("screens/alarms.py", title=words.PAGE_ALARMS, url_path="alarms"),
            st.Page("screens/handover.py", title=handover_words.PAGE, url_path="handover"),
            st.Page("screens/backup.py", title=service_words.BACKUP, url_path="backup"),
        ],
        service_words.UPKEEP: [
            st.Page("screens/due.py", title=service_words.DUE, url_path="due"),
            st.Page("screens/visits.py", title=service_words.VISITS, url_path="visits"),
            st.Page("screens/work.py", title=service_words.WORK, url_path="work"),
            st.Page("screens/parts.py", title=service_words.PARTS, url_path="parts"),
            st.Page("screens/fleet.py", title=service_words.FLEET, url_path="fleet"),
            st.Page("screens/labels.py", title=service_words.LABELS, url_path="labels"),
        ],
        service_words.RECORDS: [
            st.Page("screens/review.py", title=review_words.PAGE, url_path="review"),
            st.Page("screens/power.py", title=power_words.PAGE, url_path="power"),
            st.Page("screens/compare.py", title=compare_words.PAGE, url_path="compare"),
            st.Page("screens/sensors.py", title=sensor_words.PAGE, url_path="sensors"),
            st.Page("screens/limits.py", title=limits_words.PAGE, url_path="limits"),
            st.Page("screens/record.py", title=words.PAGE_DATA, url_path="data"),
            st.Page("screens/about.py", title=words.PAGE_ABOUT, url_path="about"),
            st.Page("screens/first.py", title=first_words.PAGE, url_path="first"),
            st.Page("screens/story.py", title=story_words.PAGE, url_path="story", visibility=_if_simulated()),
        ],
    }
    if own := own_pages(found):
        listed[found.account.name if found.account else access_words.PEOPLE] = own
    return listed


def _if_simulated() -> Literal["visible", "hidden"]:
    """Only a simulation has a story."""
    now = look(held=False).now
    return "visible" if now is not None and now.simulated else "hidden"


def own_pages(found: Access) -> list[st.Page]:
    """The pages of people and of one's own account."""
    own = []
    if found.door == Door.OPEN or (found.account and may(found.account.role, PEOPLE)):
        own.append(st.Page("screens/people.py", title=access_words.PEOPLE, url_path="people"))
    if found.account is not None:
        own.append(st.Page("screens/account.py", title=access_words.MY_ACCOUNT, url_path="account"))
        own.append(st.Page("screens/leave.py", title=access_words.SIGN_OUT, url_path="sign-out"))
    return own


st.set_page_config(page_title=words.PRODUCT, page_icon=str(ASSETS / "icon.svg"), layout="wide")
found = access(used=True)
speak(wall=found.door == Door.WALL)
load_assets()
opened(found)
if found.door in (Door.OPEN, Door.SIGNED_IN, Door.WALL):
    page = st.navigation(pages(found), position="hidden" if found.door == Door.WALL else "top")
    page.run()
else:
    # Under the same addresses, so that a label that was scanned leads to its unit once somebody has signed in.
    closed = [st.Page(entrance.draw_closed, title=words.PRODUCT, url_path=path) for path in PATHS]
    first = st.Page(entrance.draw_closed, title=words.PRODUCT, default=True)
    st.navigation([first, *closed], position="hidden").run()
