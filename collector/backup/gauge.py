"""What somebody reads off a cylinder's gauge, as kPa: the unit is always said, and what cannot be is refused."""

from __future__ import annotations

from typing import Final

from collector.site import Cylinder

#: kPa in each unit: the bar is 100 kPa and the pound-force per square inch 6.894757293168 kPa, both by definition.
UNITS: Final[dict[str, float]] = {"bar": 100.0, "kPa": 1.0, "psi": 6.894757293168}
#: A full cylinder in a hot room shows an eighth more than at 15 °C (168.8 bar for 150 at 40 °C, CoolProp); gauges are
#: read to a few per cent.
OVERFULL: Final = 1.2
#: Under this a value in kPa is more likely one in bar: a gauge cannot be read so near its zero (common practice).
_FEW_KPA: Final = 300.0


class GaugeError(ValueError):
    """What was entered cannot be what the gauge shows; the text says why, and the way out."""


def entered_text(value: float, unit: str) -> str:
    """What was read, with its unit, as it is kept."""
    return f"{value:g} {unit}"


def gauge_kpa(value: float, unit: str, cylinder: Cylinder) -> float:
    """The gauge pressure in kPa of what was read in one of UNITS; GaugeError for what that cylinder cannot show."""
    if unit not in UNITS:
        raise GaugeError(f"'{unit}' is no unit of a gauge here; choose one of {', '.join(UNITS)}.")
    if not 0.0 <= value < float("inf"):
        raise GaugeError("A gauge shows 0 or more. Look again.")
    kpa = value * UNITS[unit]
    full = cylinder.full_kpa
    if kpa > full * OVERFULL:
        most = f"{full / 100:g} bar, {full / UNITS['psi']:.0f} psi"
        raise GaugeError(f"{entered_text(value, unit)} is more than {cylinder.id} shows when full ({most}). "
                         "Look at the gauge and its unit again.")  # fmt: skip
    if unit == "kPa" and 0.0 < kpa < _FEW_KPA:
        raise GaugeError(f"{value:g} kPa is next to nothing. If the gauge says bar, choose bar; "
                         "if the cylinder is empty, enter 0.")  # fmt: skip
    return kpa
