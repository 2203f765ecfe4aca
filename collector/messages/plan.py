"""What to send now, and to whom: a function of what there is to tell, the ways, what was told so far, and now.

Rules of this file: nothing here reads a clock or keeps anything. A happening goes a way once its step's delay has
passed (ward, engineer, on-call), as long as nobody has acknowledged it. High priority waits for no quiet hours. One way
gets one message at a time: what comes while it pauses is summed up in the next one. Delays, pauses and ends are common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

import msgspec

from collector.messages.happenings import TEST, Happening
from collector.messages.ladder import Ladder, Stand
from collector.messages.ledger import BURST, BURST_MS, FORGET_MS, Ledger, family_of
from collector.messages.ways import Way
from collector.rules.events import PRIORITIES, Priority
from collector.rules.limits import DAY, MINUTE

SECOND: Final = 1_000
#: Between two messages of one way; the longer while it is flooded.
PAUSE_MS: Final[dict[Priority, tuple[int, int]]] = {
    "high": (30 * SECOND, 2 * MINUTE), "medium": (5 * MINUTE, 15 * MINUTE), "low": (5 * MINUTE, 15 * MINUTE),
}  # fmt: skip
#: Before the same happening is told again (raised again, or in other words of no higher priority); doubled each time.
AGAIN_MS: Final[dict[Priority, int]] = {"high": 5 * MINUTE, "medium": 15 * MINUTE, "low": 12 * 60 * MINUTE}
_AGAIN_TIMES: Final = 3  # doublings at most
RETRY_MS: Final = (30 * SECOND, 15 * MINUTE)  # first and longest pause after a failure; doubled each time
ENDS: Final[dict[Priority, int]] = {"high": 40, "medium": 8, "low": 8}  # attempts: high some nine hours, else half one
TEST_ENDS: Final = 2
UNREACHED: Final = 2  # failed attempts of every way of a step, after which the next step does not wait for its delay
OLD_MS: Final = DAY  # what stands longer and was never told is no news, unless it is high


class Letter(msgspec.Struct, frozen=True, kw_only=True):
    """What goes one way now, as one message: the most urgent happening first.

    attempt counts from 1. `news` is "Again" or "Update" where the first, or something of the same happening, was told
    lately; step_min says how long nobody had acknowledged it.
    """

    way: Way
    happenings: tuple[Happening, ...]
    attempt: int
    news: str = ""
    step: int = 0
    step_min: float = 0.0

    @property
    def priority(self) -> Priority:
        """The highest priority in it."""
        return max((one.priority for one in self.happenings), key=PRIORITIES.index)


def plan(
    ladder: Ladder, found: Sequence[Happening], ledger: Ledger, now_ms: int, busy: Collection[str] = (), *,
    hasty: bool = False,
) -> list[Letter]:  # fmt: skip
    """The letters to send now, at most one a way; ways in `busy` get none. `hasty`: as if none had failed just now."""
    minute = ladder.minute_of_day(now_ms)
    letters = []
    for way in ladder.ways:
        if way.id in busy:
            continue
        due = [one for one in found if _is_due(ladder, way, one, ledger, now_ms)
               and not (way.is_quiet(minute) and one.priority != "high" and one.kind != TEST)]  # fmt: skip
        rested = hasty or _ago(ledger.past(way.id).failed_ms, now_ms) >= _retry_ms(ledger, way, due)
        if rested and (letter := _letter(ladder, way, due, ledger, now_ms)):
            letters.append(letter)
    return letters


def _is_due(ladder: Ladder, way: Way, one: Happening, ledger: Ledger, now_ms: int) -> bool:
    key = way.id, one.about
    if key in ledger.sent or ledger.tries.get(key, 0) >= ends(one) or (stand := ladder.stand(way, one)) is None:
        return False
    if one.kind == TEST:
        return True
    if one.priority != "high" and now_ms - one.since_ms > OLD_MS:
        return False
    if now_ms - one.heard_ms < stand.delay_min * MINUTE and not _unreached(ladder, one, ledger, stand.step):
        return False
    return _ago(_last_told_ms(way, one, ledger, now_ms), now_ms) >= _again_ms(way, one, ledger)


def ends(one: Happening) -> int:
    """How many attempts there are."""
    return TEST_ENDS if one.kind == TEST else ENDS[one.priority]


def _unreached(ladder: Ladder, one: Happening, ledger: Ledger, step: int) -> bool:
    """Whether every way of the steps before has failed, of a happening that cannot wait."""
    if one.priority != "high" or step == 0:
        return False
    before = [(way.id, one.about) for way in ladder.before(one, step)]
    return all(key not in ledger.sent and ledger.tries.get(key, 0) >= UNREACHED for key in before)


def _last_told_ms(way: Way, one: Happening, ledger: Ledger, now_ms: int) -> int:
    """When this happening was last told on this way, at least as urgently; 0 when it was not, or long ago."""
    told = ledger.told.get((way.id, one.place, family_of(one.condition)))
    if told is None or PRIORITIES.index(one.priority) > told.rank or _ago(told.at_ms, now_ms) > FORGET_MS:
        return 0
    return told.at_ms


def _again_ms(way: Way, one: Happening, ledger: Ledger) -> int:
    told = ledger.told.get((way.id, one.place, family_of(one.condition)))
    times = min(told.times - 1, _AGAIN_TIMES) if told is not None else 0
    return AGAIN_MS[one.priority] << times


def _ago(at_ms: int, now_ms: int) -> int:
    """How long ago; a moment that a clock set back has put into the future holds nothing up."""
    return now_ms - at_ms if at_ms <= now_ms else now_ms


def _retry_ms(ledger: Ledger, way: Way, due: list[Happening]) -> int:
    """How long a way rests after its failures; something high counts its own, so that it never waits for older ones."""
    own = [ledger.tries.get((way.id, one.about), 0) for one in due if one.priority == "high"]
    failures = ledger.past(way.id).failures
    doublings = max(0, min([failures, *own]) - 1)
    return min(RETRY_MS[0] << min(doublings, 10), RETRY_MS[1]) if failures else 0


def _letter(ladder: Ladder, way: Way, due: list[Happening], ledger: Ledger, now_ms: int) -> Letter | None:
    real = [one for one in due if one.kind != TEST]
    if real and _paused(ledger, way, real, now_ms):
        real = []
    chosen = tuple(real) or tuple(due[-1:] if due and due[-1].kind == TEST else ())  # a test goes by itself
    if not chosen:
        return None
    first = chosen[0]
    stand = ladder.stand(way, first) or Stand(0, 0.0)
    return Letter(
        way=way, happenings=chosen, attempt=1 + ledger.tries.get((way.id, first.about), 0), step=stand.step,
        step_min=stand.delay_min if stand.step else 0.0, news=_news(way, first, ledger, now_ms),
    )  # fmt: skip


def _news(way: Way, first: Happening, ledger: Ledger, now_ms: int) -> str:
    told = ledger.told.get((way.id, first.place, family_of(first.condition)))
    if told is None or _ago(told.at_ms, now_ms) > FORGET_MS:
        return ""
    same = told.condition == first.condition and PRIORITIES.index(first.priority) <= told.rank
    return "Again" if same else "Update"


def _paused(ledger: Ledger, way: Way, real: list[Happening], now_ms: int) -> bool:
    sent = ledger.past(way.id).sent_ms
    flooded = len(sent) == BURST and _ago(sent[0], now_ms) < BURST_MS
    priority: Priority = "high" if any(one.priority == "high" for one in real) else "medium"
    return bool(sent) and _ago(sent[-1], now_ms) < PAUSE_MS[priority][flooded]
