"""Single sign-on through Streamlit's own OpenID Connect; off unless a file is named (`sieveward dashboard --sso FILE`).

Rules of this file: the provider only says who somebody is; what they may do is their account's here. Streamlit's cookie
of the provider's word lives until our session has begun, seconds later; from then on our session alone counts.
"""

from __future__ import annotations

import os
import secrets as random
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from dashboard.launch import SSO_ENV

if TYPE_CHECKING:
    from streamlit.runtime.secrets import SecretsValue

NEEDED: Final = ("server_metadata_url", "client_id", "client_secret", "redirect_uri")
KNOWN: Final = (*NEEDED, "claim", "cookie_secret")


class SsoError(Exception):
    """The file of the single sign-on cannot be used; the text names it and says why."""


def read_sso(path: Path) -> dict[str, str]:
    """What a file of a single sign-on says: NEEDED, and claim ("email" or "sub"); SsoError."""
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SsoError(f"{path}: {error}") from error
    strange = [name for name in found if name not in KNOWN]
    missing = [name for name in NEEDED if not isinstance(found.get(name), str)]
    if strange or missing:
        said = f"does not know '{strange[0]}'" if strange else f"needs '{missing[0]}' as a text"
        raise SsoError(f'{path}: it {said}; it has {", ".join(NEEDED)}, and may have claim = "email" or "sub"')
    if found.get("claim", "email") not in ("email", "sub"):
        raise SsoError(f'{path}: claim must be "email" or "sub"')
    return {name: str(value) for name, value in found.items()}


def settings() -> dict[str, str] | None:
    """The file that was named; None when there is none."""
    path = os.environ.get(SSO_ENV)
    return read_sso(Path(path)) if path else None


def secrets() -> dict[str, SecretsValue] | None:
    """What Streamlit is told; its cookie is signed with a key of this start, since it lives for seconds only."""
    found = settings()
    if found is None:
        return None
    auth: dict[str, SecretsValue] = {name: found[name] for name in NEEDED}
    auth["cookie_secret"] = found.get("cookie_secret") or random.token_hex(32)
    return {"auth": auth}


def subject_of(user: dict[str, Any], claim: str) -> str:
    """What a provider calls somebody: an e-mail address only if it does not say that it is unverified."""
    if claim == "email" and user.get("email_verified") is False:
        return ""
    return str(user.get(claim) or "").strip().casefold()
