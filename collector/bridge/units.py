"""Units that devices use for what they measure, and how each becomes the unit of a reading's field.

Exact factors are by definition of the SI or of the inch-pound units (NIST SP 811); mmHg and cmH2O are conventional.
"""

from __future__ import annotations

from typing import Final, NamedTuple


class Conversion(NamedTuple):
    """value in the reading's unit = value as said * factor + offset."""

    factor: float
    offset: float = 0.0


#: A reading's field -> unit as people write it -> conversion. `ratio` is 0 to 1. `ft3/h` is what flow meters for
#: oxygen call SCFH: cubic feet of 0.3048 m an hour.
CONVERSIONS: Final[dict[str, dict[str, Conversion]]] = {
    "purity_pct": {"%": Conversion(1.0), "ratio": Conversion(100.0), "per mille": Conversion(0.1),
                   "ppm": Conversion(1e-4)},
    "flow_lpm": {"L/min": Conversion(1.0), "mL/min": Conversion(1e-3), "L/s": Conversion(60.0),
                 "L/h": Conversion(1 / 60), "m3/s": Conversion(60_000.0), "m3/min": Conversion(1000.0),
                 "m3/h": Conversion(1000 / 60), "ft3/h": Conversion(28.316846592 / 60)},
    "power_w": {"W": Conversion(1.0), "kW": Conversion(1000.0), "mW": Conversion(1e-3)},
    "temp_c": {"degC": Conversion(1.0), "K": Conversion(1.0, -273.15), "degF": Conversion(5 / 9, -160 / 9)},
    "volts": {"V": Conversion(1.0), "mV": Conversion(1e-3), "kV": Conversion(1000.0)},
    "pressure_kpa": {"kPa": Conversion(1.0), "Pa": Conversion(1e-3), "hPa": Conversion(0.1), "mbar": Conversion(0.1),
                     "bar": Conversion(100.0), "MPa": Conversion(1000.0), "psi": Conversion(6.894757293168),
                     "mmHg": Conversion(0.133322387415), "cmH2O": Conversion(0.0980665)},
    "hours_h": {"h": Conversion(1.0), "min": Conversion(1 / 60), "s": Conversion(1 / 3600), "d": Conversion(24.0)},
}  # fmt: skip
