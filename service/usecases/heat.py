"""The heat of one season at a station, beside the seasons before it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from models.errors import NotEnoughData, Remedy
from models.heat.accumulate import SeasonHeat, accumulate_seasons
from models.heat.gaps import MOST_MISSING_SHARE, Gap, fill_gaps, find_gaps, season_gap_share
from models.heat.season import season_of, season_window
from models.records import DailyTemperatures, GapRule, HeatRule
from models.units import FloatArray
from service.store.repositories import Repositories


@dataclass(frozen=True, eq=False)
class SeasonComparison:
    """One season's heat, and what the past ones had accumulated by the same calendar days.

    Attributes
    ----------
    season : int
        Its label.
    heat : SeasonHeat
        The season that was asked for.
    gaps : tuple of Gap
        Its missing days within the record, before any was filled.
    past : dict of int to ndarray, shape (day,)
        Accumulated heat along the days of ``heat``, of each past season that is complete through the calendar
        day up to which this one is measured; NaN from its next missing day on. [°C·day]
    set_aside : dict of int to str
        The other past seasons, and why they are not compared with.
    """

    season: int
    heat: SeasonHeat
    gaps: tuple[Gap, ...]
    past: dict[int, FloatArray]
    set_aside: dict[int, str]


def compare_season(
    records: Repositories, station: str, *, season: int | None, rule: HeatRule, gap_rule: GapRule
) -> SeasonComparison:
    """Accumulate one season of a station (by default the one of its last day) and all seasons before it.

    Raises
    ------
    NotFound
        If there is no such station.
    NotEnoughData
        If it has no temperatures, or none in the season.
    MissingDays
        If the gap rule is ``refuse`` and a day is missing.
    """
    latitude = records.stations.get(station).latitude
    measured = records.temperatures.observed(station)
    if measured is None:
        raise NotEnoughData(f"station {station!r} has no temperatures yet", remedy=Remedy.ADD_TEMPERATURES)
    first, last = measured.dates[0].item(), measured.dates[-1].item()
    if season is None:
        season = season_of(last, latitude)
    window = season_window(season, latitude, rule.accumulate_from)
    if not (first < window.end and window.start <= last):
        raise NotEnoughData(
            f"season {season} is summed from {window.start} to {window.end - dt.timedelta(days=1)}, but the "
            f"temperatures of station {station!r} run from {first} to {last}"
        )
    filled = fill_gaps(measured, gap_rule).temperatures
    heats = accumulate_seasons(filled, rule, range(season_of(first, latitude), season + 1), latitude)
    this = heats.pop(season)
    until = min(last, window.end - dt.timedelta(days=1))
    reasons = {
        year: _why_incomplete(measured, heat, until=_years_before(until, season - year))
        for year, heat in heats.items()
    }
    return SeasonComparison(
        season=season,
        heat=this,
        gaps=tuple(gap for gap in find_gaps(measured) if window.start <= gap.last and gap.first < window.end),
        past={year: _along(this, heats[year], season - year) for year, why in reasons.items() if why is None},
        set_aside={year: why for year, why in reasons.items() if why is not None},
    )


def _why_incomplete(measured: DailyTemperatures, heat: SeasonHeat, *, until: dt.date) -> str | None:
    start = heat.window.start
    share = season_gap_share(measured, start, until)
    if share > MOST_MISSING_SHARE:
        return f"{share:.0%} of its days from {start} to {until} are missing"
    missing = np.flatnonzero(np.isnan(heat.daily[: heat.window.day_index(until) + 1]))
    if missing.size:
        day = heat.window.date_at(int(missing[0]))
        return f"no temperatures on {day}, and the gap rule does not fill that day"
    return None


def _along(this: SeasonHeat, past: SeasonHeat, years: int) -> FloatArray:
    """Accumulated heat of a past season by this one's calendar days; 29 February takes the day before."""
    days = [this.window.date_at(index) for index in range(this.window.days)]
    return past.accumulated[[past.window.day_index(_years_before(day, years)) for day in days]]


def _years_before(day: dt.date, years: int) -> dt.date:
    try:
        return day.replace(year=day.year - years)
    except ValueError:  # 29 February
        return day.replace(year=day.year - years, day=28)
