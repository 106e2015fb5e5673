"""Scores of forecasts against what happened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.units import FloatArray


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


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One forecast of one date, and what came of it. Errors are forecast minus observed. [day]

    ``baseline_error`` and ``baseline_crps`` are those of the cultivar's own dates in the other seasons; NaN
    where it has fewer than two.
    """

    error: float
    crps: float
    baseline_error: float
    baseline_crps: float
    covered: bool


@dataclass(frozen=True, kw_only=True)
class Score:
    """Scores of many forecasts. [day], except ``skill`` and ``coverage``

    ``skill`` is 1 - CRPS / CRPS of the cultivar's own past dates: 1 is perfect, 0 no better than those dates.
    """

    n: int
    bias: float
    mae: float
    rmse: float
    crps: float
    baseline_rmse: float
    skill: float
    coverage: float


def score(outcomes: Sequence[Outcome]) -> Score:
    """Score outcomes; NaN for all but ``n`` where there are none."""
    if not outcomes:
        none = dict.fromkeys(
            ("bias", "mae", "rmse", "crps", "baseline_rmse", "skill", "coverage"), float("nan")
        )
        return Score(n=0, **none)
    error = np.array([outcome.error for outcome in outcomes])
    crps = np.array([outcome.crps for outcome in outcomes])
    baseline_error = np.array([outcome.baseline_error for outcome in outcomes])
    baseline_crps = np.array([outcome.baseline_crps for outcome in outcomes])
    compared = ~np.isnan(baseline_crps)
    skill = baseline_rmse = float("nan")
    if compared.any():
        baseline_rmse = float(np.sqrt(np.mean(baseline_error[compared] ** 2)))
        if baseline_crps[compared].sum() > 0:
            skill = float(1 - crps[compared].sum() / baseline_crps[compared].sum())
    return Score(
        n=len(outcomes),
        bias=float(error.mean()),
        mae=float(np.abs(error).mean()),
        rmse=float(np.sqrt(np.mean(error**2))),
        crps=float(crps.mean()),
        baseline_rmse=baseline_rmse,
        skill=skill,
        coverage=float(np.mean([outcome.covered for outcome in outcomes])),
    )
