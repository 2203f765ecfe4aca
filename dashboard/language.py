"""In which language a screen is told: `?lang=`, what was chosen here before, the browser's own, the site file's.

A ward's wall screen has nobody who chose: there the site file's `[facility] language` comes before the browser's.
"""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Sequence
from functools import lru_cache
from threading import current_thread
from typing import Final

import streamlit as st

from collector.tongue import Language, set_finder
from collector.tongue.catalogues import direction, languages
from collector.tongue.current import ENGLISH

COOKIE: Final = "sw-language"
PARAM: Final = "lang"
_SESSIONS: Final = 5_000
_spoken: OrderedDict[str, Language] = OrderedDict()


def offered(tag: str) -> Language | None:
    """The language among those there are that a tag asks for: the tag itself, else its language without a region."""
    known = {one.lower(): one for one in languages()}
    asked = tag.strip().lower().replace("_", "-")
    return known.get(asked) or known.get(asked.split("-")[0])


@lru_cache(maxsize=256)
def of_header(accepted: str) -> Language | None:
    """The first language that a browser accepts and that there is (RFC 9110, 12.5.4)."""
    asked: list[tuple[float, str]] = []
    for part in accepted[:500].split(","):
        tag, _, weight = part.partition(";q=")
        try:
            quality = float(weight or 1)
        except ValueError:
            continue
        if quality > 0:
            asked.append((-quality, tag))
    found = (offered(tag) for _, tag in sorted(asked, key=lambda one: one[0]))
    return next((one for one in found if one is not None), None)


def chosen(tags: Sequence[str], accepted: str, facility: str, *, wall: bool = False) -> Language:
    """The language of a screen; `tags` are the choices, the strongest first."""
    for tag in tags:
        if tag and (found := offered(tag)) is not None:
            return found
    own = [offered(facility) if facility else None, of_header(accepted)]
    return next((one for one in (own if wall else own[::-1]) if one is not None), ENGLISH)


def settle(facility: str, *, wall: bool) -> Language:
    """Settle in which language this session's screen is told from now on; once a whole run."""
    asked = st.query_params.get(PARAM, "")
    kept = st.session_state.get(COOKIE, "") or st.context.cookies.get(COOKIE, "")
    spoken = chosen([asked, kept], st.context.headers.get("Accept-Language", ""), facility, wall=wall)
    if asked and offered(asked) is not None:
        st.session_state[COOKIE] = spoken
    if (session := _session()) is not None:
        _spoken[session] = spoken
        _spoken.move_to_end(session)
        while len(_spoken) > _SESSIONS:
            _spoken.popitem(last=False)
    return spoken


def names() -> dict[Language, str]:
    """The languages that there are, each by its own name."""
    from babel import Locale

    return {one: (Locale.parse(one, sep="-").get_display_name() or one).capitalize() for one in languages()}


def links(page: str) -> str:
    """The languages that there are as links that choose them, each by its own name; Markdown."""
    return " · ".join(f"[{name}](./{page}?{PARAM}={one})" for one, name in names().items())


def tell_browser(spoken: Language, *, keep: bool) -> None:
    """Tell the browser in which language and direction the page is written, and have it keep a choice for a year."""
    told = f"Object.assign(document.documentElement,{json.dumps({'lang': spoken, 'dir': direction(spoken)})});"
    if keep:
        told += f'document.cookie="{COOKIE}={spoken};path=/;max-age=31536000;samesite=lax";'
    st.html(f"<script>{told}</script>", unsafe_allow_javascript=True)


def _session() -> str | None:
    """The session whose screen this thread draws: what Streamlit itself keeps on its threads, without a lock."""
    context = getattr(current_thread(), "streamlit_script_run_ctx", None)
    return None if context is None else str(context.session_id)


def _find() -> Language | None:
    session = _session()
    return None if session is None else _spoken.get(session)


set_finder(_find)
