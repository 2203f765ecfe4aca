"""A file of changes: what it may change, and that a wrong one is refused with its line, key and the way out."""

from pathlib import Path

import pytest

from collector.rules.limits import DAY, LIMITS, MINUTE, Delay
from collector.site import Site, parse_site
from collector.whatif.changes import Change, ChangesError, load_changes, parse_changes, whole_site
from collector.whatif.limit_keys import UNITS, time_text

SITE = parse_site("""
[facility]
id = "lake"
[[ward]]
id = "newborn"
flow_limit_lpm = 2.0
[[model]]
id = "five"
[[model.task]]
id = "intake-filter"
every_days = 180
[[unit]]
id = "u1"
ward = "newborn"
model = "five"
[[unit]]
id = "u2"
""")


def faults(text: str, site: Site = SITE) -> list[str]:
    with pytest.raises(ChangesError) as caught:
        parse_changes(text, site, name="changes.toml")
    return str(caught.value).splitlines()


def test_an_empty_file_changes_nothing() -> None:
    tried = parse_changes("", SITE)
    assert (tried.limits, tried.changes) == (LIMITS, ())
    assert [tried.site.model_of(unit.id).amber_pct for unit in tried.site.units] == [85, 85]


def test_a_model_and_a_ward_change_and_nothing_else_of_them() -> None:
    tried = parse_changes("[model.five]\namber_pct = 86\n[ward.newborn]\nflow_limit_lpm = 1.5\n", SITE)
    assert tried.site.model_of("u1") == SITE.model_of("u1").model_copy(update={"amber_pct": 86})
    assert tried.site.ward("newborn").flow_limit_lpm == 1.5
    assert tried.changes == (
        Change("model five", "amber_pct", 85.0, 86.0), Change("ward newborn", "flow_limit_lpm", 2.0, 1.5),
    )  # fmt: skip
    assert SITE.model_of("u1").amber_pct == 85


def test_units_that_name_no_model_have_the_model_default() -> None:
    tried = parse_changes("[model.default]\nred_pct = 83\n", SITE)
    assert [tried.site.model_of(unit).red_pct for unit in ("u1", "u2")] == [82, 83]


def test_a_model_of_the_site_that_is_called_default_is_only_itself() -> None:
    site = parse_site(
        '[facility]\nid="a"\n[[model]]\nid="default"\n[[unit]]\nid="u"\nmodel="default"\n[[unit]]\nid="v"'
    )
    tried = parse_changes("[model.default]\nred_pct = 83\n", site)
    assert [tried.site.model_of(unit).red_pct for unit in ("u", "v")] == [83, 82]


def test_limits_are_written_with_their_units() -> None:
    text = "[limits]\nabsent_min = 4\nproven_days = 20\namber = { on_s = 90, off_min = 3 }\nred = { on_s = 45 }\n"
    after = parse_changes(text, SITE).limits
    assert (after.absent_ms, after.proven_ms) == (4 * MINUTE, 20 * DAY)
    assert (after.amber, after.red) == (Delay(90_000, 180_000), Delay(45_000, LIMITS.red.off_ms))
    assert [name for name in LIMITS._fields if getattr(after, name) != getattr(LIMITS, name)] == [
        "absent_ms", "amber", "red", "proven_ms",
    ]  # fmt: skip


def written(name: str, value: object) -> str:
    """A limit as a file of changes has it."""
    if isinstance(value, tuple):
        return f"{name} = {{ {', '.join(written(key, part) for key, part in value._asdict().items())} }}"  # type: ignore[attr-defined]
    if name.endswith("_ms") and isinstance(value, int):
        return f"{name.removesuffix('_ms')}_s = {value / 1000}"
    return f"{name} = {value}"


@pytest.mark.parametrize("name", LIMITS._fields)
def test_every_limit_can_be_written_and_todays_value_is_no_change(name: str) -> None:
    assert parse_changes(f"[limits]\n{written(name, getattr(LIMITS, name))}\n", SITE).changes == ()


def test_each_changed_limit_is_told_by_itself() -> None:
    tried = parse_changes("[limits]\nabsent_h = 1\nred = { off_min = 7 }\nfloor_pct = 20\n", SITE)
    assert tried.changes == (
        Change("limits", "absent", "2 min", "60 min"), Change("limits", "red.off", "5 min", "7 min"),
        Change("limits", "floor_pct", 18.0, 20.0),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("[modle.five]\nred_pct=80", "1: unknown key 'modle'; did you mean 'model'?"),
        ("\n[model.fife]\nred_pct=80", "2: no [[model]] of the site has the id 'fife'; did you mean 'five'?"),
        ('[model."five"]\n\nambre_pct=86', "3: unknown key 'ambre_pct'; did you mean 'amber_pct'?"),
        ("model.five.ambre_pct=86", "1: unknown key 'ambre_pct'; did you mean 'amber_pct'?"),
        ("[model.five]\namber_pct='high'", "2: model.five.amber_pct: Input should be a valid number (it says 'high')"),
        ("[model.five]\namber_pct='86'", "2: model.five.amber_pct: Input should be a valid number (it says '86')"),
        ("[model.five]\nred_pct=nan", "2: model.five.red_pct: Input should be a finite number (it says nan)"),
        ("[model.five]\namber_pct=80", "1: model.five: limits must rise: shutdown_pct < red_pct < amber_pct"),
        ("[model.five]\nid='six'", "2: unknown key 'id'; known here: "),
        ("[model]\nfive=3", "2: 'five' must be a table; write [model.ID] with a key of it"),
        ("[ward.newborn]\nflow_limit_lpm=-1", "2: ward.newborn.flow_limit_lpm: Input should be greater than 0"),
        ("limits=3", "1: 'limits' must be a table; write [limits]"),
        ("[limits]\nabsent=300", "2: unknown key 'absent'; did you mean 'absent_s'?"),
        ("[limits]\nabsent_ms=300", "2: unknown key 'absent_ms'; did you mean 'absent_"),
        ("[limits]\nabsent_s=0", "2: limits.absent_s: Input should be greater than 0"),
        ("[limits]\nabsent_s=1\nabsent_min=2", "3: 'absent_min' is given already in another unit; leave one"),
        ("[limits]\nred=30", "2: 'red' is a table; write red = { on_s = … }"),
        ("[limits]\nred={on_s=30,onn_s=1}", "2: unknown key 'onn_s'; did you mean 'on_s'?"),
        ("[limits]\nred={on_s=-1}", "2: limits.red.on_s: Input should be greater than or equal to 0"),
        ("[limits]\nred={on_s=90,on_min=2}", "2: 'on_min' is given already in another unit; leave one"),
        ("[limits]\nward_lost_units=1.5", "2: limits.ward_lost_units: Input should be a valid integer"),
        ("[limits]\noff_power_share=15", "2: limits.off_power_share: Input should be less than or equal to 1"),
        ("[limits]\n\nfloor_pct=97", "3: limits must rise: floor_pct <= ceiling_pct, and they would be 97.0 and 96.5"),
    ],
)  # fmt: skip
def test_what_is_refused(text: str, expected: str) -> None:
    (fault,) = faults(text)
    assert fault.startswith(f"changes.toml:{expected}")


def test_every_fault_is_told_at_once_and_nothing_is_changed() -> None:
    assert len(faults("[model.five]\nx=1\ny=2\n[ward.w]\n[limits]\nz=3\n")) == 4


def test_no_toml_and_no_file_are_told(tmp_path: Path) -> None:
    assert "not valid TOML" in faults("[model")[0]
    with pytest.raises(ChangesError, match="no such file"):
        load_changes(tmp_path / "none.toml", SITE)


def test_a_whole_other_site_is_told_by_what_differs() -> None:
    other = parse_site("""
[facility]
id = "lake"
[[ward]]
id = "newborn"
changeover_min = 20
[[model]]
id = "five"
amber_pct = 86
[[unit]]
id = "u2"
ward = "newborn"
""")
    assert set(whole_site(SITE, other).changes) == {
        Change("model five", "amber_pct", 85.0, 86.0), Change("ward newborn", "flow_limit_lpm", 2.0, None),
        Change("ward newborn", "changeover_min", 15.0, 20.0), Change("unit", "u1", "there", "not there"),
        Change("unit u2", "ward", "", "newborn"),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("ms", "text"), [(0, "0 s"), (90_000, "90 s"), (120_000, "2 min"), (7_200_000, "2 h"), (3 * DAY, "3 days")]
)
def test_times_read_well(ms: int, text: str) -> None:
    assert time_text(ms) == text


def test_no_spelling_of_a_time_is_another_limit() -> None:
    times = [f"{name.removesuffix('_ms')}_{unit}" for name in LIMITS._fields if name.endswith("_ms") for unit in UNITS]
    assert not set(times) & set(LIMITS._fields)
