"""The label sheet, read back as a phone does; the month; the name that a device remembers."""

from datetime import date

import pypdfium2
import pytest
import zxingcpp

from collector.site import parse_site
from dashboard.actions import Person
from dashboard.crew import told
from dashboard.labels import labels_pdf, unit_url
from dashboard.month import Entry, month_html
from tests.dashboard.hospital import site_text

BASE = "http://192.0.2.10:8501"


def sheet(units, base=BASE, **more):
    site = parse_site(site_text(units, **more))
    return site, pypdfium2.PdfDocument(labels_pdf(site, base, site.units))


def codes(pdf):
    return [code.text for page in pdf for code in zxingcpp.read_barcodes(page.render(scale=3).to_pil())]


@pytest.mark.parametrize("units", [0, 1, 21, 22])
def test_each_unit_has_one_code_that_opens_its_page(units):
    site, pdf = sheet(units)
    assert sorted(codes(pdf)) == sorted(unit_url(BASE, unit.id) for unit in site.units)
    assert len(pdf) == max(1, -(-units // 21))


def test_a_label_says_which_unit_it_is_and_that_it_is_simulated():
    _, pdf = sheet(1)
    said = pdf[0].get_textpage().get_text_range()
    for text in ("unit-01", "five", "Lakeside", "SIMULATED"):
        assert text in said
    _, real = sheet(1, facility="lakeside")
    assert "SIMULATED" not in real[0].get_textpage().get_text_range()


def test_long_addresses_and_names_stay_on_their_label():
    base = "https://oxygen.a-long-name-of-a-hospital.example.org/sieveward/"
    text = site_text(2).replace("Lakeside (invented)", "A name of a hospital that goes on and on for ever (invented)")
    site = parse_site(text.replace('"unit-01"', f'"{"u" * 40}"'))
    pdf = pypdfium2.PdfDocument(labels_pdf(site, base, site.units))
    assert f"{base}unit?unit={'u' * 40}" in codes(pdf)


def test_a_month_has_its_days_and_what_is_due():
    entries = {date(2026, 10, 5): [Entry(f"task {n}", "unit-07", late=n == 0) for n in range(6)],
               date(2026, 10, 31): [Entry("<b>last</b>")], date(2026, 11, 1): [Entry("next month")]}  # fmt: skip
    said = month_html(2026, 10, entries, date(2026, 10, 5))
    assert said.count('aria-current="date"') == 1
    assert 'href="./unit?unit=unit-07"' in said
    assert "! task 0" in said
    assert "and 2 more" in said
    assert "&lt;b&gt;last&lt;/b&gt;" in said
    assert "next month" not in said
    assert said.count("<b>") == 31


@pytest.mark.parametrize(
    ("cookie", "person"),
    [("", ("", "ward")), ("N.%20Example%7Cengineer", ("N. Example", "engineer")), ("N. Example|king", ("", "ward")),
     ("Nurse|engineer", ("Nurse", "ward")), ("|engineer", ("", "ward"))],
)  # fmt: skip
def test_a_device_s_hint_is_checked(cookie, person):
    """A role that the site file gives is not changed by a cookie."""
    assert told(cookie, {"Nurse": "ward"}) == Person(*person)
