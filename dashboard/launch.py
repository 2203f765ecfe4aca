"""How the dashboard is started as a process of its own: every setting is given here, none comes from a file nearby."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Final

DATA_ENV: Final = "SIEVEWARD_DATA"
APP: Final = Path(__file__).with_name("app.py")

_SYSTEM_FONTS: Final = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', 'DejaVu Sans', sans-serif"
SETTINGS: Final[dict[str, str]] = {
    "server.headless": "true",
    "server.fileWatcherType": "none",
    "browser.gatherUsageStats": "false",
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "none",  # a traceback tells a ward nothing, and its links lead to other hosts
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


def command(data_dir: Path, port: int, address: str = "127.0.0.1") -> tuple[list[str], dict[str, str]]:
    """The command line that serves the dashboard of a data directory, and what to add to its environment."""
    argv = [sys.executable, "-m", "streamlit", "run", str(APP)]
    settings = SETTINGS | {"server.port": str(port), "server.address": address}
    argv += [f"--{name}={value}" for name, value in settings.items()]
    return argv, {DATA_ENV: str(data_dir.absolute())}
