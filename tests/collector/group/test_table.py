"""Who follows which facility: everybody's facility is somebody's, evenly, and no epoch is ever given twice."""

from hypothesis import given
from hypothesis import strategies as st

from collector.group.table import Held, Member, Table, joined, let_go, raised, settled, without

UNITS = {"lake": 40, "hill": 30, "dale": 20, "moor": 10}


def group(*names: str, units: dict[str, int] | None = None) -> Table:
    table = Table()
    for name in names:
        table = settled(joined(table, name, Member(f"{name}-1", units or UNITS)))
    return all_let_go(table)


def all_let_go(table: Table) -> Table:
    """As if every owner did what it is asked to."""
    while moving := [(facility, held) for facility, held in table.held.items() if held.next]:
        for facility, held in moving:
            table = let_go(table, facility, held.owner)
        table = settled(table)
    return table


def load(table: Table) -> dict[str, int]:
    return {name: sum(UNITS[facility] for facility in table.owned_by(name)) for name in table.members}


def test_the_first_member_has_everything_and_the_second_is_given_half_of_it() -> None:
    assert load(group("a")) == {"a": 100}
    assert load(group("a", "b")) == {"a": 50, "b": 50}


def test_a_facility_that_moves_stays_its_owners_until_it_lets_go() -> None:
    table = settled(joined(group("a"), "b", Member("b-1", UNITS)))
    moving = {facility: held for facility, held in table.held.items() if held.next}
    assert moving
    assert all((held.owner, held.next) == ("a", "b") for held in moving.values())
    facility, held = next(iter(moving.items()))
    assert let_go(table, facility, "b") == table, "only its owner lets it go"
    given_on = let_go(table, facility, "a").held[facility]
    assert given_on.owner == "b"
    assert given_on.epoch > held.epoch


def test_what_a_dead_member_held_is_given_to_the_others_at_a_new_epoch_and_no_other_changes_hands_at_once() -> None:
    before = group("a", "b", "c")
    after = settled(without(before, ["c"]))
    assert set(after.members) == {"a", "b"}
    for facility, held in before.held.items():
        if held.owner == "c":
            assert after.held[facility].owner in ("a", "b")
            assert after.held[facility].epoch > before.generation
        else:
            assert (after.held[facility].owner, after.held[facility].epoch) == (held.owner, held.epoch)


def test_a_member_of_the_same_name_takes_the_place_of_the_earlier_one_at_new_epochs() -> None:
    before = group("a", "b")
    after = settled(joined(before, "a", Member("a-2", UNITS)))
    for facility in before.owned_by("a"):
        assert after.held[facility].owner == "a"
        assert after.held[facility].epoch > before.held[facility].epoch


def test_a_facility_goes_only_to_members_that_have_its_site_file() -> None:
    table = joined(group("a", units={"lake": 40}), "b", Member("b-1", {"hill": 1}))
    assert {facility: held.owner for facility, held in settled(table).held.items()} == {"lake": "a", "hill": "b"}
    assert settled(without(settled(table), ["a"])).held["lake"].owner == ""


def test_a_lost_table_goes_on_above_what_the_stores_have_seen() -> None:
    table = group("a")
    higher = raised(table, "lake", "a", 57)
    assert higher.held["lake"] == Held("a", 58)
    assert higher.generation == 58
    assert raised(table, "lake", "b", 57) == table, "not for somebody who does not hold it"
    assert raised(higher, "lake", "a", 57) == higher, "not for what was given to it since"


STEPS = st.lists(st.tuples(st.sampled_from(["join", "die", "let go"]), st.sampled_from("abcd")), max_size=25)
MANY = st.dictionaries(st.sampled_from([f"f{n}" for n in range(12)]), st.integers(0, 500), min_size=1)


@given(STEPS, MANY)
def test_whatever_happens_epochs_only_rise_and_what_is_settled_stays(steps, units) -> None:
    table, count = Table(), 0
    for step, name in steps:
        before, count = table, count + 1
        if step == "join":
            table = joined(table, name, Member(f"{name}-{count}", units))
        elif step == "die":
            table = without(table, [name])
        else:
            for facility in list(table.owned_by(name)):
                table = let_go(table, facility, name)
        table = settled(table)
        assert settled(table) == table
        for facility, held in table.held.items():
            was = before.held.get(facility, Held())
            assert held.epoch > was.epoch or (held.epoch == was.epoch and held.owner in (was.owner, ""))
        if table.members:
            assert all(held.owner in table.members for held in table.held.values())
            assert set(table.held) == set(units)


@given(MANY, st.integers(1, 4))
def test_no_move_is_left_that_would_make_the_group_more_even(units, members) -> None:
    table = Table()
    for name in "abcd"[:members]:
        table = settled(joined(table, name, Member(name, units)))
    table = all_let_go(table)
    loads = {name: sum(max(units[f], 1) for f in table.owned_by(name)) for name in table.members}
    spread = max(loads.values()) - min(loads.values())
    heavy = max(loads, key=lambda name: loads[name])
    assert all(max(units[facility], 1) >= spread for facility in table.owned_by(heavy)) or spread == 0
