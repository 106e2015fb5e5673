"""The bodies of forecasts and of pollen cover."""

from __future__ import annotations

import datetime as dt
from typing import Literal, Self

from pydantic import Field

from models.bloom.forecast import Status
from models.records import FlowerType, Planting
from models.units import fahrenheit_from_celsius, fahrenheit_steps_from_celsius_steps, feet_from_metres
from models.vineyard.bouquets import bouquets
from models.vineyard.frost import BlockFrost
from models.vineyard.pollination import (
    AtReach,
    BlockPollination,
    PollenWarning,
    SourceCover,
    WarningCode,
    WarningLevel,
)
from models.vineyard.reach import notes_for
from models.vineyard.set_on_cover import SetOnCover
from service.api.fit_schemas import HeatUnit, heat_unit, told_heat
from service.api.schemas import Body, OneDigit, ThreeDigits, WholeDays
from service.usecases.cautions import cautions_of
from service.usecases.forecasts import AnswerBasis, VineyardForecast
from service.usecases.frost import VineyardFrost
from service.usecases.pollen import VineyardPollination
from service.web.units import Units
from service.words.cautions import caution_texts
from service.words.forecast import what_is_special, why_no_chance, why_none
from service.words.pollen_warnings import warning_words


class StageAnswer(Body):
    """When a block reaches a stage; dates are null where the season may end first."""

    status: Status
    median: dt.date | None
    low: dt.date | None
    high: dt.date | None
    chance: ThreeDigits = Field(description="That it comes this season.")
    threshold: float = Field(description="The heat that the cultivar needs.")


class FrostNightAnswer(Body):
    """A measured night at or below the limit."""

    date: dt.date
    tmin: float


class StageFrostAnswer(Body):
    """Chance of a night at or below the vineyard's limit for a stage, from that stage `until` another begins (or until
    bloom end, that day included); null where either is not forecast."""

    stage: str
    until: str
    limit: float
    chance: ThreeDigits | None


class FlowersLeft(Body):
    """Share of a block's flowers that a frost has left: median and interval."""

    median: ThreeDigits
    low: ThreeDigits
    high: ThreeDigits


class FrostedAnswer(Body):
    """That a block is marked as frosted, and what is left. How many flowers secondary shoots bear is not known: none to
    as many as others is as likely (assumption)."""

    night: dt.date | None
    share_killed: ThreeDigits | None = Field(description="Of the shoots; null: not told, and counted as all.")
    flowers_left: FlowersLeft | None = Field(description="Null where the share is not told.")


class FrostAnswer(Body):
    """Frost nights of one block: the chance of those to come, and those that came since its budbreak.

    The chances are null where the bloom of the block, or its end, is not forecast, which ``why`` says;
    ``from_budbreak`` false says that budbreak is not, so that the chance counts from ``as_of``.
    """

    chance: ThreeDigits | None = Field(description="Of one or more nights from budbreak until bloom end.")
    chance_in_bloom: ThreeDigits | None = Field(description="The same from bloom start.")
    from_budbreak: bool
    why: str | None = Field(description="Why a chance is null.")
    nights: list[FrostNightAnswer] = Field(
        description="At or below the limit on the block's cordons; `tmin` is the station's."
    )
    by_stage: list[StageFrostAnswer] = Field(
        description="At the vineyard's own `frost_limits`, where it has some."
    )
    colder_than_station: float | None = Field(
        description="Taken off the station's minimum; null where not told."
    )

    @classmethod
    def of(cls, found: BlockFrost, units: Units) -> Self:
        """Rounded for the client."""
        nights = [
            FrostNightAnswer(date=night.date, tmin=_temperature(night.tmin_c, units))
            for night in found.frost_nights
        ]
        by_stage = [
            StageFrostAnswer.showing(each, limit=_temperature(each.limit_c, units, digits=6))
            for each in found.by_stage
        ]
        colder = _temperature_step(found.colder_c, units) if found.colder_c else None
        return cls.showing(
            found, why=why_no_chance(found), nights=nights, by_stage=by_stage, colder_than_station=colder
        )


class BlockForecastAnswer(Body):
    """The stages of one block, by stage key; ``why`` says why there are none, ``caution`` what is special."""

    block: str
    cultivar: str
    flower_type: FlowerType
    basis: AnswerBasis
    why: str | None
    caution: str | None
    stages: dict[str, StageAnswer]
    frost: FrostAnswer
    frosted: FrostedAnswer | None = Field(
        description="Null where the block is not marked as frosted this season."
    )


class ForecastAnswer(Body):
    """A vineyard's season as foreseen on a day: medians, and the interval from low to high."""

    vineyard: str
    season: int
    as_of: dt.date
    fit: str
    interval: float
    temperatures_through: dt.date | None
    outlook_issued_on: dt.date | None = Field(
        description="Null where no outlook reaches beyond the measured days."
    )
    outlook_through: dt.date | None
    trace_seasons: list[int] = Field(description="Past seasons whose weather continues this one.")
    trace_shifts: list[float] = Field(
        description="By how much each was moved, warmer above 0, since springs now are not what they were then."
    )
    heat_to_date: float
    heat_unit: HeatUnit
    frost_limit: float = Field(description="Highest minimum that counts as frost.")
    frost_limits_source: str | None = Field(description="Whose limits `by_stage` rests on; null without any.")
    temperature_unit: Literal["degC", "degF"]
    cautions: list[str]
    blocks: list[BlockForecastAnswer]

    @classmethod
    def of(cls, foreseen: VineyardForecast, frost: VineyardFrost, units: Units) -> Self:
        """A forecast for the client."""
        found, planting = foreseen.forecast, foreseen.vineyard.planting
        return cls.showing(
            found,
            found.traces,
            foreseen,
            vineyard=foreseen.vineyard.key,
            fit=foreseen.fit.id,
            trace_seasons=found.traces.seasons,
            trace_shifts=[_temperature_step(step, units) for step in found.traces.shift_c.tolist()],
            heat_to_date=told_heat(found.heat_to_date, units),
            heat_unit=heat_unit(units),
            frost_limit=_temperature(frost.limit_c, units, digits=6),  # as asked
            frost_limits_source=None if frost.limits is None else frost.limits.source,
            temperature_unit="degF" if units == "us" else "degC",
            cautions=caution_texts(cautions_of(foreseen, frost=frost)),
            blocks=[
                BlockForecastAnswer.showing(
                    block,
                    flower_type=planting.cultivars[block.cultivar].flower_type,
                    basis=foreseen.basis(block),
                    why=why_none(block),
                    caution=what_is_special(block),
                    stages={
                        key: StageAnswer.showing(stage, threshold=told_heat(stage.threshold, units))
                        for key, stage in block.stages.items()
                    },
                    frost=FrostAnswer.of(frost.blocks[block.block], units),
                    frosted=_frosted(foreseen, block.block),
                )
                for block in found.blocks
            ],
        )


def _frosted(foreseen: VineyardForecast, block: str) -> FrostedAnswer | None:
    """The block's mark of the season, if it has one."""
    mark = foreseen.mark(block)
    left = None if mark is None or mark.share_killed is None else foreseen.flowers_left(mark.share_killed)
    return None if mark is None else FrostedAnswer.showing(mark, flowers_left=left)


def _temperature(temperature_c: float, units: Units, *, digits: int = 1) -> float:
    return round(fahrenheit_from_celsius(temperature_c) if units == "us" else temperature_c, digits)


def _temperature_step(step_c: float, units: Units) -> float:
    return round(fahrenheit_steps_from_celsius_steps(step_c) if units == "us" else step_c, 2)


class OverlapDays(Body):
    """Median and interval of a number of days."""

    median: WholeDays
    low: WholeDays
    high: WholeDays


class ShareInterval(Body):
    """Median and interval of a share."""

    median: ThreeDigits
    low: ThreeDigits
    high: ThreeDigits


class SourceAnswer(Body):
    """What one pollen source in reach does for a block; no distance where a list of neighbours decided."""

    block: str
    cultivar: str
    distance_m: OneDigit | None
    distance_ft: OneDigit | None
    overlap_days: OverlapDays
    synchrony: ThreeDigits
    share_of_bloom_covered: ThreeDigits
    share_lost_without_it: ThreeDigits
    chance_ends_first: ThreeDigits
    chance_starts_late: ThreeDigits
    share_of_supply: ThreeDigits = Field(
        description="Of the pollen that all these sources can give (vines, flowers a vine, quality); hides no gap."
    )

    @classmethod
    def of(cls, source: SourceCover) -> Self:
        """With the distance in feet too."""
        distance = source.distance_m
        return cls.showing(source, distance_ft=None if distance is None else feet_from_metres(distance))


class UncoveredAnswer(Body):
    """Days, both ends included, on which receptive flowers are likely to get no pollen.

    `days` holds each day's chance: one half or more on all of them (level `act`), or, where no day around has as much,
    one fifth or more (`watch`). `chance` is the largest of them.
    """

    first: dt.date = Field(validation_alias="first_day", serialization_alias="from")
    last: dt.date = Field(validation_alias="last_day", serialization_alias="to")
    level: WarningLevel
    chance: ThreeDigits
    days: list[ThreeDigits]
    share_of_bloom: ThreeDigits = Field(
        description="Of the block's flowers, receptive on these days and without pollen, where such a day comes."
    )


class DonorAnswer(Body):
    """A block that can give flowering shoots: its viable anthers are likely to be open on days without pollen."""

    block: str
    first: dt.date = Field(serialization_alias="from")
    last: dt.date = Field(serialization_alias="to")


class BouquetAnswer(Body):
    """One day without pollen: which blocks are likely to have open, viable anthers on it, and whether to put fresh
    shoots. Common practice in apple (every 2 days or so); no source for muscadine."""

    date: dt.date
    blocks: list[str]
    renew: bool


class WarningAnswer(Body):
    """What is wrong with a block's pollen, how urgent and how likely, and what to do.

    Once all its days are over it tells what happened: `past` is true, and the level `watch`.

    Codes: `pollen_ends_early`, `pollen_starts_late` and `pollen_gap` (none in the middle of the bloom, after one source
    and before the next) are about time; `no_pollen_source_in_reach`, `no_viable_pollen` and `single_pollen_source`
    (one source bears all, or most) about the planting; `unknown_bloom` about what cannot be forecast, or not be counted
    on after a frost.
    """

    code: WarningCode
    level: WarningLevel
    chance: ThreeDigits
    message: str
    first: dt.date | None = Field(
        serialization_alias="from",
        description="First day that it is about: of the days in `uncovered` where pollen is lacking, else of the "
        "bloom. Null where no day is likely enough, or no bloom known.",
    )
    last: dt.date | None = Field(serialization_alias="to")
    past: bool
    donors: list[DonorAnswer] = Field(
        description="On the days that are not over yet; the one with most first."
    )
    bouquets: list[BouquetAnswer] = Field(
        description="The days without pollen that are not over yet, for flowering shoots in water among the vines."
    )

    @classmethod
    def of(cls, warning: PollenWarning) -> Self:
        """Its days as two."""
        first, last = warning.days or (None, None)
        donors = [
            DonorAnswer(block=donor.block.key, first=donor.first_day, last=donor.last_day)
            for donor in warning.donors
        ]
        by_day = [
            BouquetAnswer(date=each.date, blocks=[block.key for block in each.blocks], renew=each.renew)
            for each in bouquets(warning)
            if warning.donors
        ]
        return cls.showing(
            warning, message=warning_words(warning), first=first, last=last, donors=donors, bouquets=by_day
        )


class AtReachAnswer(Body):
    """What cover would be were pollen carried another way: how far it is carried is an assumption."""

    reach_m: float
    reach_ft: OneDigit
    sources: list[str]
    share_of_bloom_covered: ShareInterval | None

    @classmethod
    def of(cls, found: AtReach) -> Self:
        """With the reach in feet too."""
        return cls.showing(found, reach_ft=feet_from_metres(found.reach_m))


class PollenNoteAnswer(Body):
    """What was noted of a source cultivar's pollen on the block's, and where that is from."""

    source: str
    text: str
    reference: str


class PistillateBlock(Body):
    """Pollen cover of one pistillate block; the share is null where its bloom or its sources' is not known."""

    block: str
    cultivar: str
    cultivar_name: str
    sources: list[SourceAnswer] = Field(description="Viable and in reach, the best first.")
    share_of_bloom_covered: ShareInterval | None
    uncovered_days: OverlapDays | None = Field(
        description="Days on which it is receptive and no source in reach has open anthers."
    )
    uncovered: list[UncoveredAnswer]
    warnings: list[WarningAnswer] = Field(description="The worst first.")
    notes: list[PollenNoteAnswer] = Field(
        description="What was noted of its cultivar and those that stand here (`pollen_notes` of the cultivar)."
    )
    at_other_reach: list[AtReachAnswer] = Field(
        description="At half and at double the reach, where other viable sources would stand in it."
    )

    @classmethod
    def of(cls, found: BlockPollination, planting: Planting) -> Self:
        """One block for the client."""
        return cls.showing(
            found,
            cultivar_name=planting.cultivars[found.cultivar].name,
            notes=[PollenNoteAnswer.showing(note) for note in notes_for(planting, found.cultivar)],
            sources=[SourceAnswer.of(source) for source in found.sources],
            warnings=[WarningAnswer.of(warning) for warning in found.warnings],
            at_other_reach=[AtReachAnswer.of(other) for other in found.at_other_reach],
        )


class PollinationAnswer(Body):
    """Pollen cover of all pistillate blocks of a vineyard, and what it takes for granted."""

    vineyard: str
    season: int
    as_of: dt.date
    fit: str
    interval: float
    reach_m: float
    reach_ft: OneDigit
    receptive_days: int
    pollen_days: int
    cautions: list[str]
    pistillate_blocks: list[PistillateBlock]

    @classmethod
    def of(
        cls, foreseen: VineyardForecast, found: VineyardPollination, set_claim: SetOnCover | None = None
    ) -> Self:
        """Pollen cover for the client."""
        planting = foreseen.vineyard.planting
        return cls.showing(
            found,
            foreseen.forecast,
            vineyard=foreseen.vineyard.key,
            fit=foreseen.fit.id,
            reach_ft=feet_from_metres(found.reach_m),
            cautions=caution_texts(cautions_of(foreseen, pollen=found, set_claim=set_claim)),
            pistillate_blocks=[PistillateBlock.of(block, planting) for block in found.blocks],
        )
