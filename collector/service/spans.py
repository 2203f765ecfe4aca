"""Spans of time as sorted pairs that do not overlap: what availability and failures are counted with.

A span is (from_ms, to_ms) with from_ms <= time < to_ms; functions that take spans in any order say so.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from collector.rules.limits import HOUR

Span = tuple[int, int]


def merged(spans: Iterable[Span], join_ms: int = 0) -> list[Span]:
    """Spans in any order as sorted ones that do not overlap; pauses up to join_ms are closed, empty spans left out."""
    found: list[Span] = []
    for start, end in sorted(span for span in spans if span[1] > span[0]):
        if found and start <= found[-1][1] + join_ms:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        else:
            found.append((start, end))
    return found


def within(spans: Iterable[Span], window: Span) -> list[Span]:
    """What lies inside a window, of spans in any order."""
    return merged((max(start, window[0]), min(end, window[1])) for start, end in spans)


def minus(spans: Sequence[Span], away: Sequence[Span]) -> list[Span]:
    """What is left of `spans` without `away`; both in any order."""
    left: list[Span] = []
    gone = merged(away)
    for start, end in merged(spans):
        at = start
        for away_from, away_to in gone:
            if away_to <= at or away_from >= end:
                continue
            if away_from > at:
                left.append((at, away_from))
            at = max(at, away_to)
        if at < end:
            left.append((at, end))
    return left


def hours(spans: Iterable[Span]) -> float:
    """How long they are together, in hours; of spans that do not overlap."""
    return sum(end - start for start, end in spans) / HOUR
