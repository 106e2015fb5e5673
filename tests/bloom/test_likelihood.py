"""Probability, moments and draws of a normal value that is known to lie in an interval."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.stats import kstest, truncnorm

from models.bloom.likelihood import draw_in_interval, interval_moments, log1mexp, log_interval_probability
from models.units import FloatArray

mpmath.mp.dps = 60

ZERO, ONE = np.zeros(()), np.ones(())
INTERVALS = [
    (-np.inf, 0.5),
    (-0.7, np.inf),
    (-0.5, 1.5),
    (0.2, 0.3),
    (-3.001, -3.0),
    (8.0, 8.4),
    (20.0, np.inf),
    (-np.inf, -38.0),
    (-25.0, -24.0),
    (35.0, 60.0),
    (80.0, 80.5),
]
# Where the textbook moments lose their digits: short against the spread, or far out, or both.
HARD_INTERVALS = [
    (0.0, 0.3),
    (0.3, 0.30003),
    (60.0, 60.0001),
    (60.0, 60.001),
    (205.0, 205.01),
    (1e6, 1e6 + 10),
]


def log_probability(lower: float, upper: float, mean: float = 0.0, sd: float = 1.0) -> float:
    bounds = np.array([lower]), np.array([upper])
    return float(log_interval_probability(*bounds, mean=np.array(mean), sd=np.array(sd))[0])


def moments(lower: float, upper: float) -> tuple[float, float]:
    mean, variance = interval_moments(np.array([lower]), np.array([upper]), mean=ZERO, sd=ONE)
    return float(mean[0]), float(variance[0])


def exact(lower: float, upper: float) -> tuple[float, float, float]:
    """Log probability, mean and variance with 60 digits, mirrored where the upper tail needs it."""
    if lower > 0:
        log_p, mean, variance = exact(-upper, -lower)
        return log_p, -mean, variance
    a, b = mpmath.mpf(lower), mpmath.mpf(upper)
    mass = mpmath.ncdf(b) - mpmath.ncdf(a)
    at_a, at_b = (mpmath.npdf(end) / mass for end in (a, b))
    mean = at_a - at_b
    ends = (0 if mpmath.isinf(a) else a * at_a) - (0 if mpmath.isinf(b) else b * at_b)
    return float(mpmath.log(mass)), float(mean), float(1 + ends - mean**2)


def test_log_probability_far_from_the_mean() -> None:
    # From mpmath: a clip of the probability at 1e-25 would give log(1e-25) = -57.6 for the second.
    assert log_probability(8.5, 9.0) == pytest.approx(exact(8.5, 9.0)[0], rel=1e-14)
    assert log_probability(8.5, 9.0) == pytest.approx(-39.2, abs=0.05)
    assert log_probability(20.0, 21.0) == pytest.approx(-203.9, abs=0.05)


@pytest.mark.parametrize(("lower", "upper"), INTERVALS + HARD_INTERVALS)
def test_log_probability_against_sixty_digits(lower: float, upper: float) -> None:
    assert log_probability(lower, upper) == pytest.approx(exact(lower, upper)[0], rel=1e-11)


@pytest.mark.parametrize(("lower", "upper"), INTERVALS[:6])
def test_against_truncnorm(lower: float, upper: float) -> None:
    # scipy.stats.truncnorm, an independent implementation; its own digits end farther out
    mean, variance = moments(lower, upper)
    assert mean == pytest.approx(float(truncnorm.mean(lower, upper)), rel=1e-7)
    assert variance == pytest.approx(float(truncnorm.var(lower, upper)), rel=1e-4)


@pytest.mark.parametrize(("lower", "upper"), INTERVALS)
def test_moments_against_sixty_digits(lower: float, upper: float) -> None:
    _, mean, variance = exact(lower, upper)
    found_mean, found_variance = moments(lower, upper)
    assert found_mean == pytest.approx(mean, rel=1e-9)
    assert found_variance == pytest.approx(variance, rel=2e-5)


@pytest.mark.parametrize(("lower", "upper"), HARD_INTERVALS)
def test_moments_where_digits_cancel(lower: float, upper: float) -> None:
    _, mean, variance = exact(lower, upper)
    found_mean, found_variance = moments(lower, upper)
    assert found_mean == pytest.approx(mean, abs=1e-4 * np.sqrt(variance))
    assert found_variance == pytest.approx(variance, rel=1e-3)


@given(
    ends=st.lists(st.floats(-40, 40), min_size=3, max_size=3),
    mean=st.floats(-5, 5),
    sd=st.floats(0.1, 10),
)
def test_an_interval_is_as_likely_as_its_parts(ends: list[float], mean: float, sd: float) -> None:
    low, middle, high = sorted(ends)
    assume(middle - low > 1e-3 and high - middle > 1e-3)
    whole = log_probability(low, high, mean, sd)
    parts = np.logaddexp(log_probability(low, middle, mean, sd), log_probability(middle, high, mean, sd))
    assert whole == pytest.approx(parts, rel=1e-10, abs=1e-9)
    assert whole <= 0


@given(
    lower=st.floats(-100, 100), width=st.floats(1e-6, 100), sd=st.floats(0.1, 10), mean=st.floats(-100, 100)
)
def test_moments_stay_inside(lower: float, width: float, sd: float, mean: float) -> None:
    upper = lower + width
    bounds = np.array([lower]), np.array([upper])
    assume(upper > lower and min(abs(mean - lower), abs(mean - upper)) > 1e-9)
    found, variance = interval_moments(*bounds, mean=np.array(mean), sd=np.array(sd))
    slack = 1e-9 * (1 + abs(lower) + abs(upper) + abs(mean))
    assert lower - slack <= found[0] <= upper + slack
    assert 0 < variance[0] <= max(min(sd**2, width**2 / 12) * (1 + 1e-6), sd**2 * 1e-12)


def test_moments_scale_with_the_distribution() -> None:
    mean, variance = interval_moments(np.array([8.0]), np.array([13.0]), mean=np.array(5.0), sd=np.array(2.0))
    standard_mean, standard_variance = moments(1.5, 4.0)
    assert mean[0] == pytest.approx(5 + 2 * standard_mean, rel=1e-12)
    assert variance[0] == pytest.approx(4 * standard_variance, rel=1e-12)


@pytest.mark.parametrize(
    ("lower", "upper"), [(-0.5, 1.5), (-np.inf, -2.0), (3.0, np.inf), (9.0, 9.5), (-30.0, -29.9)]
)
def test_draws_are_uniform_within_the_interval(lower: float, upper: float) -> None:
    uniform = np.random.default_rng(20260301).random(4000)
    drawn = draw_in_interval(np.array(lower), np.array(upper), mean=ZERO, sd=ONE, uniform=uniform)
    assert np.all((drawn >= lower) & (drawn <= upper))
    assert kstest(integral_transform(drawn, lower, upper), "uniform").pvalue > 1e-3


def integral_transform(drawn: FloatArray, lower: float, upper: float) -> FloatArray:
    """Where each draw lies between the ends, in probability: uniform if the draws are right."""
    below = np.array([log_probability(lower, max(value, lower + 1e-12)) for value in drawn])
    return np.exp(below - log_probability(lower, upper))


def test_draws_follow_the_mean_and_spread() -> None:
    # the quartiles of a whole normal distribution: mean -+ 0.67449 sd
    uniform = np.array([0.25, 0.5, 0.75])
    drawn = draw_in_interval(
        np.array(-np.inf), np.array(np.inf), mean=np.array(7.0), sd=np.array(2.0), uniform=uniform
    )
    assert_allclose(np.sort(drawn), [7 - 2 * 0.6744897502, 7, 7 + 2 * 0.6744897502], rtol=0, atol=1e-9)


def test_log1mexp_at_both_ends() -> None:
    # log(1 - exp(x)): near 0 it is log(-x), far down it is -exp(x)
    with np.errstate(divide="ignore"):  # of the branch that is not taken
        assert_allclose(log1mexp(np.array([-1e-20, -50.0])), [np.log(1e-20), -np.exp(-50.0)], rtol=1e-15)
