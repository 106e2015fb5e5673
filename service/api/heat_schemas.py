"""Bodies of a season's heat."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import Field

from models.records import Cutoff, GapRule, HeatMethod
from service.api.schemas import Body, GapAnswer
from service.usecases.documents import Slug


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
