"""From observed dates to intervals of heat, one row a block and season; what cannot be used is named."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.bloom.set_aside import (
    BeforeHeat,
    DaysMissing,
    DaysUnknown,
    OutOfOrder,
    SetAside,
    WhySetAside,
    in_order,
)
from models.bloom.site import Site
from models.heat.accumulate import SeasonHeat, accumulate_seasons, heat_on
from models.heat.gaps import MOST_MISSING_SHARE, fill_gaps
from models.records import GapRule, HeatRule, StageInterval, Unit
from models.units import FloatArray

IntArray = NDArray[np.int64]

# What shares the season's effect, season, site, what was looked at, and its cultivar.
_Row = tuple[str, int, str, Unit, str]

# Two looks on days without heat between them would leave an interval of no width. [°C·day]
NARROWEST_INTERVAL = 0.1


@dataclass(frozen=True, eq=False, kw_only=True)
class HeatIntervals:
    """Heat between which each block reached each stage in each season.

    Attributes
    ----------
    stages, cultivars : tuple of str
        Labels of the columns, and of ``cultivar_of``.
    seasons : tuple of (place, season)
        Labels of ``season_of``, sorted; sites that share a station are one place (`Site.place`).
    sites : tuple of str
        The site of each row.
    units : tuple of Unit
        What was looked at, of each row.
    cultivar_of, season_of : ndarray of int, shape (unit,)
    lower, upper : ndarray, shape (unit, stage)
        Not yet at ``lower``, reached by ``upper``; -inf or inf where one side is open, NaN where nothing was
        seen. [°C·day]
    heat_a_day : ndarray, shape (stage,)
        Heat of a usual day at each stage: what a day of error is worth. [°C·day/day]
    """

    stages: tuple[str, ...]
    cultivars: tuple[str, ...]
    seasons: tuple[tuple[str, int], ...]
    sites: tuple[str, ...]
    units: tuple[Unit, ...]
    cultivar_of: IntArray
    season_of: IntArray
    lower: FloatArray
    upper: FloatArray
    heat_a_day: FloatArray

    def select(self, units: NDArray[np.bool_]) -> HeatIntervals:
        """The rows of some units, under the same labels."""
        return replace(
            self,
            sites=tuple(site for site, kept in zip(self.sites, units, strict=True) if kept),
            units=tuple(name for name, kept in zip(self.units, units, strict=True) if kept),
            cultivar_of=self.cultivar_of[units],
            season_of=self.season_of[units],
            lower=self.lower[units],
            upper=self.upper[units],
        )

    def relabelled(self) -> HeatIntervals:
        """The same rows, with only the cultivars and seasons that occur in them."""
        cultivars, cultivar_of = np.unique(self.cultivar_of, return_inverse=True)
        seasons, season_of = np.unique(self.season_of, return_inverse=True)
        return replace(
            self,
            cultivars=tuple(self.cultivars[place] for place in cultivars),
            seasons=tuple(self.seasons[place] for place in seasons),
            cultivar_of=cultivar_of.reshape(-1).astype(np.int64),
            season_of=season_of.reshape(-1).astype(np.int64),
        )


def heat_intervals(
    sites: Sequence[Site],
    *,
    stages: Sequence[str],
    rule: HeatRule,
    gap_rule: GapRule = "fill_short",
) -> tuple[HeatIntervals, tuple[SetAside, ...]]:
    """Put the heat to the observed dates.

    Parameters
    ----------
    sites : sequence of Site
    stages : sequence of str
        Stage keys in season order; observations of other stages are left out.
    rule, gap_rule
        How heat is summed, and how missing days are filled.

    Returns
    -------
    intervals : HeatIntervals
    set_aside : tuple of SetAside
        Out of order within a block; too many days missing before the date; before the sum of heat starts.
    """
    set_aside: list[SetAside] = []
    bounds: dict[_Row, dict[str, tuple[float, float]]] = defaultdict(dict)
    heat_a_day: dict[str, list[float]] = defaultdict(list)
    for site in sites:
        wanted = [seen for seen in site.teaching if seen.stage in stages]
        ordered, slips = in_stage_order(wanted, stages)
        set_aside += slips
        heats = site_heat(site, {seen.season for seen in ordered}, rule=rule, gap_rule=gap_rule)
        missing = _MissingDays(site)
        for seen in ordered:
            row = (site.place(seen.season), seen.season, site.key, seen.unit, seen.cultivar)
            why = _unusable(seen, heats[seen.season], missing)
            if why is None:
                lower, upper = heat_bounds(seen, heats[seen.season])
                bounds[row][seen.stage] = (lower, upper)
                if seen.after is not None and seen.by is not None:
                    heat_a_day[seen.stage].append((upper - lower) / (seen.by - seen.after).days)
            else:
                set_aside.append(SetAside(seen.season, seen.unit.name, seen.stage, why))
    usual = np.array([np.median(heat_a_day[stage]) if heat_a_day[stage] else np.nan for stage in stages])
    told = usual[~np.isnan(usual)]
    usual = np.where(np.isnan(usual), told.mean() if told.size else 1.0, usual)
    usual = np.maximum(usual, NARROWEST_INTERVAL)
    return _tabulated(bounds, stages, usual), in_order(set_aside)


def site_heat(
    site: Site, seasons: Iterable[int], *, rule: HeatRule, gap_rule: GapRule
) -> dict[int, SeasonHeat]:
    """Accumulated heat of a site's seasons, with missing days filled by rule.

    Where the rule fills short gaps only, normals fill the longer ones: a season that lacks more than
    ``MOST_MISSING_SHARE`` of its days before a date does not use that date in any case.
    """
    filled = fill_gaps(site.temperatures, gap_rule).temperatures
    if gap_rule == "fill_short":
        filled = fill_gaps(filled, "fill_normal").temperatures
    return accumulate_seasons(filled, rule, sorted(set(seasons)), site.latitude)


def heat_bounds(seen: StageInterval, heat: SeasonHeat) -> tuple[float, float]:
    """Heat at the last look that said "not yet" and at the first that saw the stage. [°C·day]"""
    lower = -np.inf if seen.after is None else heat_on(heat, seen.after)
    upper = np.inf if seen.by is None else heat_on(heat, seen.by)
    return lower, max(upper, lower + NARROWEST_INTERVAL)


def in_stage_order(
    observations: Sequence[StageInterval], stages: Sequence[str]
) -> tuple[list[StageInterval], list[SetAside]]:
    """Set stages aside until each block's dates follow the season order.

    Of two stages out of order, the one that lies farther from the median of the same stage in the other blocks
    of that season is taken as the slip; where no other block tells, both are.
    """
    rank = {stage: place for place, stage in enumerate(stages)}
    day_of: dict[tuple[int, str], list[int]] = defaultdict(list)
    by_unit: dict[tuple[int, Unit], list[StageInterval]] = defaultdict(list)
    for seen in observations:
        by_unit[seen.season, seen.unit].append(seen)
        if seen.by is not None:
            day_of[seen.season, seen.stage].append(seen.by.toordinal())
    slips: list[SetAside] = []
    kept: list[StageInterval] = []
    for of_unit in by_unit.values():
        rows = sorted(of_unit, key=lambda seen: rank[seen.stage])
        while clash := _first_clash(rows):
            for slip in _farther_from_others(clash, day_of):
                other = clash[1] if slip is clash[0] else clash[0]
                rows.remove(slip)
                why = OutOfOrder(*_last_told(slip), other.stage, *_last_told(other))
                slips.append(SetAside(slip.season, slip.unit.name, slip.stage, why))
        kept += rows
    return kept, slips


def _first_clash(rows: Sequence[StageInterval]) -> tuple[StageInterval, StageInterval] | None:
    """An earlier stage that had not come yet when a later one had."""
    for place, early in enumerate(rows):
        for late in rows[place + 1 :]:
            if early.after is not None and late.by is not None and early.after >= late.by:
                return early, late
    return None


def _last_told(seen: StageInterval) -> tuple[dt.date, bool]:
    """The day that counts, and whether the stage had come by then."""
    day = seen.by if seen.by is not None else seen.after
    assert day is not None
    return day, seen.by is not None


def _farther_from_others(
    clash: tuple[StageInterval, StageInterval], day_of: Mapping[tuple[int, str], Sequence[int]]
) -> tuple[StageInterval, ...]:
    distances: list[float] = []
    for seen in clash:
        others = list(day_of[seen.season, seen.stage])
        day, had_come = _last_told(seen)
        if had_come:
            others.remove(day.toordinal())
        distances.append(abs(day.toordinal() - float(np.median(others))) if others else np.nan)
    if np.isnan(distances).any() or distances[0] == distances[1]:
        return clash
    return (clash[int(np.argmax(distances))],)


class _MissingDays:
    """Counts a record's missing days between two dates without going through it each time."""

    def __init__(self, site: Site) -> None:
        temperatures = site.temperatures
        self._first = temperatures.dates[0].astype(dt.date) if temperatures.dates.size else dt.date.min
        self._known_before: list[int] = [0, *np.cumsum(~np.isnan(temperatures.tmin_c)).tolist()]

    def between(self, first: dt.date, last: dt.date) -> int:
        """Days from ``first`` to ``last``, both included, without temperatures."""
        most = len(self._known_before) - 1
        before, through = (
            self._known_before[min(max((day - self._first).days + past, 0), most)]
            for day, past in ((first, 0), (last, 1))
        )
        return (last - first).days + 1 - (through - before)


def _unusable(seen: StageInterval, heat: SeasonHeat, missing: _MissingDays) -> WhySetAside | None:
    dates = [day for day in (seen.after, seen.by) if day is not None]
    last: dt.date = max(dates)
    if last < heat.window.start:
        return BeforeHeat(heat.window.start)
    gone = missing.between(heat.window.start, last)
    if gone > MOST_MISSING_SHARE * ((last - heat.window.start).days + 1):
        return DaysMissing(gone, heat.window.start, last)
    if any(np.isnan(heat_on(heat, day)) for day in dates):
        return DaysUnknown(last)
    return None


def _tabulated(
    bounds: Mapping[_Row, Mapping[str, tuple[float, float]]],
    stages: Sequence[str],
    heat_a_day: FloatArray,
) -> HeatIntervals:
    rows = sorted(bounds)
    cultivars = tuple(sorted({cultivar for *_, cultivar in rows}))
    seasons = tuple(sorted({(place, season) for place, season, *_ in rows}))
    lower, upper = np.full((2, len(rows), len(stages)), np.nan)
    for place, row in enumerate(rows):
        for column, stage in enumerate(stages):
            lower[place, column], upper[place, column] = bounds[row].get(stage, (np.nan, np.nan))
    return HeatIntervals(
        stages=tuple(stages),
        cultivars=cultivars,
        seasons=seasons,
        sites=tuple(site for _, _, site, _, _ in rows),
        units=tuple(unit for *_, unit, _ in rows),
        cultivar_of=np.array([cultivars.index(cultivar) for *_, cultivar in rows], dtype=np.int64),
        season_of=np.array([seasons.index((place, season)) for place, season, *_ in rows], dtype=np.int64),
        lower=lower,
        upper=upper,
        heat_a_day=heat_a_day,
    )
