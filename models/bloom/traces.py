"""Possible rests of a season: what is known so far, an outlook if there is one, then each past season's days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.bloom.climate import shift_to
from models.bloom.observations import IntArray
from models.errors import NotEnoughData, Remedy
from models.heat.degree_days import daily_degree_days
from models.heat.gaps import MOST_MISSING_SHARE, Gap, fill_gaps, find_gaps
from models.heat.season import SeasonWindow, season_of, season_window
from models.records import DailyTemperatures, DateArray, GapRule, HeatRule
from models.units import FloatArray

# Years after which a past season counts 1/e of a neighbouring one. Ours.
CLIMATE_YEARS = 8.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Traces:
    """Heat of one season along every trace.

    Attributes
    ----------
    window : SeasonWindow
    seasons : tuple of int
        The past season that continues each trace; the season itself where it is known to its end.
    shift_c : ndarray, shape (trace,)
        By how much that season's temperatures were moved, to stand for today's climate. [°C]
    tmin_c : ndarray, shape (trace, day)
        [°C]
    accumulated : ndarray, shape (trace, day)
        Heat through the end of each day of the window; the same in all traces as far as it is known. [°C·day]
    known_days : int
        Days of the window with measured temperatures (gaps filled).
    temperatures_through, outlook_through : date or None
        Last measured day, and last day of the outlook.
    filled : tuple of Gap
        Gaps among this season's measured days that normals had to fill.
    """

    window: SeasonWindow
    seasons: tuple[int, ...]
    shift_c: FloatArray
    tmin_c: FloatArray
    accumulated: FloatArray
    known_days: int
    temperatures_through: dt.date | None
    outlook_through: dt.date | None
    filled: tuple[Gap, ...]

    @property
    def expected(self) -> FloatArray:
        """Mean accumulated heat over traces; shape (day,). [°C·day]"""
        return np.asarray(self.accumulated.mean(axis=0), dtype=np.float64)


def season_traces(
    temperatures: DailyTemperatures,
    *,
    latitude: float,
    season: int,
    as_of: dt.date,
    rule: HeatRule,
    gap_rule: GapRule = "fill_short",
    outlook: DailyTemperatures | None = None,
    history: DailyTemperatures | None = None,
) -> Traces:
    """Continue a season from what was known on a day.

    Parameters
    ----------
    temperatures : DailyTemperatures
        The station's record; only days before ``as_of`` are looked at.
    latitude : float
        [degree]
    season : int
        Label of the season to continue.
    as_of : date
    rule, gap_rule
        How heat is summed, and how gaps in past seasons are filled. This season's own gaps are always filled:
        short ones by interpolation, longer ones by normals, and named.
    outlook : DailyTemperatures, optional
        A weather forecast; its days from the first unknown one on are used, up to its first missing one.
    history : DailyTemperatures, optional
        Where past seasons are taken from; by default from ``temperatures`` before ``as_of``.

    Raises
    ------
    NotEnoughData
        If there is no other season to continue this one.
    """
    window = season_window(season, latitude, rule.accumulate_from)
    past = temperatures.before(as_of)
    source = past if history is None else history
    dates = np.arange(np.datetime64(window.start, "D"), np.datetime64(window.end, "D"))
    tmin_c, tmax_c, seasons = _other_seasons(source, gap_rule, dates, season, latitude)
    shift_c = shift_to(season, np.array(seasons, dtype=np.int64), source, latitude)
    tmin_c, tmax_c = tmin_c + shift_c[:, None], tmax_c + shift_c[:, None]
    known, filled, through = _known(past, dates, tmin_c, tmax_c)
    tmin_c[:, : known.dates.size], tmax_c[:, : known.dates.size] = known.tmin_c, known.tmax_c
    first_unknown, outlook_through = known.dates.size, None
    if outlook is not None:
        used = _outlook_days(outlook, dates[first_unknown:])
        days = slice(first_unknown, first_unknown + used.dates.size)
        tmin_c[:, days], tmax_c[:, days] = used.tmin_c, used.tmax_c
        outlook_through = used.dates[-1].astype(dt.date) if used.dates.size else None
    if first_unknown == dates.size:  # nothing is left to continue
        seasons, shift_c = [season], np.zeros(1)
        tmin_c, tmax_c = known.tmin_c[None, :], known.tmax_c[None, :]
    enough = np.isnan(tmin_c[:, min(first_unknown, dates.size - 1) :]).mean(axis=1) <= MOST_MISSING_SHARE
    if not enough.any():
        raise NotEnoughData(
            f"no other season's temperatures can continue season {season}", remedy=Remedy.A_WHOLE_PAST_YEAR
        )
    tmin_c, tmax_c = tmin_c[enough], tmax_c[enough]
    for extremes in (tmin_c, tmax_c):
        gap = np.isnan(extremes)
        if gap.any():
            extremes[gap] = _day_means(extremes)[np.nonzero(gap)[1]]
    heat = daily_degree_days(tmin_c, tmax_c, rule)
    return Traces(
        window=window,
        seasons=tuple(label for label, kept in zip(seasons, enough, strict=True) if kept),
        shift_c=shift_c[enough],
        tmin_c=tmin_c,
        accumulated=np.cumsum(heat, axis=1),
        known_days=first_unknown,
        temperatures_through=through,
        outlook_through=outlook_through,
        filled=filled,
    )


def trace_of_draws(
    seasons: Sequence[int],
    season: int,
    *,
    draws: int,
    random: np.random.Generator,
    log_likelihood: FloatArray | None = None,
) -> IntArray:
    """Which trace each draw follows; nearer seasons more often, since climates drift.

    Parameters
    ----------
    seasons : sequence of int
        The past season that continues each trace.
    season : int
        The season to continue.
    draws : int
    random : Generator
        For the order only: how often each trace comes is as even as its weight allows.
    log_likelihood : ndarray, shape (trace,), optional
        Of what was seen on days that the traces differ on.

    Returns
    -------
    ndarray of int, shape (draw,)
    """
    weight = np.exp(-np.abs(np.array(seasons) - season) / CLIMATE_YEARS)
    if log_likelihood is not None:
        weight *= np.exp(log_likelihood - log_likelihood.max())
    through = np.cumsum(weight / weight.sum())
    even = (np.arange(draws) + 0.5) / draws
    place = np.minimum(np.searchsorted(through, even), len(seasons) - 1)
    return random.permutation(place.astype(np.int64))


def crossing_days(accumulated: FloatArray, trace_of: IntArray, heat: FloatArray) -> FloatArray:
    """First day on which the accumulated heat of a draw's trace has reached a value.

    Parameters
    ----------
    accumulated : ndarray, shape (trace, day)
        Never falling. [°C·day]
    trace_of : ndarray of int, shape (draw,)
    heat : ndarray, shape (draw, ...)
        [°C·day]

    Returns
    -------
    ndarray, shape (draw, ...)
        Whole days since the start of the window; NaN where the season ends first.
    """
    days = np.full(heat.shape, np.nan)
    for trace, curve in enumerate(accumulated):
        mine = trace_of == trace
        found = np.searchsorted(curve, heat[mine], side="left")
        days[mine] = np.where(found < curve.size, found, np.nan)
    return days


def _other_seasons(
    source: DailyTemperatures,
    gap_rule: GapRule,
    dates: DateArray,
    season: int,
    latitude: float,
) -> tuple[FloatArray, FloatArray, list[int]]:
    """Every other season's extremes on the same calendar days, NaN where missing; 29 February is the day before."""
    filled = fill_gaps(source, "fill_short" if gap_rule == "refuse" else gap_rule).temperatures
    if not filled.dates.size:
        return np.empty((0, dates.size)), np.empty((0, dates.size)), []
    first, last = (season_of(day.astype(dt.date), latitude) for day in filled.dates[[0, -1]])
    labels = [label for label in range(first, last + 1) if label != season]
    months = dates.astype("datetime64[M]")
    day_of_month = (dates - months.astype("datetime64[D]")).astype(np.int64)
    tmin_c, tmax_c = np.full((2, len(labels), dates.size), np.nan)
    for row, label in enumerate(labels):
        month = months + np.timedelta64(12 * (label - season), "M")
        past = month.astype("datetime64[D]") + day_of_month
        past = np.where(past.astype("datetime64[M]") != month, past - 1, past)
        tmin_c[row], tmax_c[row] = _on_days(filled, past)
    return tmin_c, tmax_c, labels


def _on_days(record: DailyTemperatures, days: DateArray) -> tuple[FloatArray, FloatArray]:
    """A record's minima and maxima on some days; NaN where it has none."""
    place = (days - record.dates[0]).astype(np.int64)
    inside = (place >= 0) & (place < record.dates.size)
    tmin_c, tmax_c = np.full((2, days.size), np.nan)
    tmin_c[inside], tmax_c[inside] = record.tmin_c[place[inside]], record.tmax_c[place[inside]]
    return tmin_c, tmax_c


def _day_means(extremes: FloatArray) -> FloatArray:
    """Mean over traces of each day; where no trace knows the day, of the nearest days that one knows."""
    known = ~np.isnan(extremes)
    sums, counts = np.where(known, extremes, 0.0).sum(axis=0), known.sum(axis=0)
    days = np.arange(counts.size)
    means = sums[counts > 0] / counts[counts > 0]
    return np.asarray(np.interp(days, days[counts > 0], means), dtype=np.float64)


def _known(
    past: DailyTemperatures, dates: DateArray, other_tmin_c: FloatArray, other_tmax_c: FloatArray
) -> tuple[DailyTemperatures, tuple[Gap, ...], dt.date | None]:
    """This season's days up to the last measured one, the gaps that other seasons filled, and that last day."""
    measured = past.dates[~np.isnan(past.tmin_c)]
    if not measured.size:
        return DailyTemperatures(dates[:0], np.empty(0), np.empty(0)), (), None
    days = dates[dates <= measured[-1]]
    tmin_c, tmax_c = _on_days(fill_gaps(past, "fill_short").temperatures, days)
    gaps = find_gaps(DailyTemperatures(days, tmin_c, tmax_c))
    hole = np.flatnonzero(np.isnan(tmin_c))
    if hole.size and np.isnan(other_tmin_c[:, hole]).all(axis=0).any():
        raise NotEnoughData(
            f"temperatures are missing from {gaps[0].first} to {gaps[0].last}, and no other season has those days"
        )
    if hole.size:
        tmin_c[hole] = np.nanmean(other_tmin_c[:, hole], axis=0)
        tmax_c[hole] = np.nanmean(other_tmax_c[:, hole], axis=0)
    return DailyTemperatures(days, tmin_c, tmax_c), gaps, measured[-1].astype(dt.date)


def _outlook_days(outlook: DailyTemperatures, dates: DateArray) -> DailyTemperatures:
    """The outlook's days from the first of ``dates`` on, without a break."""
    first = np.searchsorted(outlook.dates, dates[:1])[0] if dates.size else outlook.dates.size
    if first >= outlook.dates.size or outlook.dates[first] != dates[0]:
        first = outlook.dates.size
    missing = np.flatnonzero(np.isnan(outlook.tmin_c[first:]))
    count = min(int(missing[0]) if missing.size else outlook.dates.size - first, dates.size)
    days = slice(first, first + count)
    return DailyTemperatures(outlook.dates[days], outlook.tmin_c[days], outlook.tmax_c[days])
