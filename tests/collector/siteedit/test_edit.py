"""Changes of a site file's text: exactly what was meant, and every comment where it was."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.site import parse_site
from collector.siteedit import asked
from collector.siteedit.edit import NotEditable, edited

TEXT = """# Our hospital
[facility]
id = "sim-a"  # never changed
name = "A"

[[ward]]
id = "east"

[[ward]]
id = "west"
# ---- models
[[model]]
id = "five"
[[model.task]]
id = "filter"
every_h = 500

# ---- units
[[unit]]
id = "u1"     # the old one
model = "five"
ward = "east"   # since May
serial = "9"

# in the store room
[[unit]]
id = "u2"

# ---- cylinders
[[cylinder]]
id = "c1"
ward = "east"
[[unit]]
id = "u3"
ward = "west"
"""


def move(unit="u1", old="east", new="west"):
    return {"do": "move", "unit": unit, "from": old, "to": new, "why": "w"}


def changed_lines(before, after):
    return [line for line in after.splitlines() if line not in before.splitlines()]


def test_a_move_changes_one_word_and_keeps_its_comment():
    after = edited(TEXT, move())
    assert after == TEXT.replace('ward = "east"   # since May', 'ward = "west"   # since May')


def test_a_unit_without_a_ward_gets_a_line_behind_its_id_and_loses_it_again():
    after = edited(TEXT, move("u2", "", "west"))
    assert after == TEXT.replace('id = "u2"\n', 'id = "u2"\nward = "west"\n')
    assert edited(after, move("u2", "west", "")) == TEXT


def test_a_swap_is_two_moves_at_once_and_its_undoing_gives_the_same_text():
    body = {"do": "swap", "unit": "u1", "with": "u3", "from": "east", "to": "west", "why": "failing"}
    after = edited(TEXT, body)
    site = parse_site(after)
    assert (site.ward_of("u1").id, site.ward_of("u3").id) == ("west", "east")
    assert edited(after, asked.undoing(body, 7) or {}) == TEXT


def test_what_is_made_already_changes_nothing():
    for body in (move(), {"do": "add", "table": "unit", "fields": {"id": "u4", "ward": "west"}, "why": ""}):
        once = edited(TEXT, body)
        assert edited(once, body) == once


def test_a_unit_that_stands_elsewhere_by_now_is_not_moved():
    with pytest.raises(NotEditable, match="u1 stands in east by now, not in west: look again"):
        edited(TEXT, move("u1", "west", ""))


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (move("u9", "", "west"), "no unit 'u9'"),
        (move("u1", "east", "north"), "no ward 'north'"),
        ({"do": "add", "table": "unit", "fields": {"id": "u1"}}, "a unit 'u1' already"),
        ({"do": "add", "table": "unit", "fields": {"id": "Unit 7"}}, "cannot be so: id"),
        ({"do": "add", "table": "unit", "fields": {"id": "u7", "colour": "red"}}, "cannot be so: colour"),
        (
            {"do": "add", "table": "unit", "fields": {"id": "u7", "ward": "north"}},
            "no \\[\\[ward\\]\\] has the id 'north'",
        ),
        ({"do": "add", "table": "messages", "fields": {"file": "x"}}, "no 'messages'"),
        ({"do": "facility", "fields": {"id": "other"}}, "id cannot be changed"),
        ({"do": "facility", "fields": {"timezone": "Mars"}}, "no time zone 'Mars'"),
        ({"do": "burn"}, "'burn' is none of"),
        ({"do": "move"}, "cannot be read"),
        ({}, "cannot be read"),
    ],
)
def test_what_cannot_be_is_refused_in_words(body, said):
    with pytest.raises(NotEditable, match=said):
        edited(TEXT, body)


def test_a_new_table_stands_behind_the_last_of_its_kind():
    after = edited(TEXT, {"do": "add", "table": "model", "fields": {"id": "ten", "rated_flow_lpm": 10.0}})
    assert after == TEXT.replace("every_h = 500\n", 'every_h = 500\n\n[[model]]\nid = "ten"\nrated_flow_lpm = 10.0\n')


def test_the_first_table_of_its_kind_stands_at_the_end_of_the_file():
    fields = {"id": "bridge-east", "units": ["u1", "u2"]}
    after = edited(TEXT.rstrip("\n"), {"do": "add", "table": "bridge", "fields": fields})
    assert after.startswith(TEXT)
    assert after.endswith('\n\n[[bridge]]\nid = "bridge-east"\nunits = ["u1", "u2"]\n')


def test_a_unit_that_was_added_is_taken_away_without_a_trace():
    body = {"do": "add", "table": "unit", "fields": {"id": "u4", "ward": "west"}, "why": ""}
    assert edited(edited(TEXT, body), asked.undoing(body, 3) or {}) == TEXT


def test_the_facility_is_described():
    after = edited(TEXT, {"do": "facility", "fields": {"name": "B", "altitude_m": 1200.0}})
    assert after == TEXT.replace('id = "sim-a"  # never changed\nname = "A"',
                                 'id = "sim-a"  # never changed\naltitude_m = 1200.0\nname = "B"')  # fmt: skip


@pytest.mark.parametrize(
    "text",
    [
        'unit = [{ id = "u1", ward = "east" }]\nward = [{ id = "east" }, { id = "west" }]\n[facility]\nid = "sim-a"\n',
        '[facility]\nid = "sim-a"\nname = """\n[[unit]]\nid = "u1"\nward = "east"\n"""\n'
        '[[ward]]\nid = "east"\n[[ward]]\nid = "west"\n[[unit]]\nid = "u1"\nward = "east"\n',
    ],
    ids=["inline tables", "a text that looks like a table"],
)
def test_a_file_of_another_shape_is_left_alone(text):
    with pytest.raises(NotEditable):
        edited(text, move())


words = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=20)


@given(name=words, place=words, serial=words)
def test_whatever_people_write_comes_back_as_it_was(name, place, serial):
    after = edited(TEXT, {"do": "add", "table": "ward", "fields": {"id": "new", "name": name}})
    after = edited(after, {"do": "add", "table": "cylinder", "fields": {"id": "c9", "place": place}})
    after = edited(after, {"do": "add", "table": "unit", "fields": {"id": "u9", "serial": serial}})
    site = parse_site(after)
    assert (site.ward("new").name, site.cylinders[-1].place, site.units[-1].serial) == (name, place, serial)
    assert [line for line in TEXT.splitlines() if line not in after.splitlines()] == []


def test_only_what_was_added_is_new():
    after = edited(TEXT, {"do": "add", "table": "person", "fields": {"id": "amie", "role": "engineer"}})
    assert changed_lines(TEXT, after) == ["[[person]]", 'id = "amie"', 'role = "engineer"']
