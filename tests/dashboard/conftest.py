"""Stores to look at, and screens run on them."""

import time
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

import dashboard
from dashboard.launch import DATA_ENV
from tests.dashboard.hospital import MINUTE, Hospital, good, site_text, troubled

SCREENS = Path(dashboard.__file__).parent / "screens"


@pytest.fixture
def hospital(tmp_path):
    """A maker of hospitals: forty minutes of readings that end now, heard a moment ago."""
    made = []

    def make(values=good, units=24, minutes=40, text=None, **status):
        text = site_text(units) if text is None else text
        start = time.time_ns() // 1_000_000 - minutes * MINUTE
        made.append(Hospital(tmp_path / "data", text, start))
        if minutes:
            made[-1].play(minutes, values)
        made[-1].say(**status)
        return made[-1]

    yield make
    for one in made:
        one.store.close()


@pytest.fixture
def screen(tmp_path, monkeypatch):
    """A runner of screens on the store of this test: screen("board", ward="newborn")."""
    monkeypatch.setenv(DATA_ENV, str(tmp_path / "data"))

    def run(name, **query):
        st.cache_resource.clear()
        app = AppTest.from_file(str(SCREENS / f"{name}.py"), default_timeout=20)
        for key, value in query.items():
            app.query_params[key] = value
        return app.run()

    yield run
    st.cache_resource.clear()


def seen(app):
    """Everything a screen says, as one text."""
    assert not app.exception, app.exception
    parts = [block.proto.body for block in app.get("html")]
    for kind in ("markdown", "caption", "info", "warning", "error", "success", "subheader", "header"):
        parts += [str(one.value) for one in getattr(app, kind)]
    parts += [one.value.to_csv() for one in app.dataframe]
    return "\n".join(parts).replace("&#x27;", "'")


@pytest.fixture
def bad_hour(hospital):
    """A hospital in which a good deal has gone wrong."""
    return hospital(troubled)
