"""Estimate the spreads of the mixed model by expectation maximisation, with its effects on the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np

from models.bloom.mixed_model import (
    PRIOR_DRIFT_COUNT,
    PRIOR_DRIFT_SHARE,
    Evidence,
    Gaussian,
    Sites,
    Spread,
    Units,
    drift_correlation,
    evidence,
    first_sites,
    own_deviation,
    posterior,
    refined_sites,
    tail_weight,
    with_prior,
)
from models.bloom.observations import HeatIntervals
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


@dataclass(frozen=True, eq=False)
class Estimate:
    """The model at the end of the estimation. Effects are the cultivars, then the seasons.

    ``weight`` and ``season_weight`` are the tail weights of units and seasons, ``said`` what each unit says.
    """

    units: Units
    spread: Spread
    sites: Sites
    weight: FloatArray
    season_weight: FloatArray
    effects: Gaussian
    said: Evidence


def estimate(intervals: HeatIntervals, *, start: Spread | None = None) -> Estimate:
    """Estimate spreads and effects.

    Parameters
    ----------
    intervals : HeatIntervals
        Every unit with at least one stage seen.
    start : Spread, optional
        Where to start from.
    """
    cultivars, seasons = len(intervals.cultivars), len(intervals.seasons)
    units = Units(intervals.cultivar_of, cultivars + intervals.season_of, intervals.lower, intervals.upper)
    assumed = assumed_spread(intervals.heat_a_day)
    spread = start or assumed
    sites = first_sites(units)
    weight, season_weight = np.ones(len(intervals.units)), np.ones(seasons)
    for _ in range(MOST_ITERATIONS):
        carried = _season_correlation(intervals.seasons, spread.drift_share, season_weight)
        said = evidence(sites, spread.within, weight)
        prior, no_pull = _prior(spread, cultivars, carried)
        effects = posterior(prior, no_pull, units, said)
        sites = refined_sites(units, sites, effects, spread.within, weight)
        own = own_deviation(sites, effects, units, spread.within, weight)
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
        if change < TOLERANCE:
            break
    return Estimate(units, spread, sites, weight, season_weight, effects, said)


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


def _season_correlation(
    seasons: Sequence[tuple[str, int]], drift_share: float, season_weight: FloatArray
) -> FloatArray:
    """Variance of season effects in units of Omega; shape (season, season)."""
    shock = np.diag((1 - drift_share) / season_weight)
    return drift_share * _drift_between(seasons) + shock


def _drift_between(seasons: Sequence[tuple[str, int]]) -> FloatArray:
    years = np.array([season for _, season in seasons], dtype=np.float64)
    places = np.array([site for site, _ in seasons])
    return np.where(places[:, None] == places[None, :], drift_correlation(years, years), 0.0)


def _prior(spread: Spread, cultivars: int, carried: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Prior precision of all effects, and its pull; the mean of the cultivars is free."""
    stages, effects = spread.within.shape[0], cultivars + carried.shape[0]
    across = np.zeros((effects, effects))
    across[:cultivars, :cultivars] = np.eye(cultivars) - 1 / cultivars
    precision = np.einsum("cd,jk->cjdk", across, np.linalg.inv(spread.between_cultivars))
    across = np.zeros((effects, effects))
    across[cultivars:, cultivars:] = np.linalg.inv(carried)
    precision += np.einsum("cd,jk->cjdk", across, np.linalg.inv(spread.between_seasons))
    precision += VAGUE * np.einsum("cd,jk->cjdk", np.eye(effects), np.eye(stages))
    return precision, np.zeros((effects, stages))


def _between_cultivars(effects: Gaussian, cultivars: int, spread: Spread, assumed: Spread) -> FloatArray:
    theta, cov = effects.mean[:cultivars], effects.covariance[:cultivars, :, :cultivars, :]
    centre = np.eye(cultivars) - 1 / cultivars
    moments = np.einsum("cd,cj,dk->jk", centre, theta, theta) + np.einsum("cd,cjdk->jk", centre, cov)
    # the mean of the cultivars, itself unknown, takes one of their number
    return with_prior(moments + spread.between_cultivars, cultivars, assumed.between_cultivars)


def _between_seasons(effects: Gaussian, cultivars: int, carried: FloatArray, assumed: Spread) -> FloatArray:
    delta, cov = effects.mean[cultivars:], effects.covariance[cultivars:, :, cultivars:, :]
    known = np.linalg.inv(carried)
    moments = np.einsum("st,sj,tk->jk", known, delta, delta) + np.einsum("st,sjtk->jk", known, cov)
    return with_prior(moments, delta.shape[0], assumed.between_seasons)


def _season_parts(
    effects: Gaussian, cultivars: int, spread: Spread, carried: FloatArray, season_weight: FloatArray
) -> tuple[float, FloatArray]:
    """Part season effects into drift and shock: the drift's new share of Omega, and the seasons' tail weights."""
    delta, cov = effects.mean[cultivars:], effects.covariance[cultivars:, :, cultivars:, :]
    stages = delta.shape[1]
    scale = np.linalg.inv(spread.between_seasons)
    squares = np.einsum("si,ij,tj->st", delta, scale, delta) + np.einsum("sitj,ij->st", cov, scale)
    known = np.linalg.inv(carried)

    def moments(part: FloatArray) -> FloatArray:
        """Second moments of one part, summed over stages, in units of Omega."""
        gain = part @ known
        return cast(FloatArray, gain @ squares @ gain.T + stages * (part - gain @ part))

    shock_variance = np.diag((1 - spread.drift_share) / season_weight)
    shock = np.diag(moments(shock_variance))
    drift_variance = carried - shock_variance
    drift = np.trace(np.linalg.solve(drift_variance / spread.drift_share, moments(drift_variance)))
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
