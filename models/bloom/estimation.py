"""Estimate the spreads of the mixed model by expectation maximisation, with its effects on the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from models.bloom.mixed_model import (
    PRIOR_DRIFT_COUNT,
    PRIOR_DRIFT_SHARE,
    Evidence,
    Gaussian,
    PseudoObservations,
    Spread,
    Units,
    drift_correlation,
    evidence,
    first_pseudo,
    own_deviation,
    posterior,
    refined_pseudo,
    shrinkage,
    sum_of_effects,
    tail_weight,
    with_prior,
)
from models.bloom.observations import HeatIntervals, IntArray
from models.units import FloatArray

# Spreads assumed before the data speak, in days of usual heat at the stage: ours, in the range of published
# errors (flowering RMSE 3 to 7 days by variety, J. Agric. Sci. 2018). They count as two seasons, cultivars or
# blocks, so they matter for growers with a short record only.
ASSUMED_DAYS_BETWEEN_CULTIVARS = 6.0
ASSUMED_DAYS_BETWEEN_SEASONS = 4.0
ASSUMED_DAYS_WITHIN = 2.5
MOST_ITERATIONS = 400
TOLERANCE = 1e-4
# Precision of what is not known at all, so that no matrix is singular. [1/(°C·day)²]
VAGUE = 1e-10


@dataclass(frozen=True, eq=False, kw_only=True)
class Start:
    """Where an estimation ended, so that another of nearly the same data may start there.

    ``weight`` and ``season_weight`` are the tail weights of units and seasons.
    """

    spread: Spread
    pseudo: PseudoObservations
    weight: FloatArray
    season_weight: FloatArray

    def select(self, units: NDArray[np.bool_], seasons: IntArray) -> Start:
        """The same for some units and seasons only."""
        pseudo = PseudoObservations(self.pseudo.precision[units], self.pseudo.pull[units])
        return Start(
            spread=self.spread,
            pseudo=pseudo,
            weight=self.weight[units],
            season_weight=self.season_weight[seasons],
        )


@dataclass(frozen=True, eq=False, kw_only=True)
class Estimate(Start):
    """The model at the end of the estimation. Effects are the cultivars, then the seasons.

    ``said`` is what each unit says; ``converged`` is False where ``MOST_ITERATIONS`` were not enough.
    """

    units: Units
    effects: Gaussian
    said: Evidence
    converged: bool


def estimate(
    intervals: HeatIntervals, *, start: Start | None = None, tolerance: float = TOLERANCE
) -> Estimate:
    """Estimate spreads and effects.

    Parameters
    ----------
    intervals : HeatIntervals
        Every unit with at least one stage seen.
    start : Start, optional
        Where to start from: quicker, with the same end.
    tolerance : float
        Relative change of the standard deviations at which to stop.
    """
    cultivars, seasons = len(intervals.cultivars), len(intervals.seasons)
    units = Units(intervals.cultivar_of, cultivars + intervals.season_of, intervals.lower, intervals.upper)
    assumed = assumed_spread(intervals.heat_a_day)
    if start is None:
        pseudo = first_pseudo(units.lower, units.upper)
        weight = np.ones(len(intervals.units))
        start = Start(spread=assumed, pseudo=pseudo, weight=weight, season_weight=np.ones(seasons))
    spread, pseudo, weight, season_weight = start.spread, start.pseudo, start.weight, start.season_weight
    no_pull = np.zeros((cultivars + seasons, len(intervals.stages)))
    alike = _drift_between(intervals.seasons)
    converged = False
    for _ in range(MOST_ITERATIONS):
        shock = np.diag((1 - spread.drift_share) / season_weight)
        carried = _Carried(spread.drift_share * alike, shock)
        shrink = shrinkage(pseudo, spread.within, weight)
        said = evidence(pseudo, shrink)
        effects = posterior(_prior(spread, cultivars, carried), no_pull, units, said)
        total = sum_of_effects(effects, units)
        pseudo = refined_pseudo(units, pseudo, shrink, total, spread.within, weight)
        own = own_deviation(pseudo, total, spread.within, weight)
        within = with_prior(np.einsum("u,ujk->jk", weight, own), weight.size, assumed.within)
        distance = np.einsum("ij,uji->u", np.linalg.inv(spread.within), own)
        weight = tail_weight(distance, within.shape[0])
        between_seasons = _between_seasons(effects, cultivars, carried, assumed)
        drift_share, season_weight = _season_parts(effects, cultivars, spread, carried, season_weight)
        updated = Spread(
            _between_cultivars(effects, cultivars, spread, assumed), between_seasons, within, drift_share
        )
        change = _change(spread, updated)
        spread = updated
        if converged := change < tolerance:
            break
    return Estimate(
        units=units,
        spread=spread,
        pseudo=pseudo,
        weight=weight,
        season_weight=season_weight,
        effects=effects,
        said=said,
        converged=converged,
    )


def assumed_spread(heat_a_day: FloatArray) -> Spread:
    """The spreads assumed before the data speak, from the heat of a usual day at each stage."""

    def days(number: float) -> FloatArray:
        return np.diag((number * heat_a_day) ** 2)

    return Spread(
        days(ASSUMED_DAYS_BETWEEN_CULTIVARS),
        days(ASSUMED_DAYS_BETWEEN_SEASONS),
        days(ASSUMED_DAYS_WITHIN),
        PRIOR_DRIFT_SHARE,
    )


class _Carried:
    """Variance of season effects in units of Omega, in its parts and inverted; each (season, season)."""

    def __init__(self, drift: FloatArray, shock: FloatArray) -> None:
        self.drift, self.shock = drift, shock
        self.precision: FloatArray = np.asarray(np.linalg.inv(drift + shock), dtype=np.float64)


def _drift_between(seasons: Sequence[tuple[str, int]]) -> FloatArray:
    years = np.array([season for _, season in seasons], dtype=np.float64)
    places = np.array([site for site, _ in seasons])
    return np.where(places[:, None] == places[None, :], drift_correlation(years, years), 0.0)


def _prior(spread: Spread, cultivars: int, carried: _Carried) -> FloatArray:
    """Prior precision of all effects; the mean of the cultivars is free."""
    stages, effects = spread.within.shape[0], cultivars + carried.precision.shape[0]
    precision = np.zeros((effects, stages, effects, stages))
    first, last = slice(None, cultivars), slice(cultivars, None)
    centre = np.eye(cultivars) - 1 / cultivars
    precision[first, :, first, :] = _outer(centre, spread.between_cultivars)
    precision[last, :, last, :] = _outer(carried.precision, spread.between_seasons)
    flat = precision.reshape(effects * stages, effects * stages)
    flat[np.diag_indices(effects * stages)] += VAGUE
    return precision


def _outer(across: FloatArray, variance: FloatArray) -> FloatArray:
    """Product of a matrix over effects and the inverse of one over stages: (effect, stage, effect, stage)."""
    return np.asarray(across[:, None, :, None] * np.linalg.inv(variance)[None, :, None, :], dtype=np.float64)


def _between_cultivars(effects: Gaussian, cultivars: int, spread: Spread, assumed: Spread) -> FloatArray:
    theta, cov = effects.mean[:cultivars], effects.covariance[:cultivars, :, :cultivars, :]
    centre = np.eye(cultivars) - 1 / cultivars
    moments = np.einsum("cd,cj,dk->jk", centre, theta, theta) + np.einsum("cd,cjdk->jk", centre, cov)
    # the mean of the cultivars, itself unknown, takes one of their number
    return with_prior(moments + spread.between_cultivars, cultivars, assumed.between_cultivars)


def _between_seasons(effects: Gaussian, cultivars: int, carried: _Carried, assumed: Spread) -> FloatArray:
    delta, cov = effects.mean[cultivars:], effects.covariance[cultivars:, :, cultivars:, :]
    known = carried.precision
    moments = delta.T @ known @ delta + np.einsum("st,sjtk->jk", known, cov)
    return with_prior(moments, delta.shape[0], assumed.between_seasons)


def _season_parts(
    effects: Gaussian, cultivars: int, spread: Spread, carried: _Carried, season_weight: FloatArray
) -> tuple[float, FloatArray]:
    """Part season effects into drift and shock: the drift's new share of Omega, and the seasons' tail weights."""
    delta, cov = effects.mean[cultivars:], effects.covariance[cultivars:, :, cultivars:, :]
    stages = delta.shape[1]
    scale = np.linalg.inv(spread.between_seasons)
    squares = delta @ scale @ delta.T + np.einsum("sitj,ij->st", cov, scale)

    def moments(part: FloatArray) -> FloatArray:
        """Second moments of one part, summed over stages, in units of Omega."""
        gain = part @ carried.precision
        return cast(FloatArray, gain @ squares @ gain.T + stages * (part - gain @ part))

    shock = np.diag(moments(carried.shock))
    drift = np.trace(np.linalg.solve(carried.drift / spread.drift_share, moments(carried.drift)))
    drift_part = drift / stages + PRIOR_DRIFT_COUNT * PRIOR_DRIFT_SHARE
    shock_part = season_weight @ shock / stages + PRIOR_DRIFT_COUNT * (1 - PRIOR_DRIFT_SHARE)
    share = float(drift_part / (drift_part + shock_part))
    return share, tail_weight(shock / (1 - spread.drift_share), stages)


def _change(before: Spread, after: Spread) -> float:
    """Largest relative change of a standard deviation, or change of the drift's share."""
    pairs = (
        (before.between_cultivars, after.between_cultivars),
        (before.between_seasons, after.between_seasons),
        (before.within, after.within),
    )
    relative = [np.max(np.abs(np.sqrt(np.diag(new) / np.diag(old)) - 1)) for old, new in pairs]
    return float(max(*relative, abs(after.drift_share - before.drift_share)))
