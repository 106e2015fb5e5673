"""The heat that has built up in a season, day by day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from models.heat.degree_days import daily_degree_days
from models.heat.season import SeasonWindow, season_window
from models.records import DailyTemperatures, HeatRule
from models.units import FloatArray


@dataclass(frozen=True, eq=False)
class SeasonHeat:
    """Heat of one season.

    Attributes
    ----------
    window : SeasonWindow
        The days along the arrays.
    daily : ndarray, shape (day,)
        Heat of each day; NaN where its temperatures are missing or outside the record. [°C·day]
    accumulated : ndarray, shape (day,)
        Heat from the start of the window through the end of each day; NaN from the first missing day on,
        since a missing day is never summed. [°C·day]
    """

    window: SeasonWindow
    daily: FloatArray
    accumulated: FloatArray


def accumulate_seasons(
    temps: DailyTemperatures, rule: HeatRule, seasons: Iterable[int], latitude: float
) -> dict[int, SeasonHeat]:
    """Heat over the windows of several seasons of one record, by season label.

    Parameters
    ----------
    temps : DailyTemperatures
    rule : HeatRule
        ``accumulate_from`` included.
    seasons : iterable of int
        Season labels; seasons outside the record come back all NaN.
    latitude : float
        Negative south of the equator. [degree]

    Raises
    ------
    BadInput
        If a season is out of the calendar's range.
    """
    daily = daily_degree_days(temps.tmin_c, temps.tmax_c, rule)
    return {
        season: _cut_season(temps, daily, season_window(season, latitude, rule.accumulate_from))
        for season in seasons
    }


def heat_on(season_heat: SeasonHeat, date: dt.date) -> float:
    """Heat accumulated through the end of a date. [°C·day]

    0 before the window; NaN past it, and from a missing day on.
    """
    index = season_heat.window.day_index(date)
    if index < 0:
        return 0.0
    if index >= season_heat.window.days:
        return float("nan")
    return float(season_heat.accumulated[index])


def _cut_season(temps: DailyTemperatures, record_daily: FloatArray, window: SeasonWindow) -> SeasonHeat:
    daily = np.full(window.days, np.nan)
    if temps.dates.size:
        offset = int((np.datetime64(window.start, "D") - temps.dates[0]).astype(np.int64))
        first, end = max(offset, 0), min(offset + window.days, temps.dates.size)
        if first < end:
            daily[first - offset : end - offset] = record_daily[first:end]
    return SeasonHeat(window, daily, np.cumsum(daily))
