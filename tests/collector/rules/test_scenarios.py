"""Every scenario file gives exactly the events it names, at exactly the times it names."""

import pytest

from collector.replay import Replay
from tests.scenario_files import ScenarioFile, load_scenario, names, offset_ms, offset_text, scenario_site


def said_by_rules(scenario: ScenarioFile) -> list[tuple[str, ...]]:
    events = Replay(scenario_site()).events(scenario.readings)
    return sorted(
        (offset_text(e.time_ms), e.event, e.unit or e.ward, e.condition, e.priority)
        for e in events
        if e.evidence.get("phase_before") != "unseen"  # units that a scenario does not mention at all
    )


@pytest.mark.parametrize("name", names())
def test_a_scenario_gives_the_events_it_names(name: str) -> None:
    scenario = load_scenario(name)

    def in_full(row: tuple[str, ...]) -> tuple[str, ...]:
        seconds = offset_ms(row[0]) // 1000
        return (f"{seconds // 3600}:{seconds // 60 % 60:02}:{seconds % 60:02}", *row[1:])

    assert said_by_rules(scenario) == sorted(in_full(row) for row in scenario.expected), scenario.title
