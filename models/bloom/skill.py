"""Scores of forecasts against what happened."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.units import FloatArray

# Central 90 % over so many draws of the seasons, with replacement, from this many seasons on.
RANGE = (0.05, 0.95)
DRAWN_AGAIN = 1000
FEWEST_DRAWN_SEASONS = 5
SEED = 20260301
# A first look that saw a stage leaves its day open; where no draw is possible, so many days are taken as such. [day]
LONGEST_UNSEEN = 30.0


def crps_of_draws(draws: FloatArray, observed: FloatArray) -> FloatArray:
    """Continuous ranked probability score of draws, in the unit of the draws; lower is better.

    Parameters
    ----------
    draws : ndarray, shape (..., draw)
    observed : ndarray, shape (...)

    Returns
    -------
    ndarray, shape (...)
        Mean |x - y| - half the mean |x - x'|; NaN where a draw or the observation is NaN.

    References
    ----------
    .. [1] Gneiting & Raftery (2007), J. Am. Stat. Assoc. 102:359-378, equation 21 (memory).
    """
    ordered = np.sort(draws, axis=-1)
    count = ordered.shape[-1]
    rank = 2 * np.arange(1, count + 1) - count - 1
    away = np.abs(ordered - observed[..., None]).mean(axis=-1)
    return np.asarray(away - (rank * ordered).sum(axis=-1) / count**2, dtype=np.float64)


def crps_of_interval(draws: FloatArray, first: float, last: float) -> float:
    """CRPS of draws where what came is known only to lie between two values, both possible.

    Parameters
    ----------
    draws : ndarray, shape (draw,)
    first, last : float
        ``first`` may be -inf.

    Returns
    -------
    float
        Integral of F² below ``first`` and of (1 - F)² above ``last``: what lies between is not held against the
        forecast. The score of the value itself where both are the same.
    """
    below = 0.0
    if np.isfinite(first):
        below = float(crps_of_draws(np.minimum(draws, first), np.array(first)))
    return below + float(crps_of_draws(np.maximum(draws, last), np.array(last)))


def share_inside(draws: FloatArray, low: float, high: float, *, first: float, last: float) -> float:
    """Chance that what came lies from ``low`` to ``high``, if it is known only to lie from ``first`` to ``last``.

    Parameters
    ----------
    draws : ndarray, shape (draw,)
        Whole days.
    low, high : float
        The interval that was forecast, ends included; ``high`` may be inf.
    first, last : float
        Whole days; ``first`` may be -inf.

    Returns
    -------
    float
        0 or 1 where the day is known. Else the forecast's own share of the days that are possible, which is what a
        randomised probability integral transform between both ends gives on average; where no draw is possible, the
        share of days.
    """
    if first == last:
        return float(low <= first <= high)
    possible = draws[(first <= draws) & (draws <= last)]
    if not possible.size:
        possible = np.arange(max(first, last - LONGEST_UNSEEN), last + 1)
    return float(np.mean((low <= possible) & (possible <= high)))


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One forecast of one date, and what came of it. Errors are forecast minus observed. [day]

    A date known only as an interval is observed in its middle for the errors, NaN where it has no first day, and
    scored as an interval otherwise: ``crps`` as `crps_of_interval`, ``inside`` as `share_inside`.
    ``baseline_error`` and ``baseline_crps`` are those of the cultivar's own dates in the seasons that could be learned
    from; NaN where it has fewer than two.
    """

    season: int
    error: float
    crps: float
    baseline_error: float
    baseline_crps: float
    inside: float

    @property
    def covered(self) -> bool:
        """Whether it more likely lies inside the interval than not."""
        return self.inside >= 0.5


@dataclass(frozen=True, kw_only=True)
class Score:
    """Scores of many forecasts. [day], except ``skill`` and what is named coverage

    ``skill`` is 1 - CRPS / CRPS of the cultivar's own past dates: 1 is perfect, 0 no better than those dates.
    Those "by season" are means over seasons, which count alike; all others are over dates. ``low`` and ``high`` are the
    ends of the central 90 % over seasons drawn again and again; NaN below ``FEWEST_DRAWN_SEASONS`` seasons.
    """

    n: int
    seasons: int
    bias: float
    bias_by_season: float
    mae: float
    rmse: float
    rmse_low: float
    rmse_high: float
    crps: float
    baseline_rmse: float
    skill: float
    skill_low: float
    skill_high: float
    coverage: float
    coverage_low: float
    coverage_high: float
    coverage_by_season: float


def score(outcomes: Sequence[Outcome]) -> Score:
    """Score outcomes; NaN for all but ``n`` and ``seasons`` where there is nothing to score."""
    labels, season = np.unique([outcome.season for outcome in outcomes], return_inverse=True)
    error, crps, baseline_error, baseline_crps, inside = (
        np.array([getattr(outcome, name) for outcome in outcomes], dtype=np.float64)
        for name in ("error", "crps", "baseline_error", "baseline_crps", "inside")
    )
    dated, compared = ~np.isnan(error), ~np.isnan(baseline_crps)

    def sums(values: FloatArray, counted: NDArray[np.bool_]) -> FloatArray:
        """Of each season; shape (season,)."""
        of_season = np.bincount(season[counted], values[counted], minlength=labels.size)
        return of_season.astype(np.float64, copy=False)

    dates, ones = sums(np.ones(season.size), dated), np.ones(season.size)
    squares = sums(error**2, dated), dates
    against = sums(crps, compared), sums(baseline_crps, compared)
    held = sums(inside, ones > 0), sums(ones, ones > 0)
    rmse, rmse_low, rmse_high = _with_range(*squares, np.sqrt)
    skill, skill_low, skill_high = _with_range(*against, lambda ratio: 1 - ratio)
    coverage, coverage_low, coverage_high = _with_range(*held, lambda ratio: ratio)
    return Score(
        n=len(outcomes),
        seasons=labels.size,
        bias=_mean(error),
        bias_by_season=_mean(_ratio(sums(error, dated), dates)),
        mae=_mean(np.abs(error)),
        rmse=rmse,
        rmse_low=rmse_low,
        rmse_high=rmse_high,
        crps=_mean(crps),
        baseline_rmse=float(np.sqrt(_mean(baseline_error[compared] ** 2))),
        skill=skill,
        skill_low=skill_low,
        skill_high=skill_high,
        coverage=coverage,
        coverage_low=coverage_low,
        coverage_high=coverage_high,
        coverage_by_season=_mean(_ratio(*held)),
    )


def _with_range(
    above: FloatArray, below: FloatArray, measure: Callable[[FloatArray], FloatArray]
) -> tuple[float, float, float]:
    """A measure of the ratio of two sums over seasons, and its range over seasons drawn with replacement."""
    found = float(measure(_ratio(above.sum(keepdims=True), below.sum(keepdims=True)))[0])
    seasons = above.size
    if seasons < FEWEST_DRAWN_SEASONS:
        return found, float("nan"), float("nan")
    random = np.random.default_rng(SEED)
    counts = random.multinomial(seasons, np.full(seasons, 1 / seasons), size=DRAWN_AGAIN)
    drawn = measure(_ratio(counts @ above, counts @ below))
    drawn = drawn[~np.isnan(drawn)]
    if not drawn.size:
        return found, float("nan"), float("nan")
    low, high = np.quantile(drawn, RANGE)
    return found, float(low), float(high)


def _ratio(above: FloatArray, below: FloatArray) -> FloatArray:
    """NaN where there is nothing to divide by."""
    return np.where(below > 0, above / np.where(below > 0, below, 1.0), np.nan)


def _mean(values: FloatArray) -> float:
    """Of those that are known; NaN where none is."""
    known = values[~np.isnan(values)]
    return float(known.mean()) if known.size else float("nan")
