"""Spare parts: how many will be needed, from what level to order, and what to order this month.

What a part's demand over the next days is made of: each task that is forecast to need it comes within those days with
its own chance (two half normals through its p05, p50 and p95), and comes again at its interval; failures take a
Poisson number on top. Both are joined exactly, by convolution, so without tasks the levels are those of the Poisson
table: the smallest stock that lasts with chance `service_level`.

The rate of failures is learned from parts used in unplanned work, with a prior of one piece in ten unit-years that
weighs as much as five unit-years (a gamma prior; the figure is common practice, no source: a compressor kit for every
five units in two years).

Ordering is once a month. `reorder_level` lasts for the lead time: at or below it, order at once. `up_to` lasts for the
lead time and the month until the next order: this month's order fills up to it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final, NamedTuple

import msgspec
import numpy as np
import numpy.typing as npt

from collector.rules.limits import DAY
from collector.service.stock import Stock
from collector.site import Part, Site

REVIEW_DAYS: Final = 30.0
YEAR_DAYS: Final = 365.25
PRIOR_PIECES: Final = 0.5
PRIOR_UNIT_YEARS: Final = 5.0
#: p05 and p95 lie so many standard deviations from p50.
_Z95: Final = 1.6448536269514722
#: Chances under this do not change a level.
_TINY: Final = 1e-9
#: Pieces of one part, and repeats of one task, beyond which nothing is told apart.
_MOST: Final = 5_000

Pmf = npt.NDArray[np.float64]


class Planned(NamedTuple):
    """A task forecast to need `pieces` of a part: when it is due (ms), and after how many days again (0: not)."""

    part: str
    pieces: int
    p05_ms: float
    p50_ms: float
    p95_ms: float
    every_days: float = 0.0


class Need(msgspec.Struct, frozen=True, kw_only=True):
    """One part: what there is, what will be needed over the lead time and a month, and what to order this month.

    have, on_the_way, reorder_level, up_to and order are pieces; planned and failures are expected pieces; lasts is the
    chance that what there is and what is on its way lasts until an order placed next month would come. cost is that of
    the order, in the facility's currency. lost_order are pieces ordered so long ago that they are not counted on.
    """

    part: str
    title: str
    have: int
    on_the_way: int
    planned: float
    failures: float
    reorder_level: int
    up_to: int
    order: int
    order_now: bool
    cost: float
    lasts: float
    service_level: float
    lead_days: float
    lost_order: int = 0

    @property
    def miscounted(self) -> bool:
        """Whether more was used than was ever counted: somebody must count the shelf."""
        return self.have < 0


def failures_per_day(unplanned: int, units: int, observed_days: float) -> float:
    """Expected pieces a day of one part for all units together, from how many went in unplanned work so far."""
    unit_years = units * max(0.0, observed_days) / YEAR_DAYS
    per_unit_year = (unplanned + PRIOR_PIECES) / (unit_years + PRIOR_UNIT_YEARS)
    return per_unit_year * units / YEAR_DAYS


def chance_due(planned: Planned, by_ms: float, later_ms: float = 0.0) -> float:
    """The chance that a task is due by a moment, its forecast moved `later_ms` on."""
    from scipy import stats  # half a second and many megabytes: only for those who ask for it

    off_ms = by_ms - planned.p50_ms - later_ms
    spread_ms = (planned.p95_ms - planned.p50_ms if off_ms > 0 else planned.p50_ms - planned.p05_ms) / _Z95
    if spread_ms <= 0:
        return 1.0 if off_ms >= 0 else 0.0
    return float(stats.norm.cdf(off_ms / spread_ms))


def demand(planned: Iterable[Planned], failures: float, from_ms: int, days: float) -> Pmf:
    """Chances of needing 0, 1, 2 … pieces of one part within `days`; failures is the expected number by then."""
    chances = _failures_pmf(failures)
    by_ms = from_ms + days * DAY
    certain = 0
    for task in planned:
        for chance in _occasions(task, from_ms, by_ms):
            if chance > 1 - _TINY:
                certain += task.pieces
                continue
            one = np.zeros(task.pieces + 1)
            one[0], one[-1] = 1 - chance, chance
            chances = np.convolve(chances, one)[:_MOST]
    return np.concatenate([np.zeros(certain), chances])


def level(chances: Pmf, service_level: float) -> int:
    """The smallest stock that lasts with chance `service_level`, given the chances of needing 0, 1, 2 … pieces."""
    enough = np.cumsum(chances) >= service_level - _TINY
    return int(np.argmax(enough)) if enough.any() else len(chances)


def needs(
    site: Site, stocks: Mapping[str, Stock], planned: Sequence[Planned], *, now_ms: int, observed_days: float
) -> list[Need]:
    """What each part of the site needs, what is to be ordered first; `observed_days` is how long rows were kept."""
    units = sum(unit.in_service is not False for unit in site.units)
    by_part: dict[str, list[Planned]] = {}
    for task in planned:
        by_part.setdefault(task.part, []).append(task)
    found = []
    for part in site.parts:
        stock = stocks.get(part.id) or Stock(have=part.stock)
        per_day = failures_per_day(stock.unplanned, units, observed_days)
        found.append(_need(part, stock, by_part.get(part.id, []), per_day, now_ms))
    return sorted(found, key=lambda need: (not need.order, need.lasts, need.part))


def order_cost(found: Iterable[Need]) -> float:
    """What this month's order costs, in the facility's currency."""
    return sum(need.cost for need in found)


def _need(part: Part, stock: Stock, planned: Sequence[Planned], per_day: float, now_ms: int) -> Need:
    lead, whole = part.lead_days, part.lead_days + REVIEW_DAYS
    until_next = demand(planned, per_day * whole, now_ms, whole)
    coming = stock.on_the_way(part, now_ms)
    there = max(0, stock.have) + coming
    reorder_level = level(demand(planned, per_day * lead, now_ms, lead), part.service_level)
    up_to = max(reorder_level, level(until_next, part.service_level))
    order = max(0, up_to - there)
    by_ms = now_ms + whole * DAY
    return Need(
        part=part.id, title=part.title, have=stock.have, on_the_way=coming,
        planned=sum(task.pieces * sum(_occasions(task, now_ms, by_ms)) for task in planned),
        failures=per_day * whole, reorder_level=reorder_level, up_to=up_to, order=order,
        order_now=order > 0 and there <= reorder_level, cost=order * part.cost,
        lasts=float(until_next[: there + 1].sum()), service_level=part.service_level, lead_days=lead,
        lost_order=stock.overdue(part, now_ms),
    )  # fmt: skip


def _failures_pmf(mean: float) -> Pmf:
    from scipy import stats  # half a second and many megabytes: only for those who ask for it

    most = min(_MOST, int(stats.poisson.isf(_TINY, mean)) + 1)
    chances: Pmf = stats.poisson.pmf(np.arange(most + 1), mean)
    return chances


def _occasions(task: Planned, from_ms: float, by_ms: float) -> list[float]:
    """The chance of each occasion of a task: the coming one, then its repeats; an overdue one is done now."""
    chances = [chance_due(task, by_ms)]
    step_ms = task.every_days * DAY
    late_ms = max(0.0, from_ms - task.p50_ms)
    while step_ms > 0 and chances[-1] > _TINY and len(chances) < _MOST:
        chances.append(chance_due(task, by_ms, late_ms + step_ms * len(chances)))
    return [chance for chance in chances if chance > _TINY]
