"""Purity limits and boundaries.

Source: WHO, Technical specifications for oxygen concentrators (2015), and WHO-UNICEF technical specifications and
guidance for oxygen therapy devices (2019): audible low-purity alarm when purity is under 82 % (as cited by a brief).
Source: IEC 60038 (from memory): 230 V +/-10 % = 207 to 253 V. Source: Johns et al., Thorax 1985;40:806: purity ceiling
about 96 % because argon is concentrated along with oxygen. Amber at 85 %: common practice, no source.
"""

import pytest

from collector.reading import Reading
from collector.rules.engine import RulesEngine
from collector.rules.limits import LIMITS
from collector.site import Model, parse_site

SITE = parse_site('[facility]\nid="sim-x"\n[[model]]\nid="m"\n[[unit]]\nid="u"\nmodel="m"\n')
T0 = 1_790_000_000_000


def said(purity_pct: float, volts: float = 230.0) -> set[str]:
    """The conditions raised by twenty minutes at one purity and one voltage."""
    engine = RulesEngine(SITE)
    events = []
    for i in range(121):
        events += engine.read(Reading("u", T0 + i * 10_000, purity_pct, 4.0, 340.0, volts=volts), T0)
    return {event.condition for event in events}


@pytest.mark.parametrize(
    ("purity_pct", "expected"),
    [
        (85.0, set()),
        (84.999, {"purity-amber"}),
        (82.0, {"purity-amber"}),
        (81.999, {"purity-amber", "purity-red"}),
    ],
)
def test_the_alarm_is_strictly_under_82(purity_pct: float, expected: set[str]) -> None:
    assert said(purity_pct) == expected


def test_who_limit_is_the_default_red() -> None:
    assert Model(id="any").red_pct == 82.0


def test_a_functional_unit_of_a_published_field_programme_is_not_red() -> None:
    """Source: Nigeria programme, BMJ Glob Health 2022, e009278, table 3: functional is >= 83 % at 5 L/min."""
    assert "purity-red" not in said(83.0)


def test_oxygen_with_all_its_argon_is_no_sensor_fault() -> None:
    """Source: Johns et al., Thorax 1985;40:806, and dry air's composition: 20.95 / (20.95 + 0.93) = 95.75 %."""
    most_pct = 100 * 20.95 / (20.95 + 0.93)
    assert said(most_pct) == set()
    assert most_pct < LIMITS.ceiling_pct
    assert said(97.0) == {"sensor-suspect"}


def test_an_uncorrected_ultrasonic_analyser_is_suspected() -> None:
    """Computed from sound speeds (ideal gas, 25 degC): true 93 % with argon reads 101.7 % without a correction."""
    assert said(101.7) == {"sensor-suspect"}


@pytest.mark.parametrize(
    ("volts", "expected"),
    [(207.0, set()), (206.9, {"supply-poor"}), (253.0, set()), (253.1, {"supply-poor"})],
)
def test_iec_60038_supply_band(volts: float, expected: set[str]) -> None:
    assert said(93.0, volts) == expected
