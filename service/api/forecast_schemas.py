"""The bodies of forecasts, and of frost in them."""

from __future__ import annotations

import datetime as dt
from typing import Literal, Self

from pydantic import Field

from models.bloom.forecast import Status
from models.records import FlowerType
from models.units import fahrenheit_from_celsius, fahrenheit_steps_from_celsius_steps
from models.vineyard.frost import BlockFrost
from service.api.fit_schemas import HeatUnit, heat_unit, told_heat
from service.api.schemas import Body, ThreeDigits
from service.usecases.cautions import cautions_of
from service.usecases.forecasts import AnswerBasis, VineyardForecast
from service.usecases.frost import VineyardFrost
from service.web.units import Units
from service.words.cautions import caution_texts
from service.words.forecast import what_is_special, why_no_chance, why_none


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
