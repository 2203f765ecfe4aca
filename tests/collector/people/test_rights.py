"""Each action by each role, in each ward, signed in or not: what is written, and that nothing is when it is refused."""

import pytest

from collector.people import acts, manage, signin
from collector.people.rights import PEOPLE, RIGHTS, ROLES, TRY_LIMITS, NotAllowed, may, wards_of
from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.site import parse_site
from tests.collector.people.house import LASTS, ME, MINUTE, NOW, SITE_TEXT, House

W, E, P, A = ROLES
EVERY, MAINTENANCE, PLANNING = {W, E, P, A}, {E, A}, {P, A}
#: Written out once more, so that a slip in the table is seen: who may write which row.
MAY = {
    entries.ACKNOWLEDGE: EVERY, entries.SHELVE: EVERY, entries.UNSHELVE: EVERY,
    entries.OUT_OF_SERVICE: MAINTENANCE, entries.RETURN_TO_SERVICE: MAINTENANCE, "override": {A},
    entries.NOTE: EVERY,
    entries.TASK_DONE: EVERY, entries.WORK_OPENED: MAINTENANCE, entries.WORK_CLOSED: MAINTENANCE,
    entries.PURITY_PROOF: MAINTENANCE, entries.CYLINDER_READ: {W, E, A}, entries.PART_MOVED: PLANNING,
    entries.VISIT: {E, P, A}, entries.TEST_ALARM: MAINTENANCE,
    "place-units": EVERY, "add-units": MAINTENANCE, "describe-site": {A},
}  # fmt: skip


#: One change of the site file for each right.
SITE_CHANGES: dict[str, dict] = {
    "place-units": {"do": "move", "unit": "u1", "from": "east", "to": "", "why": "not needed"},
    "add-units": {"do": "add", "table": "unit", "fields": {"id": "u9"}, "why": "new"},
    "describe-site": {"do": "add", "table": "ward", "fields": {"id": "north"}, "why": "new"},
}


def entry(kind, role, ward="east", unit="", who=None, **body):
    if kind == "override":
        kind, body = entries.RETURN_TO_SERVICE, {"override": True, "missing": "a check"}
    if kind == entries.TASK_DONE:  # that a ward's own unit was not found, anybody may say
        unit, body = unit or "u1", {"task": "cabinet-filter", "outcome": entries.COULD_NOT_LOCATE} | body
    if kind == entries.VISIT:
        body = {"state": "done"} | body
    if kind in SITE_CHANGES:
        kind, body = entries.SITE_CHANGE, SITE_CHANGES[kind]
        unit = unit or body.get("unit", "")
    return JournalEntry(at_ms=NOW, kind=kind, unit=unit, ward=ward, who=who or f"{role.title()} Example", role=role,
                        origin="a form may say anything", body=body)  # fmt: skip


def record(house, row, token, address="10.0.0.7"):
    return acts.record(house.data_dir, row, token, address, LASTS, house.now_ms)


@pytest.fixture(scope="module")
def staffed(tmp_path_factory):
    """An account of each role, each signed in."""
    house = House(tmp_path_factory.mktemp("staffed") / "data")
    tokens = {}
    for role in ROLES:
        house.add(role, role, ["east"] if role == W else ())
        tokens[role] = house.sign_in(role)
    return house, tokens


def test_the_table_is_the_one_that_was_agreed():
    beside = {PEOPLE: {A}, TRY_LIMITS: MAINTENANCE, entries.SITE_CHANGE: EVERY}
    assert MAY | beside == {action: set(roles) for action, roles in RIGHTS.items()}
    assert not any(may(role, "an action that nobody named") for role in ROLES)


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("kind", MAY)
def test_each_action_by_each_role(staffed, kind, role):
    house, tokens = staffed
    before = house.rows()
    if role in MAY[kind]:
        row = record(house, entry(kind, role), tokens[role])
        assert (row.who, row.role, row.origin) == (f"{role.title()} Example", role, "dashboard 10.0.0.7")
        assert house.rows()[:-1] == before
    else:
        with pytest.raises(NotAllowed, match="Your role"):
            record(house, entry(kind, role), tokens[role])
        assert house.rows() == before


@pytest.mark.parametrize("kind", sorted(kind for kind, roles in MAY.items() if W in roles and kind not in SITE_CHANGES))
@pytest.mark.parametrize("place", [{"ward": "west"}, {"ward": "", "unit": "u2"}, {"ward": "east", "unit": "u2"}])
def test_a_ward_acts_in_its_own_only(staffed, kind, place):
    house, tokens = staffed
    before = house.rows()
    with pytest.raises(NotAllowed, match="acts in east only, and this is of west"):
        record(house, entry(kind, W, **place), tokens[W])
    assert house.rows() == before


@pytest.mark.parametrize(
    ("body", "good"),
    [
        ({"do": "move", "unit": "u2", "from": "west", "to": "east", "why": "a spare"}, True),
        ({"do": "swap", "unit": "u1", "with": "u2", "from": "east", "to": "west", "why": "it fails"}, True),
        ({"do": "move", "unit": "u2", "from": "west", "to": "", "why": "to the store"}, False),
        ({"do": "remove", "unit": "u1", "why": ""}, False),
    ],
    ids=["fetched from another ward", "exchanged with another ward", "of two other places", "not a ward's to do"],
)
def test_a_ward_fetches_a_unit_and_gives_one_away(staffed, body, good):
    house, tokens = staffed
    row = JournalEntry(at_ms=NOW, kind=entries.SITE_CHANGE, unit=body["unit"], ward="east", who="Ward Example", role=W,
                       body=body)  # fmt: skip
    if good:
        assert record(house, row, tokens[W]).body == body
    else:
        with pytest.raises(NotAllowed):
            record(house, row, tokens[W])


MAY_NARROWED = [
    (entries.TASK_DONE, {"task": "cabinet-filter", "outcome": "done"}, {W, E, A}),
    (entries.TASK_DONE, {"task": "cabinet-filter", "outcome": "put-off"}, {E, P, A}),
    (entries.TASK_DONE, {"task": "intake-filter", "outcome": "done"}, MAINTENANCE),
    (entries.TASK_DONE, {"task": "intake-filter", "outcome": "could-not-locate"}, {E, P, A}),
    (entries.TASK_DONE, {"task": "of no unit", "outcome": "done"}, MAINTENANCE),
    (entries.TASK_DONE, {"task": "cabinet-filter", "outcome": "of no such kind"}, {W, E, A}),
    (entries.VISIT, {"state": "done"}, {E, P, A}),
    (entries.VISIT, {"state": "locked"}, PLANNING),
    (entries.VISIT, {"state": "cancelled"}, PLANNING),
]


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize(("kind", "body", "roles"), MAY_NARROWED)
def test_tasks_and_visits_are_narrowed_where_they_are_written(staffed, kind, body, roles, role):
    house, tokens = staffed
    before = house.rows()
    if role in roles:
        assert record(house, entry(kind, role, **body), tokens[role]).body == body
        return
    with pytest.raises(NotAllowed, match="Your role"):
        record(house, entry(kind, role, **body), tokens[role])
    assert house.rows() == before


@pytest.mark.parametrize(
    "body",
    [
        {"do": "move", "unit": "u2", "from": "west", "to": "", "fields": {"ward": "east"}},
        {"do": "move", "unit": "u2", "from": "west", "to": "", "tasks": [{"unit": "u1", "task": "t"}]},
        {"do": "move", "unit": "u2", "from": "west", "to": "", "wards": ["east"]},
        {"do": "swap", "unit": "u2", "with": "u2", "from": "east", "to": "west"},
    ],
    ids=["fields", "tasks", "wards", "a place that is not so"],
)
def test_no_key_beside_makes_a_move_of_two_other_places_a_wards_own(staffed, body):
    house, tokens = staffed
    row = JournalEntry(at_ms=NOW, kind=entries.SITE_CHANGE, unit="u1", ward="east", who="Ward Example", role=W,
                       body=body)  # fmt: skip
    with pytest.raises(NotAllowed, match="this is of west"):
        record(house, row, tokens[W])


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        (entries.SITE_CHANGE, {"do": "add", "table": "unit", "fields": {"id": "u9", "ward": "west"}}),
        (entries.SITE_CHANGE, {"do": "remove", "unit": "u2"}),
        (entries.TEST_ALARM, {"wards": ["east", "west"]}),
    ],
    ids=["a new unit", "a unit taken back", "a test of other wards"],
)
def test_an_engineer_of_one_ward_acts_in_it_only_whatever_the_row_calls_its_ward(house, kind, body):
    house.add("engineer", E, ["east"])
    row = JournalEntry(at_ms=NOW, kind=kind, ward="east", who="Engineer Example", role=E, body=body)
    with pytest.raises(NotAllowed, match="this is of west"):
        record(house, row, house.sign_in("engineer"))
    assert house.rows(kind) == []


def test_a_visit_is_of_all_its_units_wards(house):
    site = parse_site(SITE_TEXT.format(facility="lakeside"))
    row = entry(entries.VISIT, P, tasks=[{"unit": "u1", "task": "t"}, {"unit": "u2", "task": "t"}])
    assert wards_of(row, site) == {"east", "west"}
    house.add("planner", P, ["east"])
    with pytest.raises(NotAllowed, match="this is of west"):
        record(house, row, house.sign_in("planner"))


@pytest.mark.parametrize("token", ["", "guessed"])
@pytest.mark.parametrize("kind", MAY)
def test_who_is_not_signed_in_writes_nothing(staffed, kind, token):
    house, _ = staffed
    before = house.rows()
    with pytest.raises(NotAllowed, match="not signed in any more"):
        record(house, entry(kind, A), token)
    assert house.rows() == before


@pytest.mark.parametrize("minutes", [60, 12 * 60, -6])
def test_an_expired_session_writes_nothing(house, minutes):
    """Unused for an hour, older than a shift, or from a future that a clock set back has left."""
    house.add()
    token = house.sign_in()
    house.now_ms += minutes * MINUTE
    with pytest.raises(NotAllowed, match="not signed in any more"):
        record(house, entry(entries.ACKNOWLEDGE, A, who="Boss Example"), token)
    assert house.rows(entries.ACKNOWLEDGE) == []


def test_use_keeps_a_session_alive_but_not_beyond_a_shift(house):
    house.add()
    token, used = house.sign_in(), 0
    for _ in range(24):
        house.now_ms += 45 * MINUTE
        try:
            record(house, entry(entries.ACKNOWLEDGE, A, who="Boss Example"), token)
            used += 1
        except NotAllowed:
            break
    assert used == 12 * 60 // 45 - 1


def end_by_hand(house, token):
    signin.sign_out(house.data_dir, token, "10.0.0.7", house.now_ms)


def end_by_disabling(house, token):
    house.add("other")
    house.disable("boss")


def end_by_password(house, token):
    manage.set_password(house.data_dir, ME, "boss", "four grey herons wait")


@pytest.mark.parametrize("end", [end_by_hand, end_by_disabling, end_by_password])
def test_an_ended_session_writes_nothing(house, end):
    house.add()
    token = house.sign_in()
    end(house, token)
    with pytest.raises(NotAllowed):
        record(house, entry(entries.ACKNOWLEDGE, A, who="Boss Example"), token)
    assert house.rows(entries.ACKNOWLEDGE) == []


@pytest.mark.parametrize("said", [{"who": "Somebody Else"}, {"role": E}])
def test_who_and_role_are_the_accounts_and_never_what_a_form_says(house, said):
    house.add()
    row = entry(entries.ACKNOWLEDGE, said.get("role", A), who=said.get("who", "Boss Example"))
    with pytest.raises(NotAllowed, match="account was changed"):
        record(house, row, house.sign_in())


def test_a_simulated_facility_without_accounts_is_open_and_closes_with_the_first(tmp_path):
    house = House(tmp_path / "sim", "sim-lakeside")
    row = record(house, entry(entries.ACKNOWLEDGE, W, who="N. Example"), "", "")
    assert (row.who, row.origin) == ("N. Example", "dashboard")
    with pytest.raises(NotAllowed, match="Your role"):
        record(house, entry(entries.OUT_OF_SERVICE, W, who="N. Example"), "")
    house.add()
    with pytest.raises(NotAllowed, match="not signed in any more"):
        record(house, entry(entries.ACKNOWLEDGE, W, who="N. Example"), "")


@pytest.mark.parametrize("role", [W, E, P])
def test_only_administrators_change_accounts(staffed, role):
    house, tokens = staffed
    before = house.rows()
    refused = manage.as_administrator(house.data_dir, tokens[role], "10.0.0.7", LASTS, house.now_ms)
    with pytest.raises(NotAllowed, match="administrators"), refused as (book, by):
        manage.disable_account(book, by, "ward")
    assert house.rows() == before
