"""Recordings: what is written is read back, and a broken row is named while the rest goes on."""

from pathlib import Path

import pytest

from collector.reading import Reading
from collector.recording import RecordingError, open_writer, read_recording

T0 = 1_790_000_000_000
READINGS = [
    Reading("u1", T0, 93.4, 5.0, 340.0, 30.1, 229.5, 60.0, 1203.4),
    Reading("u2", T0 + 250, None, 0.0, 4.5),
    Reading("u1", T0 + 10_000, 93.1, 5.0, 341.0, hours_h=1203.4),
]


def read(path: Path) -> tuple[list[Reading], list[tuple[int, str]]]:
    broken: list[tuple[int, str]] = []
    return list(read_recording(path, lambda row, why: broken.append((row, why)), "lake")), broken


@pytest.mark.parametrize("name", ["r.csv", "r.parquet", "r.senml.jsonl"])
def test_written_is_read_back(tmp_path: Path, name: str) -> None:
    with open_writer(tmp_path / name, "lake") as writer:
        for reading in READINGS:
            writer.write(reading)
    assert read(tmp_path / name) == (READINGS, [])


@pytest.mark.parametrize("name", ["r.csv", "r.parquet", "r.senml.jsonl"])
def test_an_empty_recording_is_one(tmp_path: Path, name: str) -> None:
    with open_writer(tmp_path / name, "lake"):
        pass
    assert read(tmp_path / name) == ([], [])


def test_broken_rows_are_named_and_the_rest_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    path.write_text(
        "time,unit,purity_pct,flow_lpm,power_w\n"
        "2026-11-25T08:00:00Z,u1,93,4,340\n"
        "2026-11-25T08:00:10,u1,93,4,340\n"
        "2026-11-25T08:00:20Z,u1,ninety,4,340\n"
        "2026-11-25T08:00:30Z,u1,193,4,340\n"
        "2026-11-25T08:00:40Z,u1,93,4\n"
        "yesterday,u1,93,4,340\n"
        "2026-11-25T08:00:50Z,u1,nan,4,340\n"
        "2026-11-25T08:01:00Z,u1,,,\n"
        "2026-11-25T08:01:10Z,u1,92.5,4,340\n"
    )
    readings, broken = read(path)
    assert [r.purity_pct for r in readings] == [93.0, 92.5]
    assert [row for row, _ in broken] == [3, 4, 5, 6, 7, 8, 9]
    assert "no zone" in broken[0][1]
    assert "purity_pct 'ninety' is not a number" in broken[1][1]


def test_broken_senml_lines_are_named(tmp_path: Path) -> None:
    path = tmp_path / "r.senml.jsonl"
    path.write_text('[{"bn":"urn:dev:ops:lake-u1:","bt":1790000000,"n":"purity","u":"/","v":0.93}]\nnonsense\n\n'
                    '[{"bn":"urn:dev:ops:hill-u1:","bt":1790000000,"n":"purity","u":"/","v":0.93}]\n')  # fmt: skip
    readings, broken = read(path)
    assert len(readings) == 1
    assert [row for row, _ in broken] == [2, 4]


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("r.csv", "time,unit,purity\n", "lacks purity_pct, flow_lpm, power_w"),
        ("r.csv", "", "lacks"),
        ("r.txt", "", "must end in"),
        ("none.csv", None, "no such file"),
    ],
)
def test_what_is_no_recording_is_refused(tmp_path: Path, name: str, text: str | None, said: str) -> None:
    if text is not None:
        (tmp_path / name).write_text(text)
    with pytest.raises(RecordingError, match=said):
        read(tmp_path / name)
