"""One unit: what it says now, what it is good for, its past, its hours, its alarms and its journal; `?unit=ID`."""

from __future__ import annotations

import streamlit as st

from dashboard import guide, service_words, words
from dashboard.board import places, shared_with, tile_of
from dashboard.capacity import panel_of
from dashboard.changeover import panel_html as card_html
from dashboard.doing import draw_doing, draw_lately_of
from dashboard.figures import current_values, figures_html
from dashboard.frame import EVERY_S, look, needed_now, strip
from dashboard.freshness import collector_lives
from dashboard.panel import panel_html
from dashboard.past import draw_charts, draw_record
from dashboard.tiles import tile_html

strip()
now, _ = needed_now()
units = [unit.id for unit in now.site.units] if now.site else list(now.units)
if not units:
    st.info(words.EMPTY_SITE)
    st.stop()
asked = st.query_params.get("unit")
if asked is not None and asked not in units:
    st.warning(words.NO_UNIT)
unit = st.selectbox(service_words.UNIT, units, index=units.index(asked) if asked in units else 0, width=320)
if asked != unit:
    st.query_params["unit"] = unit
ward = now.site.ward_of(unit) if now.site else places(now)[0]
draw_lately_of(unit, ward.id)
draw_doing(unit)


@st.fragment(run_every=EVERY_S)
def present() -> None:
    """Its tile and its last values."""
    screen = look()
    if screen.now is None:
        return
    known = screen.now
    own = [alarm for alarm in known.alarms if alarm.unit == unit]
    shared = shared_with(unit, known.alarms, known)
    tile = tile_of(unit, known, own, screen.now_ms, collector_lives(known, screen.wall_ms), shared)
    speaking = [alarm for alarm in (*own, *shared) if alarm.speaks]
    row = known.units.get(unit)
    values = figures_html(current_values(row), greyed=tile.greyed) if row else ""
    panel = panel_of(row, known.model_of(unit), known, screen.now_ms, stale=tile.greyed)
    st.html(f'<div class="sw-now"><div class="sw-wards sw-single">{tile_html(tile)}</div>{values}</div>'
            f"{panel_html(panel)}{card_html(known, ward.id, unit, speaking, screen.now_ms)}")  # fmt: skip


present()
draw_charts(unit, ward.id)
with st.expander(guide.FIGURES_TITLE):
    st.markdown("\n\n".join(guide.FIGURES_HELP))
with st.expander(guide.HOW_TITLE):
    st.markdown("\n\n".join(guide.CAPACITY_HELP))
draw_record(unit, ward.id)
