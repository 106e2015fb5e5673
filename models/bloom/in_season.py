"""What this season's own observations teach: about the season as a whole, and about each cultivar."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtrit

from models.bloom.mixed_model import (
    TAIL_DEGREES,
    Gaussian,
    Units,
    evidence,
    first_pseudo,
    own_deviation,
    posterior,
    refined_pseudo,
    shrinkage,
    sum_of_effects,
    tail_weight,
)
from models.bloom.season_effect import expected_drift
from models.bloom.thresholds import Fit
from models.units import FloatArray

SWEEPS = 60
SETTLED = 1e-3
# A season effect outside this central range of its prior is worth a caution.
USUAL_RANGE = 0.98


@dataclass(frozen=True, eq=False, kw_only=True)
class SeasonKnowledge:
    """Cultivars' thresholds and this season's effect, after this season's observations.

    Attributes
    ----------
    effects : Gaussian
        All cultivars of the fit, then the season. [°C·day]
    weight : ndarray, shape (unit,)
        Tail weight of each observed unit.
    season_weight : float
        Tail weight of the season's shock.
    drift_mean, drift_covariance : ndarray, shape (stage,), (stage, stage)
        What the seasons before made expected of this one.
    shock : ndarray, shape (stage, stage)
        Scale of the season's own part, before its tail weight. [(°C·day)²]
    left : ndarray, shape (stage,)
        Factor on what is not known of the season's effect after all this.
    unusual : ndarray of float, shape (stage,)
        By how much the season effect differs from the expected, where that is beyond the usual range; else 0.
        [°C·day]
    converged : bool
        False where ``SWEEPS`` were not enough.
    """

    effects: Gaussian
    weight: FloatArray
    season_weight: float
    drift_mean: FloatArray
    drift_covariance: FloatArray
    shock: FloatArray
    left: FloatArray
    unusual: FloatArray
    converged: bool


def learn(fit: Fit, units: Units, *, site: str, season: int) -> SeasonKnowledge:
    """Update thresholds and season effect by what was seen this season.

    Parameters
    ----------
    fit : Fit
    units : Units
        This season's observed units; cultivar effects are places in the fit, the season's effect is the last.
    site, season
        Where and when: seasons before it at the same site tell what drift to expect.

    Notes
    -----
    As long as nothing has come, the season is as unsure as one that nobody looked at: what "not yet" says of it is
    learned with that spread, ``season_left`` times as wide. Learned with the usual one it would put the season right
    behind the last look.
    """
    spread, stages = fit.calibrated, len(fit.stages)
    has_come = np.isfinite(units.upper).any()
    wider, left = (np.ones(stages), fit.season_left) if has_come else (fit.season_left, np.ones(stages))
    # cultivars that were not seen only follow the others
    seen, effect = np.unique(units.cultivar_effect, return_inverse=True)
    cultivars, count = seen.tolist(), seen.size
    units = replace(
        units,
        cultivar_effect=effect.reshape(-1).astype(np.int64),
        season_effect=np.full(effect.size, count, dtype=np.int64),
    )
    drift_mean, drift_cov = expected_drift(fit.season_evidence, spread, site=site, season=season)
    drift_cov = np.outer(wider, wider) * drift_cov
    theta_mean = fit.thresholds.mean[cultivars]
    theta_cov = fit.thresholds.covariance[np.ix_(cultivars, range(stages), cultivars, range(stages))]
    flat = np.linalg.inv(theta_cov.reshape(count * stages, count * stages))
    theta_precision = flat.reshape(theta_cov.shape)
    shock_scale = np.outer(wider, wider) * (1 - spread.drift_share) * spread.between_seasons
    pseudo, weight, season_weight = first_pseudo(units.lower, units.upper), np.ones(units.lower.shape[0]), 1.0
    converged = not units.lower.size
    for _ in range(SWEEPS):
        before = pseudo
        season_precision = _inverse(drift_cov + shock_scale / season_weight)
        precision = np.zeros((count + 1, stages, count + 1, stages))
        precision[:count, :, :count, :] = theta_precision
        precision[count, :, count, :] = season_precision
        pull = np.vstack(
            [np.einsum("cjdk,dk->cj", theta_precision, theta_mean), season_precision @ drift_mean]
        )
        shrink = shrinkage(pseudo, spread.within, weight)
        effects = posterior(precision, pull, units, evidence(pseudo, shrink))
        if converged:
            break
        total = sum_of_effects(effects, units)
        pseudo = refined_pseudo(units, pseudo, shrink, total, spread.within, weight)
        own = own_deviation(pseudo, total, spread.within, weight)
        weight = tail_weight(np.einsum("ij,uji->u", np.linalg.inv(spread.within), own), stages)
        shock = _shock(effects, drift_mean, season_precision, shock_scale / season_weight)
        season_weight = float(tail_weight(np.trace(np.linalg.solve(shock_scale, shock)), stages))
        moved = np.abs(pseudo.pull - before.pull) - SETTLED * (np.abs(before.pull) + 1e-6)
        if converged := bool(np.all(moved < 0)):
            break
    prior_sd = np.sqrt(np.diag(drift_cov + shock_scale))
    limit = float(stdtrit(TAIL_DEGREES, 0.5 + USUAL_RANGE / 2)) * prior_sd
    shift = effects.mean[-1] - drift_mean
    told = units.seen.any(axis=0) if units.lower.size else np.zeros(stages, dtype=np.bool_)
    unusual = np.where(told & (np.abs(shift) > limit), effects.mean[-1], 0.0)
    return SeasonKnowledge(
        effects=_all_cultivars(effects, fit, cultivars),
        weight=weight,
        season_weight=season_weight,
        drift_mean=drift_mean,
        drift_covariance=drift_cov,
        shock=shock_scale,
        left=left,
        unusual=unusual,
        converged=converged,
    )


def _all_cultivars(effects: Gaussian, fit: Fit, seen: list[int]) -> Gaussian:
    """Effects of all cultivars of the fit and of the season, from those of the cultivars that were seen."""
    stages, count = len(fit.stages), len(fit.cultivars)
    own, size = len(seen) * stages, count * stages
    prior = fit.thresholds.covariance.reshape(size, size)
    rows = (np.array(seen, dtype=np.int64)[:, None] * stages + np.arange(stages)).reshape(-1)
    gain = np.linalg.solve(prior[np.ix_(rows, rows)], prior[rows]).T
    learned = effects.covariance.reshape(own + stages, own + stages)
    moved = effects.mean[:-1].reshape(own) - fit.thresholds.mean.reshape(size)[rows]
    covariance = np.empty((size + stages, size + stages))
    covariance[:size, :size] = prior - gain @ (prior[np.ix_(rows, rows)] - learned[:own, :own]) @ gain.T
    covariance[:size, size:] = gain @ learned[:own, own:]
    covariance[size:, :size] = covariance[:size, size:].T
    covariance[size:, size:] = learned[own:, own:]
    mean = np.append(fit.thresholds.mean.reshape(size) + gain @ moved, effects.mean[-1])
    return Gaussian(mean.reshape(count + 1, stages), covariance.reshape(count + 1, stages, count + 1, stages))


def _shock(
    effects: Gaussian, drift_mean: FloatArray, season_precision: FloatArray, shock_variance: FloatArray
) -> FloatArray:
    """Second moment of the season's shock; shape (stage, stage)."""
    gain = shock_variance @ season_precision
    away = effects.mean[-1] - drift_mean
    moment = np.outer(away, away) + effects.covariance[-1, :, -1, :]
    return gain @ moment @ gain.T + shock_variance - gain @ shock_variance


def _inverse(matrix: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)
