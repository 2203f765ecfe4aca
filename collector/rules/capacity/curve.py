"""How purity falls when more is drawn than a unit can separate: the family of curves that the estimate assumes.

A mass balance with a sharp corner says: all the oxygen that the sieve can give up to its capacity, the surplus being
room air above it. Real designs round the corner, each in its own way. With the depth d = (purity - air) / (plateau -
air) and x = flow / sharp-corner capacity, d = (1 + x^k)^(-1/k) has the mass balance as its limit for k to infinity and
its asymptotes at both ends. Nobody knows the k of a design, so the estimate carries several side by side (KNEES) and
lets the readings choose. Inverted, x = (d^-k - 1)^(1/k): `stretch`.

What is followed is capacity in the sense that matters at the bed: the flow at which purity would be just the model's
amber limit. Two flows of one health are related by their stretches alone, so a reading (F, d) says
ln capacity = ln F + ln stretch(d_amber) - ln stretch(d), and d ln x / dd = -1 / (d (1 - d^k)) says how well it says so.
"""

from __future__ import annotations

from math import log
from typing import Final

#: Oxygen in dry room air, % by volume.
AIR_PCT: Final = 20.9
#: Roundings of the corner carried side by side: from a soft one to one that is nearly sharp.
KNEES: Final = (5.0, 9.0, 18.0)
_SHALLOW, _DEEP = 0.995, 0.02


def depth(purity_pct: float, plateau_pct: float) -> float:
    """Purity as a share of the way from room air to the unit's plateau, kept between 0.02 and 0.995."""
    share = (purity_pct - AIR_PCT) / (plateau_pct - AIR_PCT)
    return _DEEP if share < _DEEP else _SHALLOW if share > _SHALLOW else share


def log_stretch(share: float, knee: float) -> float:
    """ln of flow over sharp-corner capacity at which purity has this depth."""
    return log(share ** (-knee) - 1.0) / knee


def log_slope(share: float, knee: float) -> float:
    """How much `log_stretch` falls for a unit of depth; positive."""
    return 1.0 / (share * (1.0 - float(share**knee)))
