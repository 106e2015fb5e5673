"""The bodies that travel over HTTP. Unknown fields are refused; units stand in the names."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from functools import partial
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    model_validator,
)

from models.records import REACH_M, Cutoff, FlowerType, GapRule, HeatMethod
from models.vineyard.cautions import WildMales
from service.clock import check_timezone
from service.ingest.dates import FIRST_YEAR, LAST_YEAR
from service.store.records import Replaced
from service.usecases.documents import Slug
from service.usecases.observations import StoredObservations

# NUL is the one character that a PostgreSQL text cannot hold.
Text = Annotated[str, StringConstraints(pattern=r"^[^\x00]*$")]
Name = Annotated[str, StringConstraints(pattern=r"^[^\x00]+$", min_length=1, strip_whitespace=True)]
TimeZone = Annotated[str, AfterValidator(check_timezone)]
WholeDays = Annotated[int, BeforeValidator(round)]
OneDigit = Annotated[float, AfterValidator(partial(round, ndigits=1))]
ThreeDigits = Annotated[float, AfterValidator(partial(round, ndigits=3))]
FourDigits = Annotated[float, AfterValidator(partial(round, ndigits=4))]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]


class Body(BaseModel):
    """What every body has in common."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True, from_attributes=True)

    @classmethod
    def showing(cls, *sources: object, **more: object) -> Self:
        """Each field from the first source that has it by name; ``more`` is what none has, or has otherwise."""
        found = {
            name: getattr(source, name)
            for name in cls.model_fields.keys() - more.keys()
            for source in reversed(sources)
            if hasattr(source, name)
        }
        return cls.model_validate({**found, **more})


class Located(Body):
    """One thing that is wrong: where it stands, and what would be right."""

    where: str
    problem: str


class ProblemDetails(Body):
    """What went wrong (RFC 9457)."""

    type: str
    title: str
    status: int
    detail: str
    instance: str
    errors: list[Located]


class ReplacedRow(Body):
    """One row that had other values: where it stands, and what differs."""

    where: str
    old: dict[str, Any]
    new: dict[str, Any]

    @classmethod
    def of(cls, replaced: Replaced) -> Self:
        """For the client; a subject (``block:b1``) is told by its key."""
        parts = [str(part).removeprefix("block:").removeprefix("cultivar:") for part in replaced.key]
        return cls(where=" ".join(filter(None, parts)), old=_told(replaced.old), new=_told(replaced.new))


def _told(values: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: value.isoformat() if isinstance(value, dt.date) else value for name, value in values.items()
    }


class Health(Body):
    """The service is up and its store answers."""

    status: Literal["ok"]


class StationBody(Body):
    """A weather station."""

    name: Name
    latitude: float = Field(ge=-90, le=90, description="Degrees, north positive.")
    longitude: float = Field(ge=-180, le=180, description="Degrees, east positive.")
    elevation_m: float | None = Field(default=None, ge=-500, le=9000)


class StationAnswer(StationBody):
    """A weather station and its identifier."""

    station: Slug


class StationList(Body):
    """All stations, by identifier."""

    stations: list[StationAnswer]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")


class BadRowAnswer(Body):
    """A row that could not be read."""

    line: int
    problem: str


class GapAnswer(Body):
    """A run of missing days, both ends included."""

    first: dt.date = Field(serialization_alias="from")
    last: dt.date = Field(serialization_alias="to")
    days: int


class TemperatureReceipt(Body):
    """What was read from a temperature file, and what became of it."""

    kind: Literal["observed", "outlook"]
    issued_on: dt.date | None
    rows_read: int
    rows_stored: int = Field(description="New days.")
    rows_replaced: int = Field(description="Days that had another value, which is kept as history.")
    replaced: list[ReplacedRow] = Field(description="The first 20 of them. [°C]")
    rows_unchanged: int
    missing_values: int = Field(description="Sentinels, blanks and impossible values; stored as missing.")
    bad_rows: list[BadRowAnswer]
    first_date: dt.date | None
    last_date: dt.date | None
    gaps: list[GapAnswer] = Field(
        description="Runs of missing days between the first and the last of the file."
    )
    warnings: list[str]


class TemperatureDay(Body):
    """One day's extremes, null where missing, in the unit of the answer."""

    date: dt.date
    tmin: float | None
    tmax: float | None


class Version(Body):
    """A value, when it was stored, and when and by whom another was put in its place (null: it holds)."""

    stored_at: dt.datetime
    superseded_at: dt.datetime | None
    superseded_by: str | None


class TemperatureVersionAnswer(Version):
    """One value that a day has had. [°C]"""

    tmin_c: float | None
    tmax_c: float | None


class TemperatureHistory(Body):
    """Every value that a day has had, oldest first."""

    station: Slug
    date: dt.date
    versions: list[TemperatureVersionAnswer]


class TemperatureAnswer(Body):
    """Observed daily extremes."""

    station: Slug
    unit: Literal["C", "F"]
    days: list[TemperatureDay]


class HeatRuleAnswer(Body):
    """How daily extremes became heat; the temperatures are in the unit that ``temperature_unit`` names."""

    method: HeatMethod
    base: float
    upper: float | None
    cutoff: Cutoff
    accumulate_from: str = Field(description="MM-DD")
    gaps: GapRule
    temperature_unit: Literal["degC", "degF"]


class HeatDay(Body):
    """Heat of one day, accumulated heat, and what past seasons had accumulated by that calendar day."""

    date: dt.date
    heat: float | None
    accumulated: float | None
    past_median: float | None
    past_low: float | None
    past_high: float | None


class SeasonSetAside(Body):
    """A past season that is not complete enough to compare with."""

    season: int
    why: str


class DegreeDays(Body):
    """One season's heat beside the seasons before it."""

    station: Slug
    season: int
    heat_unit: Literal["degC_day", "degF_day"]
    rule: HeatRuleAnswer
    gaps: list[GapAnswer] = Field(
        description="Runs of days without a measurement in this season, before filling."
    )
    past_seasons: list[int]
    set_aside: list[SeasonSetAside]
    days: list[HeatDay]


class CultivarBody(Body):
    """A cultivar. Left out, ``viable_pollen`` follows the flower type: pistillate false, the others true."""

    name: Name
    species: Text | None = None
    flower_type: FlowerType
    viable_pollen: bool | None = None
    berry_mass_g: float | None = Field(default=None, gt=0)
    receptive_days: int | None = Field(
        default=None, ge=1, le=30, description="Days a flower stays receptive; by default the vineyard's."
    )
    pollen_days: int | None = Field(
        default=None, ge=1, le=30, description="Days an anther sheds pollen; by default the vineyard's."
    )


class CultivarAnswer(CultivarBody):
    """A cultivar and its identifier."""

    cultivar: Slug
    viable_pollen: bool


class CultivarList(Body):
    """All cultivars, by identifier."""

    cultivars: list[CultivarAnswer]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")


class VineyardBody(Body):
    """A vineyard, the station whose temperatures stand for it, and how far pollen is carried there."""

    name: Name
    station: Slug | None = None
    reach_m: float = Field(default=REACH_M, ge=0, le=100_000, description="50 ft: common practice.")
    receptive_days: int | None = Field(
        default=None, ge=1, le=30, description="Days a flower stays receptive from capfall; assumed 3."
    )
    pollen_days: int | None = Field(
        default=None, ge=1, le=30, description="Days an anther sheds pollen from capfall; assumed 2."
    )
    scouting_weekdays: list[Weekday] | None = Field(
        default=None,
        min_length=1,
        description="On which the rows can be walked: for the scouting plan and the calendar; by default every day.",
    )
    timezone: TimeZone | None = Field(
        default=None,
        description="IANA name, as `America/Chicago`: today is the day there; by default where the service runs.",
    )
    wild_males: WildMales | None = Field(
        default=None,
        description="Wild vines nearby that shed pollen; they are told as a caution, and hide no gap.",
    )


class VineyardAnswer(VineyardBody):
    """A vineyard and its identifier."""

    vineyard: Slug


class VineyardList(Body):
    """All vineyards, by identifier."""

    vineyards: list[VineyardAnswer]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")


class BlockBody(Body):
    """Vines of one cultivar in one place; ``neighbours``, where given, replace distance."""

    cultivar: Slug
    x_m: float
    y_m: float
    vines: int = Field(default=1, ge=1, le=10_000_000)
    neighbours: list[Slug] | None = None


class BlockAnswer(BlockBody):
    """A block and its identifier."""

    block: Slug


class RenameBody(Body):
    """The new identifier."""

    to: Slug


class FrostBody(Body):
    """In which night a block's shoots froze, where that is known."""

    night: dt.date | None = Field(
        default=None,
        description="Forecasts as of an earlier day do not know of it; by default the whole season.",
    )


class FrostMark(Body):
    """A block whose shoots froze in a season."""

    block: Slug
    season: int
    night: dt.date | None


class FrostMarks(Body):
    """The frosted blocks of a vineyard, by season and block."""

    vineyard: Slug
    frosted: list[FrostMark]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")


class BlockList(Body):
    """All blocks of a vineyard, by identifier."""

    vineyard: Slug
    blocks: list[BlockAnswer]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")


class PlantingReceipt(Body):
    """What a planting file made of the vineyard."""

    vineyard: Slug
    rows_read: int
    blocks_stored: int
    blocks_replaced: int
    blocks_unchanged: int
    blocks_removed: list[Slug] = Field(
        description="Blocks that the file lacks: they stand no more; what was seen there is kept for the fits."
    )
    replaced: list[ReplacedRow] = Field(description="The first 20 blocks that were replaced, and in what.")
    cultivars_stored: list[Slug] = Field(description="New cultivars.")
    cultivars_replaced: list[Slug] = Field(description="Cultivars that were known, but otherwise.")
    bad_rows: list[BadRowAnswer]
    warnings: list[str]


class BloomLogEntry(Body):
    """One season's dates of one block; of a whole cultivar where ``block`` is null."""

    season: int
    cultivar: Slug
    block: Slug | None
    dates: dict[str, dt.date] = Field(description="By stage key.")
    checked_every_days: int


class BloomDateVersion(Version):
    """One date that a stage has had in a season's log."""

    stage: str
    date: dt.date
    checked_every_days: int


class BloomLogHistory(Body):
    """Every date that a season's log of one block or cultivar has had, by stage, oldest first."""

    vineyard: Slug
    season: int
    versions: list[BloomDateVersion]


class BloomLogAnswer(Body):
    """All dates that were logged in a vineyard."""

    vineyard: Slug
    rows: list[BloomLogEntry]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")


class ObservationReceipt(Body):
    """What was read from a file of observations, and what became of it."""

    vineyard: Slug
    rows_read: int
    rows_stored: int
    rows_replaced: int = Field(description="Rows that stood with other values, which are kept as history.")
    replaced: list[ReplacedRow] = Field(description="The first 20 values that were replaced.")
    rows_unchanged: int
    bad_rows: list[BadRowAnswer]
    warnings: list[str]

    @classmethod
    def of(cls, vineyard: str, stored: StoredObservations) -> Self:
        """What a use case stored, for the client."""
        counts = {f"rows_{name}": count for name, count in stored.counts.numbers().items()}
        replaced = [ReplacedRow.of(each) for each in stored.counts.changed]
        return cls.showing(stored, vineyard=vineyard, replaced=replaced, **counts)


class VisitBody(Body):
    """One look at one block, or at a whole cultivar where no block is named."""

    date: dt.date = Field(ge=dt.date(FIRST_YEAR, 1, 1), le=dt.date(LAST_YEAR, 12, 31))
    block: Slug | None = None
    cultivar: Slug | None = None
    percent_open: float | None = Field(default=None, ge=0, le=100, description="Caps off, in per cent.")
    bbch: int | None = Field(default=None, ge=0, le=99)
    observer: Text | None = None
    note: Text | None = None

    @model_validator(mode="after")
    def says_where_and_what(self) -> Self:
        """A visit without a place, or without anything seen, says nothing."""
        if self.block is None and self.cultivar is None:
            raise ValueError("a visit needs a block or a cultivar")
        if self.percent_open is None and self.bbch is None:
            raise ValueError("a visit needs percent_open or bbch")
        return self


class VisitAnswer(Body):
    """One look, as it is kept. ``visit`` is its identifier."""

    visit: str
    date: dt.date
    block: Slug | None
    cultivar: Slug
    percent_open: float | None
    bbch: int | None
    observer: str | None
    note: str | None


class VisitVersionAnswer(Version):
    """One form that a visit has had."""

    date: dt.date
    block: Slug | None
    cultivar: Slug
    percent_open: float | None
    bbch: int | None
    observer: str | None
    note: str | None


class VisitHistory(Body):
    """Every form that a visit has had, oldest first."""

    vineyard: Slug
    visit: str
    versions: list[VisitVersionAnswer]


class VisitsAnswer(Body):
    """All visits to a vineyard, by date."""

    vineyard: Slug
    visits: list[VisitAnswer]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")
