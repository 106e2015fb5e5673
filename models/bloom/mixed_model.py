"""The mixed model under the thresholds: what cultivars, seasons and blocks each add to the heat at a stage.

For block u of cultivar c in season s the heat at its stages is a vector over stages

    G_u = theta_c + delta_s + e_u
    theta_c ~ N(mu, T)               what the cultivar needs, leaning on the other cultivars
    delta_s = drift_s + shock_s      what a whole vineyard shares in a season
    drift ~ N(0, rho exp(-|years| / L) Omega),  shock_s ~ t(0, (1 - rho) Omega)
    e_u ~ t(0, Sigma)                what is the block's own

and each G is known to lie in an interval. An interval enters as a normal pseudo-observation with the moments that
the interval leaves (expectation propagation), so that all that is left is a linear mixed model; its variances come
from expectation maximisation, and Student's t tails are normal distributions whose precision is weighed down where
a season or a block is far off.

References
----------
.. [1] Minka (2001), Expectation propagation for approximate Bayesian inference, UAI 17:362-369 (memory).
.. [2] Lange, Little & Taylor (1989), J. Am. Stat. Assoc. 84:881-896: t tails by weights, 4 degrees of freedom
   (memory).
.. [3] Laird & Ware (1982), Biometrics 38:963-974: variance components by EM (memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from models.bloom.likelihood import interval_moments
from models.bloom.observations import IntArray
from models.units import FloatArray

# Degrees of freedom of the tails: a common robust choice (Lange et al. 1989).
TAIL_DEGREES = 4.0
# Years over which a vineyard's drift fades. Ours: values from 2 to 8 did alike on two open data sets.
DRIFT_YEARS = 3.0
# How much the assumed spreads count, in seasons, cultivars or blocks, against those observed.
PRIOR_COUNT = 2.0
# Share of the season variance taken to be drift before the data speak, and how many seasons that counts.
PRIOR_DRIFT_SHARE = 0.3
PRIOR_DRIFT_COUNT = 6.0


@dataclass(frozen=True, eq=False)
class Spread:
    """The variances of the model, over stages. [(°C·day)²]

    Attributes
    ----------
    between_cultivars, between_seasons, within : ndarray, shape (stage, stage)
        T, Omega and Sigma of the module's model.
    drift_share : float
        Share of Omega that carries over from season to season.
    """

    between_cultivars: FloatArray
    between_seasons: FloatArray
    within: FloatArray
    drift_share: float

    def scaled(self, factor: FloatArray) -> Spread:
        """The same where heat counts ``factor`` times as much; shape (stage,)."""
        scale = np.outer(factor, factor)
        return Spread(
            scale * self.between_cultivars,
            scale * self.between_seasons,
            scale * self.within,
            self.drift_share,
        )


@dataclass(frozen=True, eq=False)
class Units:
    """Observed blocks as the model sees them; effects are numbered, each a vector over stages.

    Attributes
    ----------
    cultivar_effect, season_effect : ndarray of int, shape (unit,)
    lower, upper : ndarray, shape (unit, stage)
        Interval of heat; NaN where nothing was seen. [°C·day]
    """

    cultivar_effect: IntArray
    season_effect: IntArray
    lower: FloatArray
    upper: FloatArray

    @property
    def seen(self) -> FloatArray:
        """1 where a stage was observed, else 0; shape (unit, stage)."""
        return (~np.isnan(self.lower)).astype(np.float64)


@dataclass(frozen=True, eq=False)
class PseudoObservations:
    """Normal pseudo-observations in natural form: precision, and precision times value; shape (unit, stage)."""

    precision: FloatArray
    pull: FloatArray

    def without(self, places: NDArray[np.bool_]) -> PseudoObservations:
        """The same with nothing said at some places; shape (unit, stage)."""
        return PseudoObservations(np.where(places, 0.0, self.precision), np.where(places, 0.0, self.pull))


@dataclass(frozen=True, eq=False)
class Gaussian:
    """A joint normal distribution of effects: mean (effect, stage), covariance (effect, stage, effect, stage)."""

    mean: FloatArray
    covariance: FloatArray


@dataclass(frozen=True, eq=False)
class Evidence:
    """What each unit says of cultivar + season: precision (unit, stage, stage) and pull (unit, stage)."""

    precision: FloatArray
    pull: FloatArray


def first_pseudo(lower: FloatArray, upper: FloatArray) -> PseudoObservations:
    """Start from the middle of each closed interval, with the variance of a flat one; open ones say nothing yet."""
    width = upper - lower
    closed = np.isfinite(width)
    precision = np.where(closed, 12 / np.where(closed, width, 1.0) ** 2, 0.0)
    middle = np.where(closed, 0.5 * (lower + upper), 0.0)
    return PseudoObservations(precision, precision * middle)


def shrinkage(pseudo: PseudoObservations, within: FloatArray, weight: FloatArray) -> FloatArray:
    """What the pseudo-observations leave of the blocks' own deviations, (1 + Sigma Lambda)^-1.

    Parameters
    ----------
    pseudo
    within : ndarray, shape (stage, stage)
        Sigma. [(°C·day)²]
    weight : ndarray, shape (unit,)
        Tail weights, by which a unit's Sigma is divided.

    Returns
    -------
    ndarray, shape (unit, stage, stage)
    """
    scaled = (within / weight[:, None, None]) * pseudo.precision[:, None, :]
    return cast(FloatArray, np.linalg.inv(np.eye(within.shape[-1]) + scaled))


def evidence(pseudo: PseudoObservations, shrink: FloatArray) -> Evidence:
    """Integrate the blocks' own deviations out of the pseudo-observations; ``shrink`` from `shrinkage`."""
    across = shrink.transpose(0, 2, 1)
    return Evidence(across * pseudo.precision[:, None, :], _times(across, pseudo.pull))


def posterior(prior_precision: FloatArray, prior_pull: FloatArray, units: Units, said: Evidence) -> Gaussian:
    """Combine prior and evidence.

    Parameters
    ----------
    prior_precision : ndarray, shape (effect, stage, effect, stage)
    prior_pull : ndarray, shape (effect, stage)
        Prior precision times prior mean.
    units, said
        Which effects each unit holds, and what it says of their sum.
    """
    effects, stages = prior_pull.shape
    size = effects * stages
    effect = np.stack([units.cultivar_effect, units.season_effect])
    row = effect[:, :, None] * stages + np.arange(stages)
    place = row[:, None, :, :, None] * size + row[None, :, :, None, :]
    precision = prior_precision + _summed(said.precision, place, size**2).reshape(prior_precision.shape)
    pull = prior_pull + _summed(said.pull, row, size).reshape(prior_pull.shape)
    covariance = np.linalg.inv(precision.reshape(size, size))
    covariance = 0.5 * (covariance + covariance.T)
    mean = (covariance @ pull.reshape(size)).reshape(effects, stages)
    return Gaussian(mean, covariance.reshape(precision.shape))


def sum_of_effects(effects: Gaussian, units: Units) -> tuple[FloatArray, FloatArray]:
    """Mean (unit, stage) and covariance (unit, stage, stage) of cultivar + season for each unit."""
    one, other = units.cultivar_effect, units.season_effect
    mean = effects.mean[one] + effects.mean[other]
    cov = effects.covariance
    cross = cov[one, :, other, :]
    return mean, cov[one, :, one, :] + cov[other, :, other, :] + cross + cross.transpose(0, 2, 1)


def refined_pseudo(
    units: Units,
    pseudo: PseudoObservations,
    shrink: FloatArray,
    total: tuple[FloatArray, FloatArray],
    within: FloatArray,
    weight: FloatArray,
) -> PseudoObservations:
    """One sweep of expectation propagation: match each interval's moments, all else as it stands.

    ``shrink`` is that of `pseudo`, and ``total`` what `sum_of_effects` says.
    """
    mean_sum, cov_sum = total
    own = shrink @ within / weight[:, None, None]
    mean = _times(shrink, mean_sum) + _times(own, pseudo.pull)
    variance = np.einsum("uii->ui", own) + np.sum((shrink @ cov_sum) * shrink, axis=2)
    seen = units.seen > 0
    cavity_precision = 1 / variance - pseudo.precision
    usable = seen & (cavity_precision > 1e-9 / variance)
    cavity_precision = np.where(usable, cavity_precision, 1.0)
    cavity_mean = np.where(usable, (mean / variance - pseudo.pull) / cavity_precision, 0.0)
    tilted_mean, tilted_variance = interval_moments(
        np.where(usable, units.lower, -1.0),
        np.where(usable, units.upper, 1.0),
        mean=cavity_mean,
        sd=np.sqrt(1 / cavity_precision),
    )
    precision = np.maximum(1 / tilted_variance - cavity_precision, 1e-12)
    pull = tilted_mean / tilted_variance - cavity_mean * cavity_precision
    return PseudoObservations(
        np.where(usable, precision, pseudo.precision), np.where(usable, pull, pseudo.pull)
    )


def own_deviation(
    pseudo: PseudoObservations, total: tuple[FloatArray, FloatArray], within: FloatArray, weight: FloatArray
) -> FloatArray:
    """Second moment of the blocks' own deviations e; shape (unit, stage, stage)."""
    mean_sum, cov_sum = total
    own = shrinkage(pseudo, within, weight) @ within / weight[:, None, None]
    mean = _times(own, pseudo.pull - pseudo.precision * mean_sum)
    gain = own * pseudo.precision[:, None, :]
    spread = own + gain @ cov_sum @ gain.transpose(0, 2, 1)
    return spread + mean[:, :, None] * mean[:, None, :]


def tail_weight(distance: FloatArray, stages: int) -> FloatArray:
    """Weight under t tails: above 1 near the middle, near 0 far out.

    ``distance`` is the expected squared distance from the middle in units of the scale, over all stages.
    """
    return (TAIL_DEGREES + stages) / (TAIL_DEGREES + distance)


def drift_correlation(years: FloatArray, other_years: FloatArray) -> FloatArray:
    """How alike the drift of two seasons is; shape (season, other season)."""
    return cast(FloatArray, np.exp(-np.abs(years[:, None] - other_years[None, :]) / DRIFT_YEARS))


def with_prior(moments: FloatArray, count: float, prior: FloatArray) -> FloatArray:
    """A variance from summed second moments, with the assumed one counted as ``PRIOR_COUNT`` more."""
    variance = (moments + PRIOR_COUNT * prior) / (count + PRIOR_COUNT)
    return 0.5 * (variance + variance.T)


def _summed(values: FloatArray, place: IntArray, size: int) -> FloatArray:
    """Sum of the values that fall on each place; values are broadcast against places."""
    weights = np.broadcast_to(values, place.shape).reshape(-1)
    return np.bincount(place.reshape(-1), weights, minlength=size).astype(np.float64, copy=False)


def _times(matrices: FloatArray, vectors: FloatArray) -> FloatArray:
    """Each unit's matrix times its vector; shape (unit, stage)."""
    return (matrices @ vectors[:, :, None])[:, :, 0]
