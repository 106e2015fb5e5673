"""What a fit says of each of its own seasons when that season is left out: in closed form, spreads as they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from scipy.special import stdtr

from models.bloom.estimation import VAGUE, Estimate
from models.bloom.mixed_model import TAIL_DEGREES
from models.bloom.observations import HeatIntervals
from models.bloom.season_effect import SeasonEvidence, expected_drift
from models.units import FloatArray


@dataclass(frozen=True, eq=False)
class LeftOut:
    """What the other seasons say of each season.

    Attributes
    ----------
    threshold, threshold_covariance : ndarray, shape (unit, stage), (unit, stage, stage)
        Of each unit's cultivar, without the unit's season.
    drift, drift_covariance : ndarray, shape (season, stage), (season, stage, stage)
        To expect from the seasons before.
    """

    threshold: FloatArray
    threshold_covariance: FloatArray
    drift: FloatArray
    drift_covariance: FloatArray


def left_out(intervals: HeatIntervals, found: Estimate, evidence: tuple[SeasonEvidence, ...] = ()) -> LeftOut:
    """Thresholds and drift from all seasons but a unit's own; arguments as in `left_out_prediction`."""
    said_precision, said_pull = _by_season(intervals, found)
    spread, stages, cultivars = found.spread, len(intervals.stages), len(intervals.cultivars)
    size = cultivars * stages
    centring = np.eye(cultivars) - 1 / cultivars
    prior = np.kron(centring, np.linalg.inv(spread.between_cultivars)) + VAGUE * np.eye(size)
    total, total_pull = prior + said_precision.sum(axis=0), said_pull.sum(axis=0)
    covariance = np.linalg.inv(total - said_precision)
    mean = np.einsum("sij,sj->si", covariance, total_pull - said_pull)
    season, cultivar = intervals.season_of, intervals.cultivar_of
    blocks = covariance.reshape(-1, cultivars, stages, cultivars, stages)
    drift = np.zeros((len(intervals.seasons), stages))
    drift_covariance = np.tile(spread.drift_share * spread.between_seasons, (len(intervals.seasons), 1, 1))
    if evidence:
        for place, (site, label) in enumerate(intervals.seasons):
            drift[place], drift_covariance[place] = expected_drift(evidence, spread, site=site, season=label)
    return LeftOut(
        mean.reshape(-1, cultivars, stages)[season, cultivar],
        blocks[season, cultivar, :, cultivar, :],
        drift,
        drift_covariance,
    )


def left_out_prediction(
    intervals: HeatIntervals, found: Estimate, evidence: tuple[SeasonEvidence, ...] = ()
) -> tuple[FloatArray, FloatArray]:
    """Predict each unit from all seasons but its own.

    Parameters
    ----------
    intervals : HeatIntervals
        What was fitted.
    found : Estimate
    evidence : tuple of SeasonEvidence
        Where given, the seasons before tell what drift to expect; else no drift is expected.

    Returns
    -------
    centre, scale : ndarray, shape (unit, stage)
        Of a t distribution with ``TAIL_DEGREES``. [°C·day]
    """
    others, spread, season = left_out(intervals, found, evidence), found.spread, intervals.season_of
    shock = (1 - spread.drift_share) * np.diag(spread.between_seasons)
    variance = (
        np.einsum("ukk->uk", others.threshold_covariance)
        + np.einsum("skk->sk", others.drift_covariance)[season]
        + shock
        + np.diag(spread.within)
    )
    return others.threshold + others.drift[season], np.sqrt(variance)


def log_probability(intervals: HeatIntervals, centre: FloatArray, scale: FloatArray) -> FloatArray:
    """Log probability of each observed interval under a t distribution, NaN where nothing was seen.

    The probability of an interval of heat is that of the interval between two looks, so candidates that count
    heat differently can be compared by it.
    """
    a, b = (intervals.lower - centre) / scale, (intervals.upper - centre) / scale
    upper_tail = a > -b
    a, b = np.where(upper_tail, -b, a), np.where(upper_tail, -a, b)
    return cast(FloatArray, np.log(stdtr(TAIL_DEGREES, b) - stdtr(TAIL_DEGREES, a)))


def _by_season(intervals: HeatIntervals, found: Estimate) -> tuple[FloatArray, FloatArray]:
    """What each season says of the cultivars: precision (season, c·k, c·k) and pull (season, c·k).

    The season's own effect is integrated out; seasons count as independent.
    """
    spread, stages, cultivars = found.spread, len(intervals.stages), len(intervals.cultivars)
    seasons = len(intervals.seasons)
    own = np.zeros((seasons, cultivars, stages, stages))
    own_pull = np.zeros((seasons, cultivars, stages))
    np.add.at(own, (intervals.season_of, intervals.cultivar_of), found.said.precision)
    np.add.at(own_pull, (intervals.season_of, intervals.cultivar_of), found.said.pull)
    share = spread.drift_share + (1 - spread.drift_share) / found.season_weight
    prior = np.linalg.inv(spread.between_seasons)[None] / share[:, None, None]
    season_cov = np.linalg.inv(prior + own.sum(axis=1))
    side = own.reshape(seasons, cultivars * stages, stages)
    precision = -side @ season_cov @ side.transpose(0, 2, 1)
    for cultivar in range(cultivars):
        place = slice(cultivar * stages, (cultivar + 1) * stages)
        precision[:, place, place] += own[:, cultivar]
    pull = own_pull.reshape(seasons, -1) - np.einsum("sij,sjk,sk->si", side, season_cov, own_pull.sum(axis=1))
    return precision, pull
