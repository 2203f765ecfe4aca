"""Faults as data: what kinds there are, what their size means, and how far one has grown at a moment.

What a fault does to a unit stands in effects.py (in the unit) and sensors.py (in what is measured).
"""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal, NamedTuple

import numpy as np
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo

from simulator.noise import Times
from simulator.offsets import offset_ms
from simulator.physics import Array


def _offset(value: object, info: ValidationInfo) -> int:
    return offset_ms(value)


Offset = Annotated[int, BeforeValidator(_offset)]
Shape = Literal["linear", "step", "exponential"]
Quantity = Literal["purity_pct", "flow_lpm", "power_w", "temp_c", "volts", "pressure_kpa", "hours_h"]
#: How much faster an exponential fault grows at its end than at its start: e^3, about twenty times.
_STEEPNESS: Final = 3.0


class Kind(NamedTuple):
    """A kind of fault: what its size means and may be (None: it has none), whether it can grow, and what it befalls."""

    size_means: str
    size: tuple[float, float] | None
    grows: bool = False
    befalls: Literal["unit", "bridge"] = "unit"
    needs_size: bool = True


_LOSS: Final = (0.0, 0.95)
_BIG: Final = (-1e6, 1e6)
KINDS: Final[dict[str, Kind]] = {
    "sieve-worn": Kind("share of capacity lost", _LOSS, True),
    "sieve-wet": Kind("share of capacity lost", _LOSS, True),
    "intake-blocked": Kind("share of the intake closed", _LOSS, True),
    "valve-fault": Kind("share of capacity lost", _LOSS, True),
    "compressor-weak": Kind("share of the compressor's output lost", _LOSS, True),
    "leak": Kind("L/min lost inside the unit", (0.0, 20.0), True),
    "supply-sag": Kind("share of the voltage missing", (-0.3, 0.95), True),
    "supply-cut": Kind("", None),
    "overdraw": Kind("L/min above rated flow", (0.0, 20.0)),
    "flow-change": Kind("L/min set from then on", (0.0, 30.0)),
    "tube-blocked": Kind("", None),
    "sensor-stuck": Kind("", None),
    "sensor-spike": Kind("added to some values, in the quantity's own unit", _BIG),
    "sensor-drift": Kind("added in the end, in the quantity's own unit", _BIG, True),
    "clock-offset": Kind("seconds by which the unit's times are ahead", _BIG, True),
    "meter-reset": Kind("hours shown after it", (0.0, 1e6), needs_size=False),
    "unit-switched-off": Kind("", None),
    "unit-switched-on": Kind("", None),
    "bridge-silent": Kind("", None, befalls="bridge"),
}


class Fault(BaseModel):
    """One thing that happens to some units, or to one bridge and all behind it; offsets in ms from the story's start.

    It grows to its size over `rise_ms` in its shape, holds it, and ends after `length_ms` (None: never).
    """

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    kind: str
    start_ms: Offset = Field(alias="start")
    length_ms: Offset | None = Field(default=None, alias="length")
    rise_ms: Offset | None = Field(default=None, alias="rise")
    shape: Shape | None = None
    size: float = 0.0
    unit: str = ""
    units: tuple[str, ...] = ()
    ward: str = ""
    bridge: str = ""
    quantity: Quantity = "purity_pct"
    share: Annotated[float, Field(gt=0, le=1)] = 0.1
    backlog: bool = False

    @property
    def curve(self) -> Shape:
        """Its shape; when nothing is said, a straight line if it takes time to grow, else all at once."""
        return self.shape or ("step" if self.rise_ms is None else "linear")

    def active(self, at_ms: Times) -> np.ndarray[Any, np.dtype[np.bool_]]:
        """Whether it is there, at offsets from the story's start."""
        begun = at_ms >= self.start_ms
        return begun if self.length_ms is None else begun & (at_ms < self.start_ms + self.length_ms)

    def grown(self, at_ms: Times) -> Array:
        """How far it has grown, from 0 (not there) to 1 (its whole size), at offsets from the story's start."""
        there = self.active(at_ms).astype(np.float64)
        if self.curve == "step" or not self.rise_ms:
            return there
        x = np.clip((at_ms - self.start_ms) / self.rise_ms, 0.0, 1.0)
        if self.curve == "exponential":
            x = np.expm1(_STEEPNESS * x) / np.expm1(_STEEPNESS)
        return np.asarray(there * x)

    def touches(self, first_ms: int, last_ms: int) -> bool:
        """Whether it is there at any moment of a stretch."""
        ended = self.length_ms is not None and first_ms >= self.start_ms + self.length_ms
        return last_ms >= self.start_ms and not ended
