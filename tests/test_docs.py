"""The documents keep up with the code."""

import re
import textwrap
from pathlib import Path

import pytest
from typer.main import get_command

from collector.bridge.bridge_file import load_bridge_file
from collector.bridge.ports import Ports
from collector.cli.main import app
from collector.messages.gateway import service_of
from collector.messages.ways import Escalation, parse_ways
from collector.people.rights import RIGHTS, ROLES, may
from collector.rules.catalogue import CATALOGUE
from collector.rules.lifecycle import diagram
from collector.senml import decode_pack
from collector.site import parse_site
from collector.whatif.changes import parse_changes
from dashboard import capacity_words, words

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
COMMANDS = get_command(app).commands  # type: ignore[attr-defined]
#: Conditions that have their place in the catalogue and are not judged yet.
TO_COME: set[str] = set()


@pytest.mark.parametrize("action", RIGHTS)
def test_the_readme_says_who_may_do_what(action: str) -> None:
    row = next(line for line in README.splitlines() if line.startswith("| ") and f"`{action}`" in line)
    said = [cell.strip() == "yes" for cell in row.split("|")[2:6]]
    assert said == [may(role, action) for role in ROLES]


def test_the_alarm_diagram_is_the_table() -> None:
    assert diagram() in DEVELOPERS


@pytest.mark.parametrize("name", sorted(set(CATALOGUE) - TO_COME))
def test_every_condition_is_in_the_readme(name: str) -> None:
    assert f"`{name}`" in README


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_is_in_the_readme_and_has_help_with_an_example(name: str) -> None:
    assert f"sieveward {name}" in README
    command = COMMANDS[name]
    parts = list(getattr(command, "commands", {name: command}).values())
    assert all("Example: sieveward" in (part.help or "") for part in parts)


def test_the_readme_has_exactly_two_set_up_commands() -> None:
    setup = README.split("## Set up")[1].split("\n## ")[0]
    assert [line.strip() for line in setup.splitlines() if line.startswith("    ")] == [
        "python3 deploy/run.py demo",
        "python3 deploy/run.py test",
    ]


def test_log_events_are_listed() -> None:
    source = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "collector").rglob("*.py"))
    names = set(re.findall(r'log\.say\(\s*"([a-z-]+)"', source))
    assert names, "the collector logs something"
    assert all(f"`{name}`" in DEVELOPERS for name in names), names


def indented(after: str) -> str:
    """The first indented block of the README behind a heading or sentence."""
    lines = README.split(after)[1].splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("    "))
    end = next((i for i in range(start, len(lines)) if lines[i] and not lines[i].startswith("    ")), len(lines))
    return textwrap.dedent("\n".join(lines[start:end]))


def test_the_site_file_of_the_readme_is_good() -> None:
    site = parse_site(indented("### The site file"))
    assert (site.facility.id, [unit.id for unit in site.units]) == ("lakeside", ["unit-07"])


def test_the_bridge_file_of_the_readme_is_good(tmp_path: Path) -> None:
    (tmp_path / "bridge.toml").write_text(indented("## The sensor bridge"), encoding="utf-8")
    found = load_bridge_file(tmp_path / "bridge.toml")
    ports = Ports(found, tmp_path)
    assert [state.units for state in ports.state()] == [("unit-07",), ("unit-08", "unit-09")]


def test_the_changes_of_the_readme_can_be_tried_on_its_site_file() -> None:
    tried = parse_changes(indented("## Trying other limits"), parse_site(indented("### The site file")))
    assert len(tried.changes) == 5


def test_the_messages_file_of_the_readme_is_good() -> None:
    ways = parse_ways(indented("## Messages"), parse_site(indented("### The site file")))
    assert [way.role for way in ways.ways] == ["ward", "engineer", "on-call"]
    assert all(service_of(way) for way in ways.ways)
    assert ways.escalation == Escalation()


def test_the_pack_of_the_readme_is_read() -> None:
    pack = indented("QoS 1:").encode()
    (reading,) = decode_pack(pack, 0, "lakeside", "unit-07")
    assert (reading.purity_pct, reading.flow_lpm, reading.power_w) == (93.4, 5.0, 340.0)


def test_the_readme_quotes_the_capacity_panel() -> None:
    outlook = capacity_words.outlook("4.0", ["amber in 3 to 9 h", "red in 5 to 14 h", "switch-off in 8 to 20 h"])
    said = (
        capacity_words.good_for_rated("5"), capacity_words.good_for("2.5", "5"), words.good_to("2.5"),
        words.good_to_only("2.5"), outlook, capacity_words.NOT_FORESEEN, capacity_words.REACHED,
        capacity_words.or_later("2 days"), capacity_words.as_of("16:53"), f"{capacity_words.LIKELY}: wet sieve",
        f"P{words.proven('2.0', '3 Mar 14:10')[1:]}; {capacity_words.NOTHING_ABOVE}.", capacity_words.TURNED_UP[0],
    )  # fmt: skip
    assert [text for text in said if f"“{text}" not in README] == []
