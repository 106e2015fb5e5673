"""The heat of a season."""

from __future__ import annotations

import math
from typing import Annotated

import numpy as np
from fastapi import Query

from models.records import Cutoff, GapRule, HeatMethod, HeatRule
from models.units import (
    FloatArray,
    celsius_from_fahrenheit,
    fahrenheit_days_from_celsius_days,
    fahrenheit_from_celsius,
)
from service.api.heat_schemas import DegreeDays, HeatDay, HeatRuleAnswer, SeasonSetAside
from service.api.part import part
from service.api.responses import UNCHANGED, problems
from service.api.schemas import GapAnswer
from service.usecases.heat import SeasonComparison, compare_season
from service.web.kept import KEPT
from service.web.keys import StationKey
from service.web.records import Reading
from service.web.turns import HEAVY
from service.web.units import Units, UnitsQuery, check_heat_limits

router = part("/v1/stations/{station}/degree-days", "stations", KEPT, HEAVY)

TRADE_BASE_C = HeatRule().base_c
TRADE_BASE_F = fahrenheit_from_celsius(TRADE_BASE_C)


@router.get("", summary="Degree-days of a season", responses=UNCHANGED | problems(404))
def get_degree_days(
    station: StationKey,
    records: Reading,
    season: Annotated[
        int | None, Query(ge=1, le=9998, description="By default the one of the last day.")
    ] = None,
    method: HeatMethod = "average",
    base: Annotated[
        float | None,
        Query(allow_inf_nan=False, description="From 0 to 20 °C (32 to 68 °F), by default 10 °C (50 °F)."),
    ] = None,
    upper: Annotated[float | None, Query(ge=-100, le=200, allow_inf_nan=False)] = None,
    cutoff: Cutoff = "none",
    accumulate_from: Annotated[
        str | None, Query(max_length=5, description="MM-DD; by default 01-01, south of the equator 07-01.")
    ] = None,
    gaps: Annotated[
        GapRule,
        Query(description="`fill_short` interpolates up to 3 days, `fill_normal` takes other years' means."),
    ] = "fill_short",
    units: UnitsQuery = "metric",
) -> DegreeDays:
    """Daily and accumulated heat of a season, beside the median and range of the past ones.

    A day without a temperature is never counted as a day without heat: from the first one on that the gap
    rule does not fill, `accumulated` is null. Past seasons that are not complete through the calendar day of
    the last measurement are left out of the median and named in `set_aside`. `base` and `upper` are in °C,
    with `units=us` in °F.
    """
    if base is None:
        base = TRADE_BASE_F if units == "us" else TRADE_BASE_C
    base_c = _celsius(base, units)
    upper_c = None if upper is None else _celsius(upper, units)
    check_heat_limits(base_c, upper_c, base_at="query.base", upper_at="query.upper")
    rule = HeatRule(
        method=method,
        base_c=base_c,
        upper_c=upper_c,
        cutoff=cutoff,
        accumulate_from=accumulate_from,
    )
    compared = compare_season(records, station, season=season, rule=rule, gap_rule=gaps)
    window = compared.heat.window
    return DegreeDays(
        station=station,
        season=compared.season,
        heat_unit="degF_day" if units == "us" else "degC_day",
        rule=HeatRuleAnswer(
            method=method,
            base=base,
            upper=upper,
            cutoff=cutoff,
            accumulate_from=f"{window.start:%m-%d}",
            gaps=gaps,
            temperature_unit="degF" if units == "us" else "degC",
        ),
        gaps=[GapAnswer.showing(gap) for gap in compared.gaps],
        past_seasons=sorted(compared.past),
        set_aside=[SeasonSetAside(season=past, why=why) for past, why in sorted(compared.set_aside.items())],
        days=_days(compared, units),
    )


def _celsius(temperature: float, units: Units) -> float:
    return celsius_from_fahrenheit(temperature) if units == "us" else temperature


def _days(compared: SeasonComparison, units: Units) -> list[HeatDay]:
    def told(heat_c_day: FloatArray) -> list[float | None]:
        heat = fahrenheit_days_from_celsius_days(heat_c_day) if units == "us" else heat_c_day
        return [None if math.isnan(value) else round(value, 2) for value in heat.tolist()]

    heat = compared.heat
    nothing = np.full(heat.window.days, np.nan)
    past = np.array(list(compared.past.values())) if compared.past else nothing[np.newaxis]
    columns = [heat.daily, heat.accumulated, np.median(past, axis=0), past.min(axis=0), past.max(axis=0)]
    return [
        HeatDay(
            date=heat.window.date_at(index),
            heat=daily,
            accumulated=accumulated,
            past_median=median,
            past_low=low,
            past_high=high,
        )
        for index, (daily, accumulated, median, low, high) in enumerate(
            zip(*(told(column) for column in columns), strict=True)
        )
    ]
