"""Is the alarm's way alive? A marked test goes through all of it, and what arrived is told."""

from collector.alarmway.trail import Outcome
from collector.alarmway.trial import Asked, try_way

__all__ = ["Asked", "Outcome", "try_way"]
