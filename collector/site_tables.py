"""The tables of a site file: what each may say, within which limits, and what holds when it says nothing."""

from __future__ import annotations

import re
from datetime import date
from typing import Annotated, Final, Literal
from zoneinfo import ZoneInfo

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, field_validator, model_validator

#: Facility ids with this prefix belong to simulators: other topics, another store, a mark on every screen.
SIMULATED_PREFIX = "sim-"
UNASSIGNED = "unassigned"

#: Safe in an MQTT topic, in a NATS subject (no dot), in a file name and in a URL.
Id = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,39}$")]
Percent = Annotated[float, Field(ge=0, le=100)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]

_QUIET: Final = re.compile(r"([01]\d|2[0-3]):([0-5]\d)-([01]\d|2[0-3]):([0-5]\d)")
#: What makes a task due by condition: a cause that the rules tell, or one of these conditions (a test compares).
TaskSign = Literal[
    "capacity-falling", "capacity-unproven", "flow-above-rated", "sieve-worn", "sieve-wet", "intake-blocked",
    "valve-fault", "compressor-weak", "supply-voltage-low", "leak", "sensor-fault",
]  # fmt: skip


def _listed(value: object) -> object:
    return (value,) if isinstance(value, str) else value


def two_times(value: str) -> str:
    """A stretch of the day such as "21:00-07:00", or ""; ValueError for anything else."""
    found = _QUIET.fullmatch(value)
    if value and (found is None or value[:5] == value[6:]):
        raise ValueError("write two different times of the day, such as '21:00-07:00'")
    return value


def minutes_of(hours: str) -> tuple[int, int] | None:
    """A stretch of the day as minutes of the day, from and to; the end is the smaller where it goes past midnight."""
    found = _QUIET.fullmatch(hours)
    if found is None:
        return None
    from_h, from_min, to_h, to_min = map(int, found.groups())
    return from_h * 60 + from_min, to_h * 60 + to_min


class Table(BaseModel):
    """A table of the file: frozen, and unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=False, allow_inf_nan=False)


class Facility(Table):
    """The hospital: `altitude_m` above sea level matters to analysers that follow partial pressure.

    technician_h_per_day is what maintenance can do in a day, electricity_cost_per_kwh in `currency`. A cylinder's gauge
    that was read more than gauge_read_h ago says nothing any more (read once a day: common practice).
    """

    id: Id
    name: str = ""
    timezone: str = "UTC"
    altitude_m: Annotated[float, Field(ge=-450, le=6000)] = 0.0
    technician_h_per_day: Annotated[float, Field(gt=0, le=240)] = 6.0
    electricity_cost_per_kwh: NotNegative = 0.0
    currency: str = ""
    gauge_read_h: Positive = 24.0

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (KeyError, ValueError, OSError) as error:
            raise ValueError(f"no time zone '{value}'; write one of the IANA names, such as Africa/Banjul") from error
        return value


class Ward(Table):
    """A ward; `changeover_min` is how long finding, carrying, fitting and checking a backup takes there.

    quiet_hours, such as "21:00-07:00" in the facility's time, is when no work is done there; "" for never. The ward's
    cylinders must carry its flow for backup_min (four times changeover_min where it is not said).
    """

    id: Id
    name: str = ""
    flow_limit_lpm: Positive | None = None
    changeover_min: Positive = 15.0
    backup_min: Positive | None = None
    quiet_hours: str = ""
    campus: str = ""
    travel_min: NotNegative = 0.0

    _two_times = field_validator("quiet_hours")(two_times)

    @property
    def title(self) -> str:
        """What people call it."""
        return self.name or self.id

    @property
    def quiet_min(self) -> tuple[int, int] | None:
        """Quiet hours as minutes of the day, see `minutes_of`."""
        return minutes_of(self.quiet_hours)


class Task(Table):
    """A maintenance task of a model: due by run hours, by calendar, by condition or by standing idle, whichever first.

    every_h and every_days count from when it was last done; idle_days from when the unit last ran. `condition` holds
    what makes it due at once. `proof` marks the check of purity at rated flow, which a purity-proof row does.
    `by` says whose it is: "ward" tasks need no visit. `parts` are ids or names of [[part]].
    """

    id: Id
    name: str = ""
    every_h: Positive | None = None
    every_days: Positive | None = None
    idle_days: Positive | None = None
    condition: Annotated[tuple[TaskSign, ...], BeforeValidator(_listed)] = ()
    minutes: Positive | None = None
    parts: tuple[str, ...] = ()
    takes_unit_out: bool = True
    proof: bool = False
    by: Literal["ward", "engineer"] = "engineer"

    @model_validator(mode="after")
    def _due_sometime(self) -> Task:
        if not (self.every_h or self.every_days or self.idle_days or self.condition):
            raise ValueError("the task is never due; give it every_h, every_days, idle_days or condition")
        return self

    @property
    def title(self) -> str:
        """What people call it."""
        return self.name or self.id.replace("-", " ").capitalize()


class Model(Table):
    """A model's limits; the unit's manual overrides every default.

    Defaults: red 82 % after WHO's and ISO 80601-2-69's low-purity alarm point (82 % v/v), amber 85 % and switch-off
    70 % common practice, warm-up 10 min (90 % of the rise within 10.5 min: Johns et al., Thorax 1985;40:806).
    """

    id: Id
    rated_flow_lpm: Positive = 5.0
    amber_pct: Percent = 85.0
    red_pct: Percent = 82.0
    shutdown_pct: Percent = 70.0
    warm_up_min: Annotated[float, Field(ge=0, le=60)] = 10.0
    rated_power_w: Positive | None = None
    nominal_volts: Positive = 230.0
    task: tuple[Task, ...] = ()

    @model_validator(mode="after")
    def _ordered(self) -> Model:
        if not self.shutdown_pct < self.red_pct < self.amber_pct:
            raise ValueError("limits must rise: shutdown_pct < red_pct < amber_pct")
        return self

    @field_validator("task")
    @classmethod
    def _each_once(cls, value: tuple[Task, ...]) -> tuple[Task, ...]:
        ids = [task.id for task in value]
        if twice := next((task_id for task_id in ids if ids.count(task_id) > 1), None):
            raise ValueError(f"two tasks of this model have the id '{twice}'; rename one")
        return value

    @property
    def power_w(self) -> float:
        """Rated power in W; 70 W per L/min of rated flow (WHO's ceiling) where the model states none."""
        return self.rated_power_w or 70.0 * self.rated_flow_lpm


class Unit(Table):
    """One concentrator; `in_service` is the date it was put in service, or false while it is not used."""

    id: Id
    model: str = ""
    ward: str = ""
    serial: str = ""
    in_service: bool | date = True
    hour_meter_h: NotNegative | None = None


class Part(Table):
    """A spare part: `stock` pieces when the file was written, `cost` each, wanted there with chance `service_level`."""

    id: Id
    name: str = ""
    stock: Annotated[int, Field(ge=0)] = 0
    lead_days: NotNegative = 30.0
    cost: NotNegative = 0.0
    service_level: Annotated[float, Field(gt=0, lt=1)] = 0.95

    @property
    def title(self) -> str:
        """What people call it."""
        return self.name or self.id


class Analyser(Table):
    """A reference analyser of oxygen purity; without a date in `calibrated` it counts as overdue.

    uncertainty_pct is in points of oxygen (2: accuracy class of ultrasonic analysers, common practice, no source);
    yearly calibration is common practice, no source.
    """

    id: Id
    name: str = ""
    uncertainty_pct: Annotated[float, Field(ge=0, le=20)] = 2.0
    calibrated: date | None = None
    calibrate_days: Positive = 365.0


class Cylinder(Table):
    """A backup cylinder: `water_l` of water capacity, gauge pressures in kPa, and the `place` where it stands.

    reserve_share of what it gives is not counted on (0.2: a derating of 0.8 is a usual reserve, common practice).
    """

    id: Id
    ward: str = ""
    water_l: Positive | None = None
    full_kpa: Positive = 13_700.0
    change_kpa: Positive = 800.0
    place: str = ""
    reserve_share: Annotated[float, Field(ge=0, lt=1)] = 0.2


class Bridge(Table):
    """A computer that reads units and sends what they say; it may publish for `units` and `cylinders` only.

    One that names neither may publish for any of the facility.
    """

    id: Id
    name: str = ""
    place: str = ""
    units: tuple[Id, ...] = ()
    cylinders: tuple[Id, ...] = ()

    @property
    def title(self) -> str:
        """What people call it."""
        return self.name or self.id


class Person(Table):
    """Somebody who is told or who acts."""

    id: Id
    name: str = ""
    role: Literal["ward", "engineer", "planner", "administrator"] = "ward"
    ward: str = ""


class Influx(Table):
    """An InfluxDB 2 server that keeps for long what the store keeps for a time; the token lies in a file of its own.

    `token_file` is relative to the site file. `bucket` is `name`, or `database/policy` where the server maps them.
    """

    url: str
    org: str = ""
    bucket: Annotated[str, Field(min_length=1)]
    token_file: Annotated[str, Field(min_length=1)]
    timeout_s: Annotated[float, Field(gt=0, le=300)] = 20.0

    @field_validator("url")
    @classmethod
    def _of_the_web(cls, value: str) -> str:
        if not re.fullmatch(r"https?://[^\s/?#]+(/[^\s?#]*)?", value):
            raise ValueError("write the server's address, such as 'https://archive.example:8086'")
        return value.rstrip("/")


class Messages(Table):
    """Where the messages file lies, relative to the site file: who is told by e-mail, SMS or chat, and how."""

    file: Annotated[str, Field(min_length=1)]
