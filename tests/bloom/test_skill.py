"""Scores of forecasts, against values worked by hand and in closed form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import norm

from models.bloom.skill import Outcome, crps_of_draws, crps_of_interval, score, share_inside

OUTCOME = Outcome(season=2001, error=0.0, crps=0.0, baseline_error=0.0, baseline_crps=1.0, inside=1.0)


def test_crps_of_a_few_draws_by_hand() -> None:
    # mean |x - 151| = (3 + 1 + 1 + 4) / 4; pairs lie 2, 4, 7, 2, 5 and 3 apart, each in two of sixteen orders
    found = crps_of_draws(np.array([155.0, 148.0, 152.0, 150.0]), np.array(151.0))
    assert float(found) == pytest.approx(
        (3 + 1 + 1 + 4) / 4 - 2 * (2 + 4 + 7 + 2 + 5 + 3) / 16 / 2, rel=1e-12
    )


def test_crps_of_one_date_is_its_distance() -> None:
    assert float(crps_of_draws(np.array([148.0]), np.array(151.0))) == 3.0
    assert float(crps_of_draws(np.full(7, 148.0), np.array(151.0))) == 3.0


@pytest.mark.parametrize(
    ("mean", "sd", "observed", "expected"),
    [
        # At the mean z is 0: sd (2 / sqrt(2 pi) - 1 / sqrt(pi)).
        (0.0, 1.0, 0.0, np.sqrt(2 / np.pi) - 1 / np.sqrt(np.pi)),
        # z 0.75 and 2.5, with density and probability from tables: 0.30114, 0.77337; 0.01753, 0.99379.
        (150.0, 4.0, 153.0, 4 * (0.75 * (2 * 0.77337 - 1) + 2 * 0.30114 - 0.56419)),
        (150.0, 4.0, 160.0, 4 * (2.5 * (2 * 0.99379 - 1) + 2 * 0.01753 - 0.56419)),
    ],
)
def test_crps_of_a_normal_and_of_many_draws_of_it(
    mean: float, sd: float, observed: float, expected: float
) -> None:
    # closed form: Gneiting et al. (2005), Mon. Weather Rev. 133:1098-1118, equation 5 (memory)
    z = (observed - mean) / sd
    closed = sd * (z * (2 * norm.cdf(z) - 1) + 2 * norm.pdf(z) - 1 / np.sqrt(np.pi))
    assert closed == pytest.approx(expected, abs=1e-4 * sd)
    draws = mean + sd * norm.ppf((np.arange(20_000) + 0.5) / 20_000)
    assert float(crps_of_draws(draws, np.array(observed))) == pytest.approx(closed, abs=1e-3 * sd)


def test_crps_row_by_row_and_without_a_number_where_something_is_missing() -> None:
    draws = np.array([[1.0, 3.0], [1.0, np.nan], [1.0, 3.0]])
    found = crps_of_draws(draws, np.array([2.0, 2.0, np.nan]))
    assert_allclose(found, [1 - 2 / 2 / 2, np.nan, np.nan])  # the pair lies 2 apart, in two of four orders


def test_scores_by_hand() -> None:
    outcomes = [
        Outcome(season=2001, error=3.0, crps=2.0, baseline_error=6.0, baseline_crps=5.0, inside=1.0),
        Outcome(season=2001, error=-1.0, crps=1.0, baseline_error=-2.0, baseline_crps=3.0, inside=0.25),
        Outcome(season=2001, error=4.0, crps=3.0, baseline_error=3.0, baseline_crps=2.0, inside=1.0),
        Outcome(season=2002, error=-4.0, crps=2.0, baseline_error=-1.0, baseline_crps=2.0, inside=0.0),
    ]
    found = score(outcomes)
    assert found.n == 4
    assert found.bias == pytest.approx((3 - 1 + 4 - 4) / 4)
    assert found.mae == pytest.approx((3 + 1 + 4 + 4) / 4)
    assert found.rmse == pytest.approx(np.sqrt((9 + 1 + 16 + 16) / 4))
    assert found.crps == pytest.approx((2 + 1 + 3 + 2) / 4)
    assert found.baseline_rmse == pytest.approx(np.sqrt((36 + 4 + 9 + 1) / 4))
    assert found.skill == pytest.approx(1 - (2 + 1 + 3 + 2) / (5 + 3 + 2 + 2))
    assert found.coverage == pytest.approx((1 + 1 / 4 + 1 + 0) / 4)
    assert found.seasons == 2
    assert found.bias_by_season == pytest.approx(((3 - 1 + 4) / 3 - 4) / 2)
    assert found.coverage_by_season == pytest.approx(((1 + 1 / 4 + 1) / 3 + 0) / 2)
    assert np.isnan([found.rmse_low, found.skill_high, found.coverage_low]).all()  # two seasons draw no range


def test_skill_compares_only_dates_that_have_a_baseline() -> None:
    compared = replace(OUTCOME, crps=1.0, baseline_error=-3.0, baseline_crps=2.0)
    lone = replace(OUTCOME, crps=9.0, baseline_error=np.nan, baseline_crps=np.nan)
    found = score([compared, lone])
    assert found.skill == pytest.approx(1 - 1 / 2)
    assert found.baseline_rmse == pytest.approx(3.0)
    assert found.crps == pytest.approx((1 + 9) / 2)  # every date counts here
    assert np.isnan(score([lone]).skill)
    assert np.isnan(score([lone]).baseline_rmse)


def test_ranges_hold_what_seasons_drawn_again_give() -> None:
    # Ten seasons with one date each, three of them missed by 4 days and not inside: of ten drawn again the number of
    # misses is binomial (10, 0.3), whose 5 and 95 % points are 1 and 5 (tables).
    outcomes = [
        replace(OUTCOME, season=year, error=4.0 * miss, crps=2.0 * miss, baseline_crps=4.0, inside=1.0 - miss)
        for year, miss in enumerate([1, 1, 1, 0, 0, 0, 0, 0, 0, 0], 2001)
    ]
    found = score(outcomes)
    assert (found.coverage_low, found.coverage, found.coverage_high) == pytest.approx((0.5, 0.7, 0.9))
    assert (found.rmse_low, found.rmse_high) == pytest.approx((4 * 0.1**0.5, 4 * 0.5**0.5))
    assert (found.skill_low, found.skill, found.skill_high) == pytest.approx((0.75, 0.85, 0.95))
    # twice the dates of each season tell nothing more
    twice = score([*outcomes, *outcomes])
    assert (twice.coverage_low, twice.coverage_high) == pytest.approx((0.5, 0.9))


@pytest.mark.parametrize(
    ("first", "last"), [(148.0, 151.0), (151.0, 151.0), (140.0, 160.0), (-np.inf, 149.0)]
)
def test_crps_of_an_interval_against_the_integral_outside_it(first: float, last: float) -> None:
    draws = np.array([155.0, 148.0, 152.0, 150.0, 143.0])
    step = 1e-3
    at = np.arange(130, 170, step) + step / 2
    below = (draws[:, None] <= at).mean(axis=0)
    outside = np.where(at < first, below**2, np.where(at > last, (1 - below) ** 2, 0.0))
    assert crps_of_interval(draws, first, last) == pytest.approx(outside.sum() * step, abs=2 * step)
    if first == last:
        assert crps_of_interval(draws, first, last) == pytest.approx(
            float(crps_of_draws(draws, np.array(last)))
        )


def test_share_inside_by_hand() -> None:
    draws = np.array([147.0, 149.0, 150.0, 150.0, 151.0, 153.0, 156.0, 158.0])
    assert share_inside(draws, 149, 153, first=153, last=153) == 1.0
    assert share_inside(draws, 149, 153, first=154, last=154) == 0.0
    # of the draws 151, 153, 156, 158 that the looks leave, two lie inside
    assert share_inside(draws, 149, 153, first=151, last=158) == pytest.approx(2 / 4)
    assert share_inside(draws, 149, np.inf, first=151, last=158) == 1.0
    assert share_inside(draws, 149, 153, first=-np.inf, last=149) == pytest.approx(1 / 2)
    # no draw is left: of the days 159 to 162 the first two
    assert share_inside(draws, 149, 160, first=159, last=162) == pytest.approx(2 / 4)


def test_a_look_that_left_the_day_open_has_no_error() -> None:
    found = score([replace(OUTCOME, error=2.0), replace(OUTCOME, error=np.nan, baseline_error=np.nan)])
    assert (found.n, found.bias, found.rmse) == (2, 2.0, 2.0)
    assert found.skill == 1.0


def test_scored_as_intervals_simulated_visits_have_neither_bias_nor_wrong_coverage() -> None:
    # Forecasts that are right, looked at every week: counted as the day of the look, dates seem to come 3 days later
    # than they did, and intervals to hold less than they do.
    random = np.random.default_rng(4)
    outcomes: list[Outcome] = []
    as_days: list[Outcome] = []
    for season in range(3000):
        centre = random.normal(150, 6)
        draws, true = np.rint(random.normal(centre, 4, 200)), float(np.rint(random.normal(centre, 4)))
        by = true + random.integers(0, 7)
        low, high = np.quantile(draws, [0.1, 0.9], method="nearest")
        for scored, first in ((outcomes, by - 6), (as_days, by)):
            scored.append(
                replace(
                    OUTCOME,
                    season=season,
                    error=float(np.median(draws)) - (first + by) / 2,
                    inside=share_inside(draws, low, high, first=first, last=by),
                )
            )
    held, day_held = score(outcomes), score(as_days)
    assert abs(held.bias) < 0.3
    assert day_held.bias < -2.7
    true_share = (
        0.835  # whole days: P(-5 <= rint(x) <= 5) of sd 4 is 0.831, a little more with ends from 200 draws
    )
    assert held.coverage == pytest.approx(true_share, abs=0.03)
    assert day_held.coverage < 0.75


def test_nothing_to_score() -> None:
    found = score([])
    assert found.n == found.seasons == 0
    assert np.isnan([found.rmse, found.skill, found.coverage_by_season]).all()
