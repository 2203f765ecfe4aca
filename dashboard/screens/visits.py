"""To be filled."""

from __future__ import annotations

from dashboard.frame import needed_now, strip

strip()
needed_now()
