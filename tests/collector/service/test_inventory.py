"""The inventory as rows, as CSV and as FHIR R5."""

import csv
import json
import time
from typing import Any

import pytest
from fhir.resources.bundle import Bundle
from pydantic import BaseModel
from typer.testing import CliRunner

from collector.cli.main import app
from collector.rules import entries
from collector.rules.entries import JournalEntry, JournalRow
from collector.rules.unitrow import OFF, RUNNING, UnitRow
from collector.service.fhir import bundle
from collector.service.inventory import IN_SERVICE, NOT_USED, TAKEN_OUT, inventory
from collector.site import parse_site
from collector.store import open_store

NOW = 1_790_000_000_000
MINUTE = 60_000
SITE = """
[facility]
id = "{facility}"
[[ward]]
id = "newborn"
name = "Newborn"
[[model]]
id = "five"
[[unit]]
id = "unit-01"
model = "five"
ward = "newborn"
serial = "A-1"
in_service = 2025-03-01
hour_meter_h = 1200
[[unit]]
id = "unit-02"
model = "five"
in_service = false
[[unit]]
id = "unit-03"
ward = "newborn"
"""


def site(facility="lakeside"):
    return parse_site(SITE.format(facility=facility))


def rows(*found):
    return [JournalRow(seq=n, recorded_ms=at, at_ms=at, kind=kind, unit=unit, body=body)
            for n, (at, kind, unit, body) in enumerate(found, 1)]  # fmt: skip


PROOF = {"analyser": "ref-1", "as_left_pct": 93.5, "result": "pass"}
FRESH = UnitRow(unit="unit-01", last_ms=NOW - 10_000, phase=RUNNING, purity_pct=93.0, flow_lpm=2.0, power_w=330.0,
                hours_h=1300.5, observed_h=100.04)  # fmt: skip


def test_a_unit_says_what_is_known_of_it() -> None:
    said = rows((NOW - MINUTE, entries.PURITY_PROOF, "unit-01", PROOF), (NOW, entries.OUT_OF_SERVICE, "unit-03", {}))
    one, two, three = inventory(site(), said, {"unit-01": FRESH})
    assert (one.number, one.serial, one.ward, one.in_service_since) == ("unit-01", "A-1", "newborn", "2025-03-01")
    assert (one.state, two.state, three.state) == (IN_SERVICE, NOT_USED, TAKEN_OUT)
    assert (one.hour_meter_h, one.service_hours_h) == (1300.5, 100.0)
    assert (one.last_proof_result, one.last_proof_pct, one.last_proof_analyser) == ("pass", 93.5, "ref-1")
    assert (two.last_proof, two.last_reading, two.hour_meter_h) == ("", "", None)


def test_a_unit_that_came_back_is_in_service() -> None:
    said = rows((NOW, entries.OUT_OF_SERVICE, "unit-01", {}), (NOW, entries.RETURN_TO_SERVICE, "unit-01", {}))
    assert inventory(site(), said, {})[0].state == IN_SERVICE


def resources(found: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [entry["resource"] for entry in found["entry"] if entry["resource"]["resourceType"] == kind]


def made(facility="lakeside", *units):
    here = site(facility)
    known = {row.unit: row for row in units}
    return bundle(here, inventory(here, [], known), known, NOW)


def allowed_codes(model: BaseModel, path: str = "") -> list[str]:
    """Values of a parsed resource that are none of the codes its definition lists, by path."""
    faults = []
    for name, field in type(model).model_fields.items():
        value = getattr(model, name)
        extra: Any = field.json_schema_extra
        codes = extra.get("enum_values") if isinstance(extra, dict) else None
        if value is not None and codes and value not in codes:
            faults.append(f"{path}.{name}: {value}")
        for item in value if isinstance(value, list) else [value]:
            if isinstance(item, BaseModel):
                faults += allowed_codes(item, f"{path}.{name}")
    return faults


@pytest.mark.parametrize("facility", ["lakeside", "sim-lakeside"])
def test_a_general_library_reads_the_bundle_as_fhir_r5(facility: str) -> None:
    # fhir.resources 8.3: HL7 FHIR R5 (5.0.0) as published; a wrong name or type is refused.
    read = Bundle.model_validate_json(json.dumps(made(facility, FRESH)))
    assert read.type == "collection"
    assert len(read.entry or []) == 2 + 3 + 3
    assert allowed_codes(read) == []


def test_the_general_library_would_refuse_a_wrong_bundle() -> None:
    wrong = made("lakeside", FRESH)
    resources(wrong, "DeviceMetric")[0].pop("category")
    with pytest.raises(ValueError, match="category"):
        Bundle.model_validate_json(json.dumps(wrong))
    wrong = made("lakeside", FRESH)
    resources(wrong, "DeviceMetric")[0]["operationalStatus"] = "humming"
    assert allowed_codes(Bundle.model_validate_json(json.dumps(wrong))) != []


def test_references_lead_to_resources_of_the_bundle_and_names_stay_the_same() -> None:
    found = made("lakeside", FRESH)
    urls = {entry["fullUrl"] for entry in found["entry"]}
    assert len(urls) == len(found["entry"])
    assert {r["device"]["reference"] for r in resources(found, "DeviceMetric")} <= urls
    assert {r["location"]["reference"] for r in resources(found, "Device")} <= urls
    assert urls == {entry["fullUrl"] for entry in made("lakeside", FRESH)["entry"]}


def test_old_readings_say_nothing_of_now() -> None:
    old = UnitRow(unit="unit-01", last_ms=NOW - 10 * MINUTE, phase=RUNNING, purity_pct=93.0)
    (metric,) = resources(made("lakeside", old), "DeviceMetric")
    assert "operationalStatus" not in metric
    assert resources(made("lakeside", FRESH), "DeviceMetric")[0]["operationalStatus"] == "on"
    off = UnitRow(unit="unit-01", last_ms=NOW, phase=OFF, power_w=0.0)
    assert resources(made("lakeside", off), "DeviceMetric")[0]["operationalStatus"] == "off"


def test_simulated_units_are_marked_as_test_data() -> None:
    def marks(facility):
        return {json.dumps(e["resource"].get("meta")) for e in made(facility, FRESH)["entry"]}

    assert marks("lakeside") == {"null"}
    assert all("HTEST" in mark for mark in marks("sim-lakeside"))


@pytest.fixture
def data(tmp_path):
    with open_store(tmp_path / "data", "lakeside", durable=False) as store, store.transaction():
        store.set_status("site", {"path": "site.toml", "text": SITE.format(facility="lakeside")})
        store.save_units([FRESH])
        store.append_journal(
            [JournalEntry(at_ms=NOW, kind=entries.PURITY_PROOF, unit="unit-01", body=PROOF)], time.time_ns() // 10**6
        )
    return tmp_path / "data"


def test_the_command_writes_csv_and_json(data, tmp_path) -> None:
    out = tmp_path / "inventory.csv"
    assert CliRunner().invoke(app, ["inventory", "--data", str(data), "--out", str(out)]).exit_code == 0
    with out.open(encoding="utf-8") as file:
        read = list(csv.DictReader(file))
    assert [row["number"] for row in read] == ["unit-01", "unit-02", "unit-03"]
    assert (read[0]["last_proof_result"], read[1]["good_to_lpm"]) == ("pass", "")
    out = tmp_path / "inventory.json"
    assert CliRunner().invoke(app, ["inventory", "--data", str(data), "--out", str(out)]).exit_code == 0
    Bundle.model_validate_json(out.read_text(encoding="utf-8"))


def test_the_command_refuses_what_it_cannot_write(data, tmp_path) -> None:
    result = CliRunner().invoke(app, ["inventory", "--data", str(data), "--out", str(tmp_path / "x.txt")])
    assert "neither .csv nor .json" in str(result.exception)


def test_another_facilitys_store_is_refused(data, tmp_path) -> None:
    other = tmp_path / "site.toml"
    other.write_text(SITE.format(facility="hillside"), encoding="utf-8")
    argv = ["inventory", "--data", str(data), "--site", str(other), "--out", str(tmp_path / "x.csv")]
    assert "of 'hillside'" in str(CliRunner().invoke(app, argv).exception)
