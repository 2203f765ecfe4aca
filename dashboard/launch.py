"""How the dashboard is started as a process of its own: every setting is given here, none comes from a file nearby."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Final, NamedTuple

DATA_ENV: Final = "SIEVEWARD_DATA"
IDLE_ENV: Final = "SIEVEWARD_IDLE_MIN"
WHOLE_ENV: Final = "SIEVEWARD_SESSION_H"
SSO_ENV: Final = "SIEVEWARD_SSO"
ACCOUNT_ENV: Final = "SIEVEWARD_CHECK_ACCOUNT"
#: Uvicorn believes what these addresses say of whom they forward; unset, it would believe this machine's.
PROXY_ENV: Final = "FORWARDED_ALLOW_IPS"
APP: Final = Path(__file__).with_name("serve.py")

_SYSTEM_FONTS: Final = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', 'DejaVu Sans', sans-serif"
SETTINGS: Final[dict[str, str]] = {
    "server.headless": "true",
    "server.fileWatcherType": "none",
    "browser.gatherUsageStats": "false",
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "none",  # a traceback tells a ward nothing
    "client.showErrorLinks": "false",  # they lead to other hosts
    "server.enableWebsocketCompression": "true",  # what is drawn anew is mostly words that were there before
    "runner.postScriptGC": "false",  # a whole garbage collection after every update of every screen: 40 ms each
    "runner.magicEnabled": "false",
    "theme.font": _SYSTEM_FONTS,
    "theme.codeFont": "ui-monospace, 'DejaVu Sans Mono', monospace",
    "theme.baseRadius": "4px",
    "theme.light.primaryColor": "#1f5f8b",
    "theme.light.backgroundColor": "#ffffff",
    "theme.light.secondaryBackgroundColor": "#eef1f4",
    "theme.light.textColor": "#16202a",
    "theme.dark.primaryColor": "#2b7ab3",
    "theme.dark.backgroundColor": "#12181e",
    "theme.dark.secondaryBackgroundColor": "#1d262e",
    "theme.dark.textColor": "#e9eef2",
}


class Serving(NamedTuple):
    """How the dashboard is served: who may forward, how long a session lasts, the file of a single sign-on.

    account is the broker's account with which a test alarm sent from a screen is heard.
    """

    proxy: str = ""
    idle_min: float = 60.0
    session_h: float = 12.0
    sso: Path | None = None
    account: Path | None = None


def command(
    data_dir: Path, port: int, address: str = "127.0.0.1", serving: Serving | None = None
) -> tuple[list[str], dict[str, str]]:  # fmt: skip
    """The command line that serves the dashboard of a data directory, and what to add to its environment."""
    serving = serving or Serving()
    argv = [sys.executable, "-m", "streamlit", "run", str(APP)]
    settings = SETTINGS | {"server.port": str(port), "server.address": address}
    argv += [f"--{name}={value}" for name, value in settings.items()]
    env = {
        DATA_ENV: str(data_dir.absolute()), PROXY_ENV: serving.proxy, IDLE_ENV: f"{serving.idle_min:g}",
        WHOLE_ENV: f"{serving.session_h:g}", SSO_ENV: str(serving.sso.absolute()) if serving.sso else "",
        ACCOUNT_ENV: str(serving.account.absolute()) if serving.account else "",
    }  # fmt: skip
    return argv, env


def data_dir() -> Path:
    """The collector's data directory, in the process that was started so."""
    return Path(os.environ.get(DATA_ENV, "data"))
