"""What is recorded is what the fleet gives, in every form that can be read back."""

import pytest

from collector.recording import RecordingError, read_recording
from simulator.record import record
from tests.simulator.fleets import HOUR, T0, fault, fleet, site, unit

TWO = site(unit("u1"), unit("u2", "b"))
SCENARIO = "[sensors]\nmissing_value_share = 0.05\n" + fault("supply-cut", "10m", length="5m")


@pytest.mark.parametrize("name", ["night.csv", "night.parquet", "night.senml.jsonl"])
def test_a_recording_holds_the_fleets_readings(tmp_path, name):
    path, broken = tmp_path / name, []
    written = record(fleet(SCENARIO, TWO), path, T0, T0 + HOUR)
    seen = list(read_recording(path, lambda row, why: broken.append((row, why)), "sim-test"))
    expected = list(fleet(SCENARIO, TWO).readings(T0, T0 + HOUR))
    assert broken == []
    assert written == len(seen) == len(expected)
    assert [r.unit for r in seen] == [r.unit for r in expected]
    assert [r.time_ms for r in seen] == [r.time_ms for r in expected]
    assert [r.purity_pct for r in seen] == [r.purity_pct for r in expected]
    assert [r.hours_h for r in seen] == pytest.approx([r.hours_h for r in expected])


def test_another_form_is_refused(tmp_path):
    with pytest.raises(RecordingError, match="must end in"):
        record(fleet(SCENARIO, TWO), tmp_path / "night.xls", T0, T0 + HOUR)
