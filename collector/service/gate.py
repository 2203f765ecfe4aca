"""The way back into service: what the record says of a unit, and whether it may be used for patients again.

Rules of this file: whatever opens a unit up or puts it in doubt (taken out for repair, a work order, parts changed by a
task, a failed check) asks for a check of purity at rated flow that was written down after it and passed. Order is
that of the journal (`seq`), so a clock that was wrong opens nothing. An administrator may override with a reason; the
check is then still due. A unit that was taken out in error and that nobody touched since is put back by a row that
`undoes` that one: it needs what it needed before, and no more.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Final, NamedTuple

import msgspec

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.rules.limits import DAY
from collector.service.proof import Proof, proof_of
from collector.service.tasks import task_of
from collector.site import Site

#: What a unit is taken out for; a row that does not say counts as a repair: the safe side.
REPAIR: Final = "repair"
STORE: Final = "store"
PURPOSES: Final = (REPAIR, STORE)
#: Purity at rated flow monthly, and after every repair or move (common practice): a unit that was away longer than
#: this, or that was never in service, needs a check no older than this.
CHECK_DAYS: Final = 30

#: Kinds of rows that these folds read.
KINDS: Final = (
    entries.OUT_OF_SERVICE, entries.RETURN_TO_SERVICE, entries.TASK_DONE, entries.WORK_OPENED, entries.WORK_CLOSED,
    entries.PURITY_PROOF,
)  # fmt: skip


class Need(NamedTuple):
    """Why a unit needs a check: since when, by which row, and the work order it belongs to ("" when none)."""

    why: str
    at_ms: int
    seq: int
    work: str = ""


class Standing(msgspec.Struct, kw_only=True):
    """What the journal says of one unit's service; out_ms is None while it is in service."""

    unit: str
    ward: str = ""
    out_ms: int | None = None
    out_why: str = ""
    out_for: str = ""
    need: Need | None = None
    overridden: bool = False  # it was returned without the check that it needs
    last: Proof | None = None  # the last check, passed or not
    passed: Proof | None = None  # the last one that passed
    open_work: list[str] = []
    work: frozenset[str] = frozenset()  # every order so far: one that is closed is not opened again
    out_seq: int = 0  # the row that took it out, while nothing has been done to it since; 0 otherwise
    before: tuple[Need | None, bool] = (None, False)  # `need` and `overridden` before that row


class Gate(NamedTuple):
    """Whether a unit may return: `why` says what is missing ("" when it may), way_out what to do."""

    may: bool
    proof: Proof | None
    why: str = ""
    way_out: str = ""


def standings(site: Site | None, rows: Iterable[JournalRow]) -> dict[str, Standing]:
    """Each unit that the rows say something of; rows in the order of `seq`."""
    found: dict[str, Standing] = {}
    for row in rows:
        if row.kind in KINDS and row.unit:
            standing = found.setdefault(row.unit, Standing(unit=row.unit))
            standing.ward = row.ward or standing.ward
            if row.kind in _TOUCHES:
                standing.out_seq = 0
            _FOLDS[row.kind](standing, row, site)
    return found


def may_return(standing: Standing | None, now_ms: int) -> Gate:
    """Whether the record allows this unit back into service."""
    if standing is None:
        return Gate(False, None, "it has never been checked", CHECK)
    if standing.open_work:
        orders = ", ".join(standing.open_work)
        return Gate(False, None, f"its work order is open ({orders})", "Close it with what was found and done.")
    if standing.need is not None:
        return Gate(False, None, f"no passed check since {standing.need.why}", CHECK)
    fresh = standing.passed is not None and now_ms - standing.passed.at_ms <= CHECK_DAYS * DAY
    away_ms = now_ms - standing.out_ms if standing.out_ms is not None else None
    if not fresh and (away_ms is None or away_ms > CHECK_DAYS * DAY):
        return Gate(False, None, f"no passed check within {CHECK_DAYS} days", CHECK)
    return Gate(True, standing.passed)


CHECK: Final = "Check purity at rated flow with a calibrated analyser and write it down."


class ProofDue(NamedTuple):
    """A unit that needs a check: why, since when, and for which work order."""

    unit: str
    ward: str
    why: str
    since_ms: int
    work: str
    in_service: bool


def proofs_due(site: Site, rows: Iterable[JournalRow], removed: Collection[str] = ()) -> list[ProofDue]:
    """Units that need a check after what was done to them; those in service first, then the longest overdue.

    `removed` names units that are out of service by the site file.
    """
    found = []
    for standing in standings(site, rows).values():
        if (need := standing.need) is not None:
            inside = standing.out_ms is None and standing.unit not in removed
            why = f"{need.why}, returned without a check" if standing.overridden else need.why
            found.append(ProofDue(standing.unit, standing.ward, why, need.at_ms, need.work, inside))
    return sorted(found, key=lambda due: (not due.in_service, due.since_ms, due.unit))


def _take_out(standing: Standing, row: JournalRow, _site: Site | None) -> None:
    purpose = row.body.get("for")
    standing.out_seq, standing.before = 0, (standing.need, standing.overridden)
    if standing.out_ms is None:
        standing.out_ms, standing.out_seq = row.at_ms, row.seq
    standing.out_why, standing.out_for = str(row.body.get("reason") or ""), purpose if purpose in PURPOSES else REPAIR
    if standing.out_for == REPAIR:
        _need(standing, row, "it was taken out of service")


def _put_back(standing: Standing, row: JournalRow, _site: Site | None) -> None:
    standing.out_ms, standing.out_why, standing.out_for = None, "", ""
    if standing.out_seq and row.body.get("undoes") == standing.out_seq:
        standing.need, standing.overridden = standing.before
    else:
        standing.overridden = standing.need is not None
    standing.out_seq = 0


def _open(standing: Standing, row: JournalRow, _site: Site | None) -> None:
    work = str(row.body.get("work") or "")
    if work and work not in standing.work:
        standing.open_work, standing.work = [*standing.open_work, work], standing.work | {work}
        _need(standing, row, f"work order {work} was opened", work)


def _close(standing: Standing, row: JournalRow, _site: Site | None) -> None:
    standing.open_work = [work for work in standing.open_work if work != row.body.get("work")]


def _task(standing: Standing, row: JournalRow, site: Site | None) -> None:
    """Parts that were changed on a unit that was out open it up; a wiped cabinet filter or a test does not."""
    if row.body.get("outcome") != entries.DONE or site is None or site.unit(row.unit) is None:
        return
    task = task_of(site, row.unit, str(row.body.get("task") or ""))
    if task is not None and task.takes_unit_out and (task.parts or row.body.get("parts")):
        _need(standing, row, f"task “{task.title}” was done")


def _prove(standing: Standing, row: JournalRow, _site: Site | None) -> None:
    standing.last = proof_of(row)
    if standing.last.passed:
        standing.passed, standing.need, standing.overridden = standing.last, None, False
    else:
        _need(standing, row, "a check failed", standing.last.work)


def _need(standing: Standing, row: JournalRow, why: str, work: str = "") -> None:
    standing.need, standing.overridden = Need(why, row.at_ms, row.seq, work), False


#: Rows after which a unit that was taken out is not as it was.
_TOUCHES: Final = frozenset({entries.TASK_DONE, entries.WORK_OPENED, entries.WORK_CLOSED, entries.PURITY_PROOF})
_FOLDS: Final = {
    entries.OUT_OF_SERVICE: _take_out, entries.RETURN_TO_SERVICE: _put_back, entries.TASK_DONE: _task,
    entries.WORK_OPENED: _open, entries.WORK_CLOSED: _close, entries.PURITY_PROOF: _prove,
}  # fmt: skip
