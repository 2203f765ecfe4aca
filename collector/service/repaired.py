"""Whether a repair worked: the unit's capacity before and after, as far as anybody could see it.

Capacity comes from the record by the hour (CapacityPoint). Where it could not be seen at the flow in use, the checks
speak: purity that even by the analyser's uncertainty lies under amber shows a capacity under the flow of the check, and
purity surely not under amber one of at least that flow (capacity is the flow at which purity would be just amber).
Where even that leaves it open, purity as found and as left at one flow decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from collector.rules.capacity.now import CapacityPoint
from collector.rules.limits import DAY, HOUR
from collector.service.proof import FLOW_SHARE, Proof
from collector.service.work import WorkOrder
from collector.site import Model

BETTER: Final = "better"
SAME: Final = "same"
WORSE: Final = "worse"
NOT_KNOWN: Final = "not-known"

#: So far before the order and after the work capacity is looked for; the estimate settles within hours of running.
BEFORE_DAYS: Final = 30
AFTER_DAYS: Final = 14
#: As good as flow meters are: a unit that holds so much of its rated flow holds it (common practice).
RATED_SHARE: Final = 0.95


class Span(NamedTuple):
    """Where capacity lies, in L/min; high_lpm None: no upper end is known. `by` is "readings", "check" or ""."""

    low_lpm: float
    high_lpm: float | None
    by: str
    at_ms: int | None

    @property
    def text(self) -> str:
        """In words."""
        if not self.by:
            return "not known"
        if self.high_lpm is None:
            return f"at least {self.low_lpm:.1f} L/min"
        if self.low_lpm <= 0:
            return f"under {self.high_lpm:.1f} L/min"
        return f"{self.low_lpm:.1f} to {self.high_lpm:.1f} L/min"


class Repair(NamedTuple):
    """What a repair did to capacity; holds_rated None: it cannot be said."""

    before: Span
    after: Span
    verdict: str
    holds_rated: bool | None
    checks: str = ""  # what the checks showed at one flow, before and after

    @property
    def text(self) -> str:
        """The sentence that people read."""
        worked = _SAID[self.verdict]
        rated = {True: " It holds its rated flow.", False: " It does not hold its rated flow.", None: ""}
        capacity = f"Capacity before: {self.before.text}; after: {self.after.text}."
        return " ".join(text for text in (capacity, self.checks, worked + rated[self.holds_rated]) if text)


NOTHING: Final = Span(0.0, None, "", None)
_SAID: Final = {
    BETTER: "The repair worked.", SAME: "No difference can be seen.", WORSE: "It is worse than before.",
    NOT_KNOWN: "Whether the repair worked cannot be seen yet.",
}  # fmt: skip


def span_asked(order: WorkOrder, now_ms: int) -> tuple[int, int]:
    """The stretch of the record that `judge_repair` needs, from and to."""
    return order.opened_ms - BEFORE_DAYS * DAY, min(now_ms, _done_ms(order, now_ms) + AFTER_DAYS * DAY)


def judge_repair(order: WorkOrder, points: Sequence[CapacityPoint], model: Model, now_ms: int) -> Repair:
    """Compare capacity before an order was opened and after its work; points oldest first, of its unit."""
    begun_ms, done_ms = order.opened_ms, _done_ms(order, now_ms)
    earlier = [p for p in points if begun_ms - BEFORE_DAYS * DAY <= p.hour_ms <= begun_ms - HOUR]
    later = [p for p in points if done_ms <= p.hour_ms <= done_ms + AFTER_DAYS * DAY]
    before = _seen(earlier) or _found(order.proofs, model) or _unseen(earlier)
    after = _seen(later) or _left(order.last_proof, model) or _unseen(later)
    rated = model.rated_flow_lpm * RATED_SHARE
    holds = True if after.low_lpm >= rated else False if _under(after, rated) else None
    by_checks, checks = _compare_checks(order.proofs)
    verdict = _verdict(before, after)
    return Repair(before, after, by_checks if verdict == NOT_KNOWN else verdict, holds, checks)


def _done_ms(order: WorkOrder, now_ms: int) -> int:
    """When the work was done: by the first check that passed, or by when the order was closed."""
    ends = [proof.at_ms for proof in order.proofs if proof.passed][:1]
    if order.closed_ms is not None:
        ends.append(order.closed_ms)
    return min(ends, default=now_ms)


def _verdict(before: Span, after: Span) -> str:
    if not (before.by and after.by):
        return NOT_KNOWN
    if before.high_lpm is not None and after.low_lpm >= before.high_lpm:
        return BETTER
    if after.high_lpm is not None and after.high_lpm < before.low_lpm:
        return WORSE
    return NOT_KNOWN if before.high_lpm is None or after.high_lpm is None else SAME


def _compare_checks(proofs: Sequence[Proof]) -> tuple[str, str]:
    """What purity at one flow says: at a given flow it can only rise and fall with capacity.

    The two readings differ when they do by more than both may err, though much of an analyser's error is in both.
    """
    first = next((proof for proof in proofs if proof.as_found_pct is not None), None)
    if first is None or first.as_found_pct is None:
        return NOT_KNOWN, ""
    last = proofs[-1]
    said = f"Purity at {last.flow_lpm:g} L/min: as found {first.as_found_pct:g} %, as left {last.as_left_pct:g} %."
    if abs(last.flow_lpm - first.flow_lpm) > FLOW_SHARE / 2 * first.flow_lpm:
        return NOT_KNOWN, ""
    rise_pct, may_err_pct = last.as_left_pct - first.as_found_pct, last.uncertainty_pct + first.uncertainty_pct
    return (BETTER if rise_pct > may_err_pct else WORSE if rise_pct < -may_err_pct else NOT_KNOWN), said


def _under(span: Span, rated: float) -> bool:
    return span.high_lpm is not None and span.high_lpm < rated


def _seen(points: Sequence[CapacityPoint]) -> Span | None:
    """The last hour in which capacity was seen: it knew most."""
    last = next((p for p in reversed(points) if p.seen), None)
    return None if last is None else Span(last.p05_lpm, last.p95_lpm, "readings", last.hour_ms)


def _unseen(points: Sequence[CapacityPoint]) -> Span:
    """Not seen: it lies somewhere above the lower end, or above what was seen to hold."""
    if not points:
        return NOTHING
    last = points[-1]
    return Span(max(last.p05_lpm, last.proven_lpm or 0.0), None, "readings", last.hour_ms)


def _found(proofs: Sequence[Proof], model: Model) -> Span | None:
    """What the first check found before anything was done."""
    for proof in proofs:
        if proof.as_found_pct is not None:
            return _shown(proof, proof.as_found_pct, model)
    return None


def _left(proof: Proof | None, model: Model) -> Span | None:
    return None if proof is None else _shown(proof, proof.as_left_pct, model)


def _shown(proof: Proof, purity_pct: float, model: Model) -> Span | None:
    if purity_pct - proof.uncertainty_pct >= model.amber_pct:
        return Span(proof.flow_lpm, None, "check", proof.at_ms)
    if purity_pct + proof.uncertainty_pct < model.amber_pct:
        return Span(0.0, proof.flow_lpm, "check", proof.at_ms)
    return None
