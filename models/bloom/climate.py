"""How warm springs are at a place now, and were in a past year: climates drift, and a trace comes from the past."""

from __future__ import annotations

import numpy as np

from models.bloom.observations import IntArray
from models.heat.gaps import MOST_MISSING_SHARE
from models.records import DailyTemperatures
from models.units import FloatArray

# Years over which a spring's say on the level of another year fades to 1/e. Ours.
LEVEL_YEARS = 15.0
# March to May, and September to November: the usual climatological springs (common practice).
SPRING_MONTHS = (3, 4, 5)
SPRING_MONTHS_SOUTH = (9, 10, 11)


def spring_means(temperatures: DailyTemperatures, latitude: float) -> tuple[IntArray, FloatArray]:
    """Mean temperature of each spring of a record.

    Parameters
    ----------
    temperatures : DailyTemperatures
    latitude : float
        Negative south of the equator. [degree]

    Returns
    -------
    seasons : ndarray of int, shape (season,)
        Labels of the seasons whose spring is known: at most ``MOST_MISSING_SHARE`` of its days are missing.
    means : ndarray, shape (season,)
        Of (Tmin + Tmax) / 2. [°C]
    """
    south = latitude < 0
    months = temperatures.dates.astype("datetime64[M]").astype(np.int64)
    year, month = 1970 + months // 12, months % 12 + 1
    spring = np.isin(month, SPRING_MONTHS_SOUTH if south else SPRING_MONTHS)
    known = spring & ~np.isnan(temperatures.tmin_c)
    mean_c = 0.5 * (temperatures.tmin_c + temperatures.tmax_c)
    seasons, of_day = np.unique(year[known] + south, return_inverse=True)
    days = np.bincount(of_day, minlength=seasons.size)
    sums = np.bincount(of_day, mean_c[known], minlength=seasons.size)
    whole = days >= (1 - MOST_MISSING_SHARE) * (91 if south else 92)
    return seasons[whole].astype(np.int64), sums[whole] / days[whole]


def spring_level(seasons: IntArray, means: FloatArray, at: IntArray) -> FloatArray:
    """Springs' level around a year: their mean, with weights that fade with the years between.

    Parameters
    ----------
    seasons, means : ndarray, shape (season,)
        As `spring_means` gives them, not empty. [°C]
    at : ndarray of int, shape (year,)

    Returns
    -------
    ndarray, shape (year,)
        [°C]
    """
    apart = np.abs(at[:, None] - seasons).astype(np.float64)
    # relative to the nearest, so that a far-off year has weights too
    weight = np.exp(-(apart - apart.min(axis=1, keepdims=True)) / LEVEL_YEARS)
    return np.asarray(weight @ means / weight.sum(axis=1), dtype=np.float64)


def shift_to(season: int, traces: IntArray, temperatures: DailyTemperatures, latitude: float) -> FloatArray:
    """By how much each trace's temperatures are to be moved, to stand for a season.

    Parameters
    ----------
    season : int
        The season to continue. Springs of the seasons before it tell the levels; later ones are not looked at, so a
        trace from a later season is not moved.
    traces : ndarray of int, shape (trace,)
        The season from which each trace comes.
    temperatures : DailyTemperatures
    latitude : float
        Negative south of the equator. [degree]

    Returns
    -------
    ndarray, shape (trace,)
        Level of springs at the season less that at the trace; 0 where no spring is known. [°C]
    """
    seasons, means = spring_means(temperatures, latitude)
    past = seasons < season
    if not past.any():
        return np.zeros(traces.size)
    today = spring_level(seasons[past], means[past], np.array([season]))
    return today - spring_level(seasons[past], means[past], traces)
