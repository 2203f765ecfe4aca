"""The changeover card: one plain instruction, only of what is known to be good, nothing named twice."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from collector.backup.card import CAUTIONS, cards, lasts_text, ready_card
from collector.backup.known import Known, WardBackup
from collector.backup.ward import ward_backup
from collector.reading import iso_utc
from collector.site import UNASSIGNED, Ward
from tests.collector.backup.stories import HOUR, MINUTE, SITE, T0, alarm, backup, off, read, row


def cards_of(known: Known, rows, alarms, at_ms: int = T0, others: dict[str, WardBackup] | None = None):
    judged = backup(known, *rows, alarms=tuple(alarms), at_ms=at_ms)
    return cards(SITE, {"w": judged, **(others or {})}, "w", alarms, at_ms)


def test_a_cylinder_first_since_it_gives_at_once_then_the_spare_that_is_enough():
    known = read(T0 - HOUR, big=13_700, small=13_700)
    rows = [row("u1", 3.0), off("u2", 5.0), off("u3", 3.5)]
    card = cards_of(known, rows, [red := alarm("u1")])[red.key]
    assert card.say == (
        "Change over to cylinder big (by the door): lasts about 5 h at 3.0 L/min. "
        "Then to spare unit u3 (proven to 3.5 L/min), after 10 min of warm-up."
    )
    assert (card.cylinders, card.spare, card.lasts_min) == (("big",), "u3", 300)
    assert card.read == iso_utc(T0 - HOUR)
    assert card.cautions == CAUTIONS


def test_without_a_spare_another_cylinder_is_called_for():
    card = cards_of(read(small=13_700), [row("u1", 3.0)], [red := alarm("u1")])[red.key]
    assert card.say.endswith("Call for another cylinder.")
    short = cards_of(read(small=3000), [row("u1", 5.0)], [red])[red.key]
    assert short.say.endswith("Call for another cylinder at once.")


def test_two_units_are_never_sent_to_the_same_backup():
    known = read(big=13_700, small=13_700)
    one, two, three = alarm("u1"), alarm("u2", raised_ms=T0 + 1), alarm("u3", raised_ms=T0 + 2)
    found = cards_of(known, [row("u1"), row("u2"), row("u3")], [two, three, one])
    assert [found[a.key].cylinders for a in (one, two, three)] == [("big",), ("small",), ()]
    assert found[three.key].say.startswith("No backup of this ward is known to be good and free")


def test_two_alarms_of_one_unit_have_one_card():
    known = read(big=13_700, small=13_700)
    found = cards_of(known, [row("u1")], [red := alarm("u1"), amber := alarm("u1", "purity-amber", priority="medium")])
    assert found[red.key] == found[amber.key]


def test_a_ward_without_power_has_all_its_cylinders_together_and_no_spare():
    known = read(big=13_700, small=13_700)
    backup(known, row("u1", 3.0), row("u2", 2.0))
    cut = alarm("", "ward-supply-lost", evidence={"units": ["u1", "u2"]})
    found = cards_of(known, [off("u1"), off("u2"), off("u3", 5.0)], [cut, red := alarm("u3", raised_ms=T0 - 1)])
    assert found[cut.key].cylinders == ("big", "small")
    assert found[cut.key].say == (
        "Change over to cylinder big (by the door) and cylinder small: together they last about 4 h 30 min at the "
        "ward's 5.0 L/min. Call for more at once."
    )
    assert found[red.key].cylinders == ()


def test_what_may_have_been_drawn_since_the_failure_is_taken_off():
    known = read(big=5000)
    backup(known, row("u1", 4.0))
    dead = alarm("u1", "supply-lost")
    card = cards_of(known, [off("u1")], [dead], T0 + 45 * MINUTE)[dead.key]
    assert card.lasts_min == 25
    known = read(T0 + 45 * MINUTE, big=5000)
    known.in_use |= backup_use(4.0)
    assert cards_of(known, [off("u1")], [dead], T0 + 45 * MINUTE)[dead.key].lasts_min == 60


def backup_use(flow: float):
    known = Known()
    backup(known, row("u1", flow))
    return known.in_use


@pytest.mark.parametrize("known", [Known(), read(T0 - 25 * HOUR, big=13_700), read(big=700)])
def test_what_is_not_known_to_be_good_is_never_named(known):
    card = cards_of(known, [row("u1", 3.0)], [red := alarm("u1")])[red.key]
    assert (card.cylinders, card.spare, card.lasts_min) == ((), "", None)
    assert (
        card.say
        == "No backup of this ward is known to be good and free: follow the ward's protocol. Call for a cylinder now."
    )


def test_the_cylinder_elsewhere_that_lasts_longest_is_named_when_the_ward_has_none():
    store = ward_backup(SITE, Ward(id=UNASSIGNED), read(store=13_700), (), (), (), T0)
    card = cards_of(Known(), [row("u1", 3.0)], [red := alarm("u1")], others={UNASSIGNED: store})[red.key]
    assert "Ask for cylinder store-1 (gas store): lasts about" in card.say


def test_a_reading_that_has_grown_old_since_the_judgement_is_not_named():
    judged = {"w": backup(read(big=13_700), row("u1", 3.0))}
    red = alarm("u1")
    assert cards(SITE, judged, "w", [red], T0 + 23 * HOUR)[red.key].cylinders == ("big",)
    assert cards(SITE, judged, "w", [red], T0 + 25 * HOUR)[red.key].cylinders == ()


def test_alarms_that_ask_for_no_changeover_have_no_card():
    assert cards_of(read(big=13_700), [row("u1")], [alarm("u1", "supply-poor"), alarm("u1", "readings-absent")]) == {}
    assert cards(SITE, {}, "w", [alarm("u1")], T0) == {}


def test_a_unit_whose_flow_is_not_known_is_taken_at_its_rated_flow():
    card = cards_of(read(big=13_700), [row("u1", None)], [red := alarm("u1")])[red.key]
    assert card.flow_lpm == 5.0


def test_a_unit_without_an_alarm_has_a_card_to_be_ready_with():
    judged = {"w": backup(read(big=13_700), row("u1", 3.0), off("u2", 5.0))}
    card = ready_card(SITE, judged, "w", "u1", T0)
    assert card is not None
    assert (card.cylinders, card.spare) == (("big",), "u2")
    assert ready_card(SITE, {}, "w", "u1", T0) is None


@settings(max_examples=60, deadline=None)
@given(
    gauges=some.dictionaries(some.sampled_from(["big", "small"]), some.floats(0, 16_000), max_size=2),
    age_h=some.floats(0, 48),
    failed=some.lists(some.sampled_from(["u1", "u2", "u3", ""]), unique=True),
    flows=some.lists(some.floats(0, 10), min_size=3, max_size=3),
)
def test_whatever_fails_nothing_is_named_twice_and_nothing_that_is_not_good(gauges, age_h, failed, flows):
    rows = [row(f"u{n}", flow, proven_lpm=5.0, proven_ms=T0) for n, flow in enumerate(flows, 1)]
    alarms = [alarm(unit, "purity-red" if unit else "ward-supply-lost", raised_ms=T0 + n)
              for n, unit in enumerate(failed)]  # fmt: skip
    found = cards_of(read(T0 - int(age_h * HOUR), **gauges), rows, alarms)
    cylinders = [name for card in found.values() for name in card.cylinders]
    spares = [card.spare for card in found.values() if card.spare]
    assert len(cylinders) == len(set(cylinders))
    assert len(spares) == len(set(spares))
    assert not set(spares) & set(failed)
    assert all(gauges[name] >= 800 and age_h < 24 for name in cylinders)
    assert set(found) == {one.key for one in alarms}


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(4.9, "less than 5 min"), (59.9, "55 min"), (60, "1 h"), (89, "1 h 15 min"), (599, "9 h 45 min"), (700, "11 h")],
)
def test_times_are_rounded_down(minutes, said):
    assert lasts_text(minutes) == said
