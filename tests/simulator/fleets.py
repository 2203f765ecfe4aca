"""Small fleets for the simulator's tests."""

from collector.site import parse_site
from simulator.fleet import Fleet
from simulator.scenario import parse_scenario

T0 = 1_795_600_000_000
MINUTE = 60_000
HOUR = 60 * MINUTE

SITE = """
[facility]
id = "sim-test"
[[ward]]
id = "a"
[[ward]]
id = "b"
flow_limit_lpm = 2.0
[[model]]
id = "five"
rated_flow_lpm = 5.0
rated_power_w = 350.0
"""
#: Sensors without any error, so that a test sees the unit itself.
EXACT = """
[sensors]
purity_sd_pct = 0
purity_bias_sd_pct = 0
drift_pct_per_month = 0
flow_sd_share = 0
power_sd_share = 0
temp_sd_c = 0
volts_sd_share = 0
pressure_sd_kpa = 0
missing_share = 0
missing_value_share = 0
[scenario]
flow_changes = false
[air]
swing_c = 0
"""


def unit(unit_id, ward="a", more=""):
    return f'[[unit]]\nid = "{unit_id}"\nmodel = "five"\nward = "{ward}"\n{more}\n'


def site(*units, facility="sim-test"):
    return parse_site(SITE.replace("sim-test", facility) + "".join(units or (unit("u1"),)))


def fleet(scenario="", the_site=None, seed=1, start_ms=T0, **more):
    the_site = the_site or site()
    return Fleet(the_site, parse_scenario(scenario, the_site), seed, start_ms, **more)


def exact(scenario="", **more):
    """One unit at 4 L/min with perfect sensors, and what befalls it."""
    begin = '[[unit]]\nid = "u1"\nflow_lpm = 4.0\ncapacity_share = 1.2\nceiling_pct = 95.0\nknee = 20\n'
    return fleet(EXACT + begin + scenario, **more)


def fault(kind, start="1h", unit_id="u1", **more):
    values = "".join(f"{key} = {value!r}\n" if not isinstance(value, bool) else f"{key} = {str(value).lower()}\n"
                     for key, value in more.items())  # fmt: skip
    target = "" if {"ward", "bridge", "units"} & set(more) else f'unit = "{unit_id}"\n'
    return f'[[fault]]\nkind = "{kind}"\nstart = "{start}"\n{target}{values}'


def at(a_fleet, minute, unit_id="u1"):
    """The unit's first reading from a minute of the story on."""
    start = a_fleet.story_ms + round(minute * MINUTE)
    return next(reading for reading in a_fleet.readings(start) if reading.unit == unit_id)
