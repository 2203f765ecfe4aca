"""A sheet of labels to print: each unit's code opens its page on a phone."""

from __future__ import annotations

from functools import partial
from urllib.parse import urlsplit

import streamlit as st

from dashboard import service_words as words
from dashboard import words as common_words
from dashboard.board import places
from dashboard.frame import needed_now, strip
from dashboard.labels import COLUMNS, ROWS, labels_pdf, unit_url

strip()
now, _ = needed_now()
st.header(words.LABELS)
if now.site is None or not now.site.units:
    st.info(common_words.EMPTY_SITE)
    st.stop()
site = now.site
here = urlsplit(st.context.url or "http://localhost")
wards = {place.id: place.title for place in places(now)}
one, two = st.columns(2)
base = one.text_input(words.LABEL_ADDRESS, f"{here.scheme}://{here.netloc}", help=words.LABEL_ADDRESS_HELP).strip()
ward = two.selectbox(words.WARD, ["", *wards], format_func=lambda name: wards.get(name, words.ALL_WARDS))
if not base.startswith(("http://", "https://")):
    st.error(words.LABEL_ADDRESS_WRONG)
    st.stop()
if here.hostname in ("localhost", "127.0.0.1", "::1") and (here.hostname or "") in base:
    st.warning(words.LABEL_ADDRESS_OWN)
units = [unit for unit in site.units if ward in ("", unit.ward)]
st.write(words.labels_count(len(units), -(-len(units) // (COLUMNS * ROWS))))
if units:
    st.download_button(words.LABELS_DOWNLOAD, partial(labels_pdf, site, base, units), "labels.pdf", "application/pdf",
                       type="primary", on_click="ignore")  # fmt: skip
    st.caption(words.label_example(unit_url(base, units[0].id)))
