"""A unit's history in sentences."""

from collector.rules import entries
from collector.service.history import unit_history
from tests.collector.service.service_rows import SITE, Book


def test_everything_that_was_done_is_told_newest_first():
    book = Book()
    book.add(entries.TASK_DONE, task="intake-filter", outcome="done", parts={"filter": 1}, note="very dirty")
    book.add(entries.TASK_DONE, task="cabinet-filter", outcome="could-not-locate")
    book.add(entries.TASK_DONE, task="gone", outcome="put-off", note="no spare")
    book.add(entries.OUT_OF_SERVICE, "u2", reason="another unit")
    book.add(entries.CONDITION, condition="purity-red", event="raised")
    book.add(entries.RETURN_TO_SERVICE, reason="no other", override=True, missing="a check failed")
    book.proof(80.0, "fail")
    assert [(one.seq, one.said) for one in unit_history(SITE, book.rows, "u1")] == [
        (7, "check failed: as left 80 % (uncertainty 1) at 5 L/min by bench"),
        (6, "returned to service though a check failed: no other"),
        (3, "gone: put off; no spare"),
        (2, "Cabinet filter: the unit could not be found"),
        (1, "Intake filter: done; 1 filter; very dirty"),
    ]


def test_a_unit_that_the_site_file_no_longer_has_keeps_its_history():
    book = Book()
    book.add(entries.TASK_DONE, "gone", task="intake-filter", outcome="done")
    assert [one.said for one in unit_history(SITE, book.rows, "gone")] == ["intake-filter: done"]
