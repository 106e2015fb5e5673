"""Bodies of cultivars, vineyards and blocks."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from models.records import REACH_M, FlowerType
from models.vineyard.cautions import WildMales
from models.vineyard.frost import COLDER_C, LIMITS_C
from service.api.schemas import BadRowAnswer, Body, Name, ReplacedRow, Text, TimeZone, Weekday
from service.ingest.planting import MOST_DAYS_LATER
from service.usecases.documents import Slug
from service.web.days import IsoDate


class PollenNoteBody(Body):
    """What was noted of a source cultivar's pollen on this one, as in the literature, and where that is from."""

    source: Slug
    text: Name = Field(max_length=1000)
    reference: Name = Field(max_length=300)


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
    blooms_like: Slug | None = Field(
        default=None,
        description="A cultivar of which seasons are known; it counts until a season of this one is in the fit.",
    )
    days_later: float | None = Field(
        default=None,
        ge=-MOST_DAYS_LATER,
        le=MOST_DAYS_LATER,
        description="By how much this one blooms later than that, earlier where negative; null is 0. [day]",
    )

    pollen_quality: float | None = Field(
        default=None, gt=0, le=1, description="Of its pollen beside the best, which is 1; null counts as 1."
    )
    flowers_a_vine: float | None = Field(
        default=None, gt=0, description="Null counts as the mean of the cultivars that tell it."
    )
    pollen_notes: list[PollenNoteBody] = Field(default=[], max_length=100)

    @model_validator(mode="after")
    def says_later_than_what(self) -> Self:
        """Days later than nothing say nothing."""
        if self.days_later is not None and self.blooms_like is None:
            raise ValueError("days_later: later than which cultivar? Name it as blooms_like")
        return self


class CultivarAnswer(CultivarBody):
    """A cultivar and its identifier."""

    cultivar: Slug
    viable_pollen: bool


class CultivarList(Body):
    """All cultivars, by identifier."""

    cultivars: list[CultivarAnswer]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")


ColderBy = Annotated[float, Field(ge=COLDER_C[0], le=COLDER_C[1])]


class FrostLimitsBody(Body):
    """Minima that do harm, by the stage from which each holds, and whose limits they are: no source has any of
    muscadine, so they are yours or another grape's."""

    limits_c: dict[
        Literal["budbreak", "bloom_start", "full_bloom"],
        Annotated[float, Field(ge=LIMITS_C[0], le=LIMITS_C[1])],
    ] = Field(
        min_length=1, description="Each holds until the next stage with one, the last until bloom end. [°C]"
    )
    source: Name = Field(max_length=300, description="Whose limits, and of which grape.")


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
    colder_than_station_c: ColderBy | None = Field(
        default=None, description="By how much its cordons are colder than the station on a night of frost."
    )
    frost_limits: FrostLimitsBody | None = None


class VineyardAnswer(VineyardBody):
    """A vineyard and its identifier."""

    vineyard: Slug


class VineyardList(Body):
    """All vineyards, by identifier."""

    vineyards: list[VineyardAnswer]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")


class BlockBody(Body):
    """Vines of one cultivar in one place or in a line; ``neighbours``, where given, replace distance."""

    cultivar: Slug
    x_m: float = Field(description="Of all vines, or of the first one in a line.")
    y_m: float
    vines: int = Field(default=1, ge=1, le=10_000_000)
    neighbours: list[Slug] | None = None
    x2_m: float | None = Field(
        default=None, description="Of the last vine in a line, with `y2_m`; the vines stand evenly between."
    )
    y2_m: float | None = None
    colder_than_station_c: ColderBy | None = Field(
        default=None,
        description="By how much its cordons are colder than the station on a night of frost; else the vineyard's.",
    )


class BlockAnswer(BlockBody):
    """A block and its identifier."""

    block: Slug


class RenameBody(Body):
    """The new identifier."""

    to: Slug


class FrostBody(Body):
    """In which night a block's shoots froze, and which share of them, where that is known."""

    night: IsoDate | None = Field(
        default=None,
        description="Forecasts as of an earlier day do not know of it; by default the whole season.",
    )
    share_killed: float | None = Field(
        default=None, gt=0, le=1, description="Of the shoots; null counts as all of them."
    )


class FrostMark(Body):
    """A block whose shoots froze in a season."""

    block: Slug
    season: int
    night: dt.date | None
    share_killed: float | None


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
