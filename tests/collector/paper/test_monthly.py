"""The printed report, read back: its text, its letters, its pages."""

import re
from functools import cache

import msgspec
import pypdfium2
import pytest
from pypdfium2 import raw

from collector.paper import fonts
from collector.paper.fonts import letters, marked
from collector.paper.monthly import report_pdf, shown
from collector.paper.monthly_tables import COUNTED, worst
from collector.service.report import month_report
from collector.service.report_lines import Figure, MonthReport, NeedLine, TaskLine
from collector.site import parse_site
from tests.collector.service.months import LATER, at, data, done, event, hours, journal

BARE = '[facility]\nid = "bare"\n'


def report(rows=(), given=None, **more) -> MonthReport:
    return month_report(data(journal(*rows), given, **more), LATER)


def usual() -> MonthReport:
    rows = [event(at(3), "b", "shutdown-expected"), event(at(3, 1), "b", "purity-shutdown"), done(at(-5), "a")]
    return report(rows, {"a": hours(1, 32), "b": hours(1, 11)})


@cache
def usual_pdf() -> bytes:
    return report_pdf(usual())


def texts(pdf: bytes) -> list[str]:
    """The text of each page, with its lines joined."""
    pages = pypdfium2.PdfDocument(pdf)
    return [" ".join(page.get_textpage().get_text_range().split()) for page in pages]


def test_the_first_page_has_every_figure_with_what_it_is_counted_of() -> None:
    made = usual()
    first = texts(usual_pdf())[0]
    for figure in made.figures:
        assert figure.title in first
        assert figure.says in first
        assert (shown(figure) if figure.value is not None else figure.empty) in first
    assert made.short[0] in first
    assert "Oxygen concentrators, October 2026" in first
    assert all(need.what in first for need in made.needs[:5])


def test_the_tables_and_how_figures_are_counted_follow() -> None:
    pages = texts(usual_pdf())
    rest = " ".join(pages[1:])
    for title in (
        "Wards",
        "Units with the most trouble",
        "Failures and repairs",
        "Maintenance that fell due",
        "Engineers' tasks not done on time",
        "Parts",
    ):
        assert title in rest
    assert "shut off before anybody acted" in rest
    assert all(said[:60] in rest for said in COUNTED)
    assert [f"page {n} of {len(pages)}" in page for n, page in enumerate(pages, 1)] == [True] * len(pages)


def test_every_letter_is_in_the_file() -> None:
    document = pypdfium2.PdfDocument(usual_pdf())
    fonts = [
        raw.FPDFTextObj_GetFont(thing.raw)
        for page in document
        for thing in page.get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT])
    ]
    assert len(fonts) > 50
    assert all(raw.FPDFFont_GetIsEmbedded(font) == 1 for font in fonts)


def test_the_same_report_gives_the_same_text_and_a_page_of_pictures() -> None:
    assert texts(report_pdf(usual())) == texts(usual_pdf())
    page = pypdfium2.PdfDocument(usual_pdf())[0]
    assert len(list(page.get_objects(filter=[raw.FPDF_PAGEOBJ_IMAGE]))) == 3


def test_any_name_can_be_printed() -> None:
    made = msgspec.structs.replace(usual(), facility="<b>Niño & 'Co'</b>\n病院 " + "x" * 200)
    first = texts(report_pdf(made))[0]
    assert first.count("<b>Niño & 'Co'</b> ??") == 2
    assert first.count("… · October 2026") == 1


def test_a_letter_that_the_font_lacks_is_marked() -> None:
    assert marked("A病B") == "A?B"
    assert marked("a < b & c") == "a &lt; b &amp; c"
    assert {ord(c) for c in "–−×’≥·µ€°é"} <= letters()


@pytest.fixture
def western_letters(monkeypatch, tmp_path):
    """A machine without the system's own fonts."""
    monkeypatch.setattr(fonts, "_SYSTEM", tmp_path)
    letters.cache_clear()
    yield
    monkeypatch.undo()
    letters.cache_clear()
    letters()


def test_a_machine_without_fonts_prints_all_the_same(western_letters) -> None:
    first = texts(report_pdf(msgspec.structs.replace(usual(), facility="Niño Ɓ · 5 L/min")))[0]
    assert "Niño ? · 5 L/min" in first
    assert {ord(c) for c in "–−×’≥·µ€°é…•"} <= letters()


def test_simulated_data_are_marked() -> None:
    assert "SIMULATED DATA" in texts(report_pdf(msgspec.structs.replace(usual(), simulated=True)))[0]
    assert "SIMULATED DATA" not in texts(usual_pdf())[0]


def test_a_month_without_data_says_so_in_print() -> None:
    first = texts(report_pdf(report()))[0]
    assert first.count("no data") >= 8
    assert "No readings of this month are on record" in first
    assert not re.search(r"\d %", first.split("Maintenance done")[1].split("Aim")[0])


def test_a_site_with_nothing_in_it_has_a_report() -> None:
    made = report(at_site=parse_site(BARE))
    assert len(texts(report_pdf(made))) >= 2


def test_long_tables_are_cut_and_say_so() -> None:
    tasks = tuple(
        TaskLine(unit=f"u{n}", ward="newborn", task="filter", title="Filter", due="2026-10-05", done="", outcome="open",
                 note="", by="engineer") for n in range(500)
    )  # fmt: skip
    needs = tuple(NeedLine(what=f"Decide about u{n}", why="out of service", cost=None) for n in range(100))
    pages = texts(report_pdf(msgspec.structs.replace(usual(), tasks=tasks, needs=needs)))
    assert "and 95 more" in pages[0]
    assert any("and 470 more" in page for page in pages)
    assert len(pages) < 10


def test_the_first_page_is_one_page_at_its_fullest() -> None:
    needs = tuple(NeedLine(what="Order 3 × a part with a rather long name", why="w" * 60, cost=1.0) for _ in range(6))
    made = msgspec.structs.replace(usual(), simulated=True, needs=needs, short=("A sentence of some length. " * 3,) * 6,
                                   gaps=("Something that is missing in the data. " * 2,) * 4)  # fmt: skip
    pages = texts(report_pdf(made))
    assert "What the data do not say" in pages[0]
    assert "Wards" in pages[1] or "Wards" in pages[2]


@pytest.mark.parametrize(
    ("value", "sign", "said"),
    [(99.98, "%", "99.9 %"), (100.0, "%", "100 %"), (0.0, "%", "0 %"), (1234.6, "kWh", "1 235 kWh"), (0.46, "", "0.5"),
     (5.0, "min", "5 min")],
)  # fmt: skip
def test_figures_are_rounded_so_that_not_all_is_never_all(value: float, sign: str, said: str) -> None:
    assert shown(Figure(key="k", title="t", value=value, sign=sign, says="")) == said


def test_the_unit_with_a_shut_off_comes_before_one_with_alarms() -> None:
    assert worst(usual().units)[0].unit == "b"
