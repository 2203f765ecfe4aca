"""A profile's text, tried on bytes, for tests of this folder."""

from collector.bridge.profile import parse_profile
from collector.bridge.talk import Behind, talk_for
from collector.bridge.values import Maker

NOW = 1_790_000_000_000


def talk(text, units=None, altitude_m=0.0, calibrated_altitude_m=None, from_middle=False):
    profile = parse_profile(text)
    maker = Maker(profile, altitude_m, calibrated_altitude_m)
    return talk_for(profile, Behind(None if units else "u1", units or {}), maker, from_middle=from_middle)


def said(text, data, **keys):
    """What each frame said: the values of its reading that are there, or the reason of its refusal."""
    heard = talk(text, **keys).feed(data, NOW)
    return [values(one.told.reading) if one.told else one.said for one in heard]


def values(reading):
    names = [name for name in type(reading).__struct_fields__ if name not in ("unit", "time_ms")]
    return {name: value for name in names if (value := getattr(reading, name)) is not None}
