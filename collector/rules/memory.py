"""What the rules remember of one unit: moments and last values, never tick counters.

Durations are subtractions of moments, so a missed or doubled tick cannot corrupt one, and the whole memory goes into
the store in the transaction that stores the reading it came from.
"""

from __future__ import annotations

import msgspec

from collector.rules.capacity.belief import new_belief, packed, unpacked
from collector.rules.capacity.follow import Slice
from collector.rules.events import Priority
from collector.rules.limits import LIMITS, Limits
from collector.rules.meter import Meter
from collector.rules.unitrow import UNSEEN, UnitRow
from collector.site import Model, Unit, Ward


class Watch(msgspec.Struct, array_like=True, gc=False):
    """One condition of one unit while it is pending, raised or about to clear; an idle condition has no Watch."""

    since_ms: int
    raised_ms: int | None = None
    good_ms: int | None = None
    priority: Priority = "low"
    cause: str = "unknown"
    audience: tuple[str, ...] = ()
    other: str = ""  # another cause than the one told, and since when the signs say so
    other_ms: int = 0


class Shared(msgspec.Struct, array_like=True, gc=False):
    """One condition of one unit that its ward's other units may show too; such a condition has no Watch."""

    since_ms: int
    ward: str  # a unit that moves to another ward leaves the old one's event
    wait_ms: int | None = None  # waits since then for others to show it; None once the ward has been told
    told_ms: int = 0  # when the ward's event was raised
    size: int = 0  # how many units that event names
    priority: Priority = "low"  # of the ward's event, as its audience
    audience: tuple[str, ...] = ()
    alone: bool = False  # what is left of a ward's event that is over: told on its own
    good_ms: int | None = None
    cause: str = "unknown"
    value: float | None = None  # what was measured when it began to wait
    level: float | None = None  # what was measured before


class Memory(msgspec.Struct, array_like=True):
    """Everything the rules go on from; see UnitRow for what screens show of it."""

    watches: dict[str, Watch] = {}
    first_ms: int | None = None
    before_silence: str = UNSEEN
    started_ms: int | None = None  # when this run began, None when it began before we looked
    delivered: bool = False  # flow was seen in this run
    run_purity_pct: float | None = None  # last purity seen while running
    use_flow_lpm: float | None = None  # last flow seen while running
    lost_ms: int | None = None  # supply lost, waiting to be judged
    outage_ms: int | None = None  # member of a ward outage that began then
    outage_size: int = 0  # how many units that outage took
    back_ms: int | None = None  # supply seen back since
    stopped_ms: int | None = None  # stopped in use with supply present
    meter_h: float | None = None
    meter_ms: int | None = None
    hours_day: int | None = None  # the day whose service hours were last written down
    hold_ms: int | None = None
    hold_lpm: float = 0.0
    same_purity: float | None = None
    same_ms: int = 0
    same_flow: float | None = None
    same_power: float | None = None
    moved: bool = False  # flow or power moved while purity stood still
    observed_ms: int = 0
    inferred_ms: int = 0
    unknown_ms: int = 0
    purity_ms: int | None = None  # when purity was last measured at all
    flow_ms: int | None = None
    warm_pct: float | None = None  # the most that this warm-up has reached, and when
    warm_ms: int = 0
    shared: dict[str, Shared] = {}
    good_pct: float = 0.0  # last purity that was not under amber, when, and how many have been under it since
    good_ms: int | None = None
    low_n: int = 0
    low_pct: float = 0.0  # the last of them, and the first
    low_first_pct: float = 0.0
    wild: float = 0.0  # wild readings so far, halved a day, as of a moment
    wild_ms: int = 0
    part: Slice | None = None  # readings being gathered into a mean for the capacity estimate
    unstepped_pct: float | None = None  # purity before its last step that no other unit shared
    meter: Meter = msgspec.field(default_factory=Meter)
    before_silence_ms: int | None = None  # since when the unit was in the phase before its silence


_encode = msgspec.msgpack.Encoder().encode
_decode = msgspec.msgpack.Decoder(Memory).decode


class Tracked:
    """One unit under the rules: its fixed limits, its row and its memory."""

    __slots__ = (
        "amber_pct", "awaited_ms", "belief", "id", "in_service", "last_ms", "limit_lpm", "memory", "model",
        "off_below_w", "over_lpm", "rated_lpm", "red_pct", "row", "volts_high", "volts_lost", "volts_low", "ward",
        "warm_up_ms",
    )  # fmt: skip

    def __init__(self, unit: Unit, model: Model, ward: Ward, limits: Limits = LIMITS) -> None:
        self.id, self.ward, self.model = unit.id, ward, model
        self.in_service = unit.in_service is not False
        self.amber_pct, self.red_pct = model.amber_pct, model.red_pct
        self.warm_up_ms = int(model.warm_up_min * 60_000)
        self.off_below_w = model.power_w * limits.off_power_share
        self.rated_lpm = model.rated_flow_lpm
        self.over_lpm = model.rated_flow_lpm * limits.above_rated_share
        self.limit_lpm = ward.flow_limit_lpm
        self.volts_lost = model.nominal_volts * limits.lost_volts_share
        self.volts_low = model.nominal_volts * (1 - limits.poor_volts_share)
        self.volts_high = model.nominal_volts * (1 + limits.poor_volts_share)
        self.row = UnitRow(unit=unit.id)
        self.memory = Memory()
        self.belief = new_belief(model.rated_flow_lpm)
        self.last_ms: int | None = None
        self.awaited_ms = 0  # the deadline of this unit's entry in the engine's heap

    def restore(self, row: UnitRow) -> None:
        """Go on from a stored row."""
        self.row, self.last_ms = row, row.last_ms
        self.memory = _decode(row.state) if row.state else Memory()

    def stored(self) -> UnitRow:
        """The row to be stored now, with the memory in it."""
        row, memory = self.row, self.memory
        row.last_ms = self.last_ms
        row.observed_h = memory.observed_ms / 3_600_000
        row.inferred_h = memory.inferred_ms / 3_600_000
        row.unknown_h = memory.unknown_ms / 3_600_000
        row.state = _encode(memory)
        return row

    def remember(self, blob: bytes) -> None:
        """Go on from a stored estimate; one of another version is left and learned anew."""
        try:
            self.belief = unpacked(blob)
        except msgspec.DecodeError:
            self.belief = new_belief(self.rated_lpm)

    def remembered(self) -> bytes:
        """The estimate as it is stored."""
        return packed(self.belief)
