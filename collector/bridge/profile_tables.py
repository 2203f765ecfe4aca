"""The tables of a profile: how a device's frames are told apart, asked for, and read."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Final, Literal
from zoneinfo import ZoneInfo

from pydantic import Field, field_validator, model_validator

from collector.bridge.analyser import Analyser
from collector.bridge.checksum import Checksum, Octets
from collector.bridge.framing import LONGEST_FRAME, Framing
from collector.reading import LAMPS, QUANTITIES
from collector.site_tables import Positive, Table

Kind = Literal["delimited", "key-value", "json", "regex", "fixed-width", "modbus"]
Order = Literal["big", "little"]
RegisterType = Literal["uint16", "int16", "uint32", "int32", "uint64", "int64", "float32", "float64"]
MOST_COLUMNS: Final = 200
LONGEST_PATTERN: Final = 1000
Number = Annotated[float, Field(allow_inf_nan=False)]


class FieldTable(Table):
    """Where one of a reading's fields is found, and in which unit it stands there.

    `from` is a column's number (1 is the first), a key, a dotted path of keys, a group's name, or the first and last
    place of a fixed-width line. The value is what is said x `scale` + `offset`, in the unit `in`. `missing` lists
    texts that mean "not measured"; `strip` is taken off the end ("%"). `absolute`: a pressure that counts from vacuum.
    """

    source: int | str | tuple[int, int] | None = Field(default=None, alias="from")
    unit: str = Field(default="", alias="in")
    scale: Number = 1.0
    offset: Number = 0.0
    missing: tuple[str, ...] = ("",)
    strip: str = ""
    absolute: bool = False
    words: dict[str, str] = Field(default={})
    format: str = "iso"
    zone: str = "UTC"
    address: Annotated[int, Field(ge=0, le=65535)] | None = None
    type: RegisterType = "uint16"
    function: Literal[3, 4] | None = None
    word_order: Order | None = None
    byte_order: Order | None = None

    @field_validator("words")
    @classmethod
    def _lamps(cls, value: dict[str, str]) -> dict[str, str]:
        if wrong := next((lamp for lamp in value.values() if lamp not in LAMPS), None):
            raise ValueError(f"'{wrong}' is no lamp; there are {', '.join(LAMPS)}")
        return value

    @field_validator("zone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (KeyError, ValueError, OSError) as error:
            raise ValueError(f"no time zone '{value}'; write one of the IANA names, such as Africa/Banjul") from error
        return value

    @field_validator("format")
    @classmethod
    def _whole_time(cls, value: str) -> str:
        if value in ("iso", "unix", "unix-ms"):
            return value
        moment = datetime(2026, 11, 25, 13, 14, tzinfo=UTC)
        try:
            same = datetime.strptime(moment.strftime(value), value).replace(tzinfo=UTC) == moment
        except ValueError:
            same = False
        if not same:
            raise ValueError('"iso", "unix", "unix-ms", or a pattern with date and time: "%d.%m.%Y %H:%M:%S"')
        return value


class Fields(Table):
    """The reading's fields that a device tells; `unit` is which unit speaks, `time` the device's own."""

    unit: FieldTable | None = None
    time: FieldTable | None = None
    lamp: FieldTable | None = None
    purity_pct: FieldTable | None = None
    flow_lpm: FieldTable | None = None
    power_w: FieldTable | None = None
    temp_c: FieldTable | None = None
    volts: FieldTable | None = None
    pressure_kpa: FieldTable | None = None
    hours_h: FieldTable | None = None

    def told(self) -> dict[str, FieldTable]:
        """The fields that are told, by name."""
        found = {name: getattr(self, name) for name in type(self).model_fields}
        return {name: table for name, table in found.items() if table is not None}

    def quantities(self) -> dict[str, FieldTable]:
        """What is measured."""
        return {name: table for name, table in self.told().items() if name in QUANTITIES}


class Poll(Table):
    """What is sent to have a device answer, how often, and how long is waited.

    `{unit}` in the request stands for what the line calls a unit: each unit of the port is asked in turn.
    """

    request: Octets = b""
    request_hex: str = ""
    every_s: Positive = 10.0
    timeout_s: Positive = 1.0

    @field_validator("request_hex")
    @classmethod
    def _hex(cls, value: str) -> str:
        try:
            bytes.fromhex(value)
        except ValueError as error:
            raise ValueError("write bytes as pairs of hex digits, such as '05 3F 0D'") from error
        return value

    @model_validator(mode="after")
    def _in_time(self) -> Poll:
        if self.request and self.request_hex:
            raise ValueError("give `request` or `request_hex`, not both")
        return self

    @property
    def octets(self) -> bytes:
        """The request as it goes over the line."""
        return self.request or bytes.fromhex(self.request_hex)


class ModbusTable(Table):
    """What holds for all registers of a device where a field does not say otherwise.

    `device` is its address for a port with one `unit`; addresses of registers count from 0, as on the line.
    word_order "little" means the low word first (CDAB), byte_order "little" the low byte first in each word (BADC).
    """

    device: Annotated[int, Field(ge=1, le=247)] = 1
    function: Literal[3, 4] = 3
    word_order: Order = "big"
    byte_order: Order = "big"


#: Which keys only mean something for some kinds.
ONLY_FOR: Final[dict[str, tuple[str, ...]]] = {
    "delimiter": ("delimited",), "columns": ("delimited",), "pairs": ("key-value",), "equals": ("key-value",),
    "pattern": ("regex",), "width": ("fixed-width",), "modbus": ("modbus",),
}  # fmt: skip


class Profile(Table):
    """How a kind of device speaks; `about` is for people, `ignore` lists beginnings of lines that say nothing.

    gather_s: one moment is told in several lines; those that come within so long are one reading. 0: each line is one.
    """

    kind: Kind
    about: str = ""
    encoding: Literal["ascii", "latin-1", "utf-8"] = "ascii"
    decimal: Literal[".", ","] = "."
    ignore: tuple[str, ...] = ()
    gather_s: Annotated[float, Field(ge=0, le=60)] = 0.0
    delimiter: Annotated[str, Field(min_length=1, max_length=4)] = ","
    columns: Annotated[int, Field(ge=1, le=MOST_COLUMNS)] | None = None
    pairs: str = ""
    equals: Annotated[str, Field(min_length=1, max_length=4)] = "="
    pattern: Annotated[str, Field(max_length=LONGEST_PATTERN)] = ""
    width: Annotated[int, Field(ge=1, le=LONGEST_FRAME)] | None = None
    framing: Framing = Framing()
    checksum: Checksum | None = None
    poll: Poll | None = None
    modbus: ModbusTable = ModbusTable()
    analyser: Analyser | None = None
    field: Fields
