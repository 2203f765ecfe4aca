"""The words of a message: one SMS that says where, what, since when and what to do; a whole page where it may be."""

import msgspec
import pytest

from collector.backup.card import Card
from collector.messages import gsm
from collector.messages.plan import Letter
from collector.messages.words import since_text, text_of
from collector.rules.catalogue import CATALOGUE, action_text
from collector.rules.entries import TEST_ALARM
from collector.rules.events import Evidence
from collector.rules.limits import HOUR, MINUTE
from collector.site import parse_site
from tests.collector.messages.world import NOON_MS, SITE, World

EVIDENCE: Evidence = {
    "limit_pct": 82, "falls_under": "85 %", "units_lost": 4, "limit_lpm": 5, "nominal_volts": 230, "ahead_s": 90,
    "first": "Change the intake filter", "need_min": 60, "good_to_lpm": 2.5, "rated_lpm": 5, "days": 30,
}  # fmt: skip


def words(world, cards=None, way="newborn-phone"):
    letter = world.turn()[way]
    return text_of(letter, world.site, cards or {}, world.now_ms)


def test_the_line_says_where_what_since_when_and_what_to_do():
    world = World()
    world.raised("purity-shutdown", "u07")
    assert words(world).line == (
        "Newborn ward, u07: Unit has switched itself off (since 12:00). The unit gives no oxygen. "
        "Change over to the backup now."
    )


def test_a_card_says_what_to_change_over_to():
    world = World()
    world.raised("purity-red", "u07")
    say = (
        "Change over to cylinder c3 (in the corridor by the sluice): lasts about 40 min at 2.0 L/min. Call for another."
    )
    card = Card(say=say, flow_lpm=2.0, cylinders=("c3",))
    text = words(world, {("u07", "", "purity-red"): card})
    assert text.line == (
        "Newborn ward, u07: Unit output very low (since 12:00). "
        "Change over to cylinder c3 (in the corridor by the sluice): lasts about 40 min at 2.0 L/min."
    )
    assert "Call for another." in text.body
    assert "Oxygen feeds fire" in text.body


def test_where_a_card_does_not_fit_it_still_says_what_to_change_over_to():
    world = World(site=SITE.replace('"Newborn ward"', '"Newborn and premature babies ward, second floor"'))
    world.raised("purity-shutdown", "u07")
    say = "Change over to cylinder c3 (in the corridor by the sluice): lasts about 2 h 45 min at 2.0 L/min."
    line = words(world, {("u07", "", "purity-shutdown"): Card(say=say, flow_lpm=2.0, cylinders=("c3",))}).line
    assert line.endswith("(since 12:00). Change over to cylinder c3 (in the corridor by the sluice).")


@pytest.mark.parametrize("condition", sorted(CATALOGUE))
def test_every_condition_goes_as_one_sms_and_keeps_the_end_of_its_instruction(condition):
    world = World(site=SITE.replace('"lakeside"', '"sim-lakeside"'))
    known = CATALOGUE[condition]
    row = world.event("raised", condition, "unit-with-a-long-name", priority="high")
    action = action_text(known.action, EVIDENCE)
    one = world.happenings()[0]
    assert one.about == f"alarm-{row.seq}"
    one = msgspec.structs.replace(one, action=action)
    letter = Letter(way=world.ladder.ways[0], happenings=(one,), attempt=1)
    line = text_of(letter, world.site, {}, world.now_ms).line
    assert gsm.is_plain(line)
    assert gsm.length(line)[0] <= 160
    assert line.startswith("SIMULATED: Newborn ward, unit-with-a-long-name: " + known.title)
    assert line.endswith(action.split(". ")[-1]) or "..." in line


def test_a_burst_says_how_many_more_there_are_and_lists_ten():
    world = World()
    for n in range(1, 31):
        world.raised("purity-red", f"u{n:02}")
    text = words(world)
    assert text.line.endswith("And 29 more: see the board.")
    assert len(text.line) <= 160
    assert text.body.count("\n- Newborn ward, u") == 10
    assert "- and 19 more: see the board" in text.body
    assert text.title == "HIGH: Newborn ward, u01: Unit output very low and 29 more"


def test_a_test_and_a_simulated_facility_are_marked_before_all_else():
    world = World(site=SITE.replace('"lakeside"', '"sim-lakeside"'))
    world.does(TEST_ALARM, unit="", ward="", wards=["newborn"], until_ms=world.now_ms + MINUTE)
    text = words(world)
    for part in (text.line, text.title, text.body):
        assert part.startswith("SIMULATED TEST, no alarm: ")


def test_who_is_told_later_reads_why():
    world = World()
    world.raised("purity-red")
    world.until(2)
    world.now_ms = NOON_MS + 3 * MINUTE
    text = words(world, way="engineer")
    assert "You are told because nobody has acknowledged it for 3 min." in text.body
    assert "watches machines, not patients" in text.body


@pytest.mark.parametrize(
    ("age_ms", "expected"),
    [(0, "12:00"), (9 * MINUTE, "12:00"), (99 * MINUTE, "12:00, 99 min ago"), (5 * HOUR, "12:00, 5 h ago"),
     (20 * HOUR, "22 Sep 12:00, 20 h ago"), (72 * HOUR, "22 Sep 12:00, 3 days ago")],
)  # fmt: skip
def test_a_moment_is_said_by_the_facilitys_clock_with_its_age(age_ms, expected):
    assert since_text(NOON_MS, NOON_MS + age_ms, parse_site(SITE)) == expected


def test_a_moment_is_said_in_the_facilitys_own_zone():
    site = parse_site('[facility]\nid = "lakeside"\ntimezone = "Asia/Kathmandu"\n')
    assert since_text(NOON_MS, NOON_MS, site) == "17:45"


@pytest.mark.parametrize(
    ("text", "expected"),
    [("Ward “A” – 5 × 2 °", "Ward \"A\" - 5 x 2  deg"), ("Śródmieście", "Srodmiescie"), ("Älvsjö", "Älvsjö"),
     ("新生児", "新生児")],
)  # fmt: skip
def test_letters_that_an_sms_lacks_are_written_by_their_nearest(text, expected):
    assert gsm.plain(text) == expected


def test_a_text_of_another_alphabet_is_cut_at_seventy():
    line = gsm.cut("新生児病棟 " * 20, " And 7 more: see the board.")
    assert len(line) <= 70
    assert line.endswith("... And 7 more: see the board.")
