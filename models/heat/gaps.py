"""Missing days of a temperature record: where they are, and the named rules by which they may be filled."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import lru_cache
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from models.errors import BadInput, MissingDays, Problem
from models.records import DailyTemperatures, GapRule
from models.units import FloatArray

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

MOST_MISSING_SHARE = 0.05
"""A season with a larger share of its needed days missing is set aside. Our convention."""

NORMAL_REACH_DAYS = 3
"""How far to either side of a calendar day its normal looks: a few years suffice. Our convention. [day]"""

RECORDS_HELD = 8
"""Filled records that are held: a search of heat rules and a hindcast ask for the same one again and again."""

GAPS_NAMED = 3
GAP_RULES = ", ".join(get_args(GapRule))


@dataclass(frozen=True)
class Gap:
    """A run of missing days, from ``first`` to ``last``, both of them missing."""

    first: dt.date
    last: dt.date
    days: int


@dataclass(frozen=True, eq=False)
class Filled:
    """A record after a gap rule.

    Attributes
    ----------
    temperatures : DailyTemperatures
        Days that the rule could not fill are still NaN.
    interpolated, from_normals : ndarray of bool, shape (day,)
        Which days were filled, and how.
    """

    temperatures: DailyTemperatures
    interpolated: BoolArray
    from_normals: BoolArray


def find_gaps(temps: DailyTemperatures) -> tuple[Gap, ...]:
    """Runs of missing days within a record, in order."""
    firsts, ends = _missing_runs(temps)
    return tuple(
        Gap(_date(temps.dates[first]), _date(temps.dates[end - 1]), int(end - first))
        for first, end in zip(firsts, ends, strict=True)
    )


def season_gap_share(temps: DailyTemperatures, first: dt.date, last: dt.date) -> float:
    """Share of the days from ``first`` to ``last``, both included, that a record lacks.

    Ask it of the record as measured, before a gap rule, and hold it against ``MOST_MISSING_SHARE``. Days
    outside the record are missing. Without any day (``last`` before ``first``) nothing is missing: 0.
    """
    days = (last - first).days + 1
    if days <= 0:
        return 0.0
    asked = (temps.dates >= np.datetime64(first, "D")) & (temps.dates <= np.datetime64(last, "D"))
    return (days - int(np.count_nonzero(~np.isnan(temps.tmin_c[asked])))) / days


def fill_gaps(temps: DailyTemperatures, rule: GapRule, *, longest_short_gap_days: int = 3) -> Filled:
    """Apply a gap rule to a record.

    Parameters
    ----------
    temps : DailyTemperatures
        The record as measured.
    rule : {'refuse', 'fill_short', 'fill_normal'}
        ``refuse`` fills nothing and raises at any gap. ``fill_short`` draws straight lines through Tmin and
        Tmax over gaps of up to ``longest_short_gap_days``; longer ones, and those at either end of the
        record, stay missing. ``fill_normal`` fills each missing day with the mean of other years, see
        `normals`; a day that no other year knows stays missing.

    Returns
    -------
    Filled

    Raises
    ------
    MissingDays
        Under ``refuse``, if a day is missing; names the first gaps.
    BadInput
        If the rule is not one of these.
    """
    return _filled(temps, rule, longest_short_gap_days)


def normals(temps: DailyTemperatures, days: IntArray) -> tuple[FloatArray, FloatArray]:
    """Mean Tmin and Tmax of the same calendar days in the other years of a record. [°C]

    Each mean is over all known days up to ``NORMAL_REACH_DAYS`` before or after the calendar day, in every
    year but the day's own, all with the same weight. 29 February counts as 1 March in common years.

    Parameters
    ----------
    temps : DailyTemperatures
    days : ndarray of int, shape (n,)
        Positions of the days in the record.

    Returns
    -------
    tmin_c, tmax_c : ndarray, shape (n,)
        NaN where no other year knows any of those days. [°C]
    """
    if not days.size:
        return np.empty(0), np.empty(0)
    months = temps.dates[days].astype("datetime64[M]")
    day_of_month = temps.dates[days] - months.astype("datetime64[D]")
    most_years_apart = int((temps.dates[-1] - temps.dates[0]).astype(np.int64)) // 365 + 1
    sums = np.zeros((2, days.size))
    known_days = np.zeros(days.size)
    for years in range(-most_years_apart, most_years_apart + 1):
        if years == 0:
            continue
        same_day = (months + np.timedelta64(12 * years, "M")).astype("datetime64[D]") + day_of_month
        middle = (same_day - temps.dates[0]).astype(np.int64)
        for offset in range(-NORMAL_REACH_DAYS, NORMAL_REACH_DAYS + 1):
            position = middle + offset
            inside = (position >= 0) & (position < temps.dates.size)
            position = np.where(inside, position, 0)
            known = inside & ~np.isnan(temps.tmin_c[position])
            sums += np.where(known, [temps.tmin_c[position], temps.tmax_c[position]], 0.0)
            known_days += known
    tmin_c, tmax_c = np.divide(sums, known_days, out=np.full_like(sums, np.nan), where=known_days > 0)
    return tmin_c, tmax_c


@lru_cache(maxsize=RECORDS_HELD)
def _filled(temps: DailyTemperatures, rule: GapRule, longest_short_gap_days: int) -> Filled:
    untouched = np.zeros(temps.dates.shape, dtype=np.bool_)
    if rule == "refuse":
        _refuse_gaps(find_gaps(temps))
        return Filled(temps, untouched, untouched)
    if rule == "fill_short":
        return Filled(*_interpolate(temps, longest_short_gap_days), untouched)
    if rule == "fill_normal":
        missing = np.flatnonzero(np.isnan(temps.tmin_c))
        tmin_c, tmax_c = temps.tmin_c.copy(), temps.tmax_c.copy()
        tmin_c[missing], tmax_c[missing] = normals(temps, missing)
        filled = np.isnan(temps.tmin_c) & ~np.isnan(tmin_c)
        return Filled(DailyTemperatures(temps.dates, tmin_c, tmax_c), untouched, filled)
    raise BadInput("unknown gap rule", [Problem("gap_rule", f"{rule!r} is not one of {GAP_RULES}")])


def _interpolate(temps: DailyTemperatures, longest_days: int) -> tuple[DailyTemperatures, BoolArray]:
    tmin_c, tmax_c = temps.tmin_c.copy(), temps.tmax_c.copy()
    for first, end in zip(*_missing_runs(temps), strict=True):
        days = end - first
        if days > longest_days or first == 0 or end == temps.dates.size:
            continue
        weight = np.arange(1, days + 1) / (days + 1)
        # The same weights on both extremes keep every minimum at or below its maximum, to the last bit.
        for extreme in (tmin_c, tmax_c):
            extreme[first:end] = (1 - weight) * extreme[first - 1] + weight * extreme[end]
    filled = np.isnan(temps.tmin_c) & ~np.isnan(tmin_c)
    return DailyTemperatures(temps.dates, tmin_c, tmax_c), filled


def _missing_runs(temps: DailyTemperatures) -> tuple[IntArray, IntArray]:
    """Positions of the first day of each gap and of the day after its last."""
    missing = np.concatenate([[False], np.isnan(temps.tmin_c), [False]]).astype(np.int8)
    steps = np.diff(missing)
    return np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)


def _refuse_gaps(gaps: tuple[Gap, ...]) -> None:
    if not gaps:
        return
    named = ", ".join(f"{gap.first} to {gap.last} ({gap.days} d)" for gap in gaps[:GAPS_NAMED])
    more = f" and {len(gaps) - GAPS_NAMED} more gaps" if len(gaps) > GAPS_NAMED else ""
    raise MissingDays(
        f"temperatures are missing on {sum(gap.days for gap in gaps)} days: {named}{more}; "
        "supply them, or choose the gap rule 'fill_short' or 'fill_normal'"
    )


def _date(day: np.datetime64) -> dt.date:
    return dt.date.fromisoformat(str(day))
