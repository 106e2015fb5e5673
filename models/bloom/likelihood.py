"""How likely an observed interval is under a normal distribution, and what it says about the value inside.

A date seen on a visit only says that the stage came after the visit before and by this one. Everything here
works in log space, since plain differences of the distribution function lose all digits in the tails.
"""

from __future__ import annotations

from typing import cast

import numpy as np
from scipy.special import log_ndtr, ndtr, ndtri, ndtri_exp

from models.units import FloatArray

# Below this width, in standard deviations, the density is flat over the interval to double precision.
FLAT_WIDTH = 1e-5
# A normal density over a distance this short falls like an exponential, to about this squared; the textbook
# moments lose their digits there, by cancellation. [standard deviations]
SHORT = 1e-2
# So many decay lengths into an exponential there is nothing left.
FOOT = 50.0
# A probability below this is about to lose its digits in double precision.
TINY = 1e-290
HALF_LOG_2PI = 0.5 * np.log(2 * np.pi)


def log_interval_probability(
    lower: FloatArray, upper: FloatArray, *, mean: FloatArray, sd: FloatArray
) -> FloatArray:
    """Log probability that a normal value lies in (lower, upper].

    Parameters
    ----------
    lower, upper : ndarray
        Bounds, ``lower < upper``; -inf and inf are open ends.
    mean, sd : ndarray
        Of the normal distribution; broadcast against the bounds.

    Returns
    -------
    ndarray
        Log of Phi((upper - mean) / sd) - Phi((lower - mean) / sd), to full precision in either tail.

    References
    ----------
    .. [1] Mächler (2012), "Accurately computing log(1 - exp(-|a|))", R package Rmpfr vignette (second-hand).
    """
    a, b = _mirrored((lower - mean) / sd, (upper - mean) / sd)
    log_b = log_ndtr(b)
    with np.errstate(divide="ignore", invalid="ignore"):
        gap = np.where(np.isneginf(a), -np.inf, log_ndtr(a) - log_b)
        by_cdf = log_b + log1mexp(gap)
        by_density = -0.5 * (0.5 * (a + b)) ** 2 - HALF_LOG_2PI + np.log(b - a)
    return cast(FloatArray, np.where(b - a < FLAT_WIDTH, by_density, by_cdf))


def log1mexp(x: FloatArray) -> FloatArray:
    """log(1 - exp(x)) for x <= 0, without loss of digits at either end [1]_.

    References
    ----------
    .. [1] Mächler (2012), as in `log_interval_probability`: switch at -log 2.
    """
    return cast(FloatArray, np.where(x > -np.log(2), np.log(-np.expm1(x)), np.log1p(-np.exp(x))))


def interval_moments(
    lower: FloatArray, upper: FloatArray, *, mean: FloatArray, sd: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of a normal value that is known to lie in (lower, upper].

    Parameters
    ----------
    lower, upper, mean, sd : ndarray
        As in `log_interval_probability`.

    Returns
    -------
    mean, variance : ndarray

    References
    ----------
    .. [1] Johnson, Kotz & Balakrishnan (1994), Continuous Univariate Distributions 1, section 10.1 (memory).
    """
    a, b = (lower - mean) / sd, (upper - mean) / sd
    flipped = a > -b
    a, b = _mirrored(a, b)
    log_z = log_interval_probability(a, b, mean=np.zeros(()), sd=np.ones(()))
    density_a, density_b = (np.exp(-0.5 * x**2 - HALF_LOG_2PI - log_z) for x in (a, b))
    shift = density_a - density_b
    pull = np.where(np.isinf(a), 0.0, a) * density_a - np.where(np.isinf(b), 0.0, b) * density_b
    variance = 1 + pull - shift**2
    width = np.minimum(b - a, FOOT / np.maximum(-b, 1 / FOOT))
    short = np.minimum(width, 1 / np.maximum(-b, 1.0)) < SHORT
    # a normal density is log-concave, so an interval never spreads it wider than a flat one
    variance = np.clip(variance, 1e-12, np.minimum(1.0, (b - a) ** 2 / 12))
    if short.any():
        below, variance[short] = _exponential_moments(np.maximum(-b[short], 0.0), width[short])
        shift[short] = b[short] - below
    # rounding may put the mean on the wrong side of its bound
    shift = np.clip(shift, a, b)
    return mean + sd * np.where(flipped, -shift, shift), sd**2 * variance


def _exponential_moments(rate: FloatArray, width: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of a density that falls like exp(-rate * x) over (0, width)."""
    fall = rate * width
    flat = fall < 0.1
    safe = np.where(flat, 1.0, fall)
    mean = np.where(flat, 0.5 - fall / 12 + fall**3 / 720, 1 / safe - 1 / np.expm1(safe))
    variance = np.where(
        flat, 1 / 12 - fall**2 / 240 + fall**4 / 6048, 1 / safe**2 - 0.25 / np.sinh(0.5 * safe) ** 2
    )
    return mean * width, variance * width**2


def draw_in_interval(
    lower: FloatArray, upper: FloatArray, *, mean: FloatArray, sd: FloatArray, uniform: FloatArray
) -> FloatArray:
    """Draw normal values within (lower, upper] from uniform numbers in (0, 1), by inversion.

    Far out, where probabilities vanish, in log space.

    Parameters
    ----------
    lower, upper, mean, sd, uniform : ndarray
        Broadcast against each other.

    Returns
    -------
    ndarray
    """
    a, b = (lower - mean) / sd, (upper - mean) / sd
    flipped = a > -b
    a, b = _mirrored(a, b)
    below_a, below_b = ndtr(a), ndtr(b)
    drawn = np.asarray(ndtri(below_a + uniform * (below_b - below_a)))
    far = below_b < TINY
    if far.any():
        far_a, far_b = (np.broadcast_to(end, drawn.shape)[far] for end in (a, b))
        log_mass = log_interval_probability(far_a, far_b, mean=np.zeros(()), sd=np.ones(()))
        log_uniform = np.log(np.broadcast_to(uniform, drawn.shape)[far])
        drawn[far] = ndtri_exp(np.minimum(np.logaddexp(log_ndtr(far_a), log_mass + log_uniform), 0.0))
    drawn = np.clip(np.where(np.isfinite(drawn), drawn, b), a, b)
    return mean + sd * np.where(flipped, -drawn, drawn)


def _mirrored(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The same interval seen from the lower tail, where the logarithm of the distribution keeps its digits."""
    flipped = a > -b
    return np.where(flipped, -b, a), np.where(flipped, -a, b)
