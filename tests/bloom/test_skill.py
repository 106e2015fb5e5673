"""Scores of forecasts, against values worked by hand and in closed form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import norm

from models.bloom.skill import Outcome, crps_of_draws, score

OUTCOME = Outcome(error=0.0, crps=0.0, baseline_error=0.0, baseline_crps=1.0, covered=True)


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
        Outcome(error=3.0, crps=2.0, baseline_error=6.0, baseline_crps=5.0, covered=True),
        Outcome(error=-1.0, crps=1.0, baseline_error=-2.0, baseline_crps=3.0, covered=False),
        Outcome(error=4.0, crps=3.0, baseline_error=3.0, baseline_crps=2.0, covered=True),
        Outcome(error=-4.0, crps=2.0, baseline_error=-1.0, baseline_crps=2.0, covered=True),
    ]
    found = score(outcomes)
    assert found.n == 4
    assert found.bias == pytest.approx((3 - 1 + 4 - 4) / 4)
    assert found.mae == pytest.approx((3 + 1 + 4 + 4) / 4)
    assert found.rmse == pytest.approx(np.sqrt((9 + 1 + 16 + 16) / 4))
    assert found.crps == pytest.approx((2 + 1 + 3 + 2) / 4)
    assert found.baseline_rmse == pytest.approx(np.sqrt((36 + 4 + 9 + 1) / 4))
    assert found.skill == pytest.approx(1 - (2 + 1 + 3 + 2) / (5 + 3 + 2 + 2))
    assert found.coverage == pytest.approx(3 / 4)


def test_skill_compares_only_dates_that_have_a_baseline() -> None:
    compared = replace(OUTCOME, crps=1.0, baseline_error=-3.0, baseline_crps=2.0)
    lone = replace(OUTCOME, crps=9.0, baseline_error=np.nan, baseline_crps=np.nan)
    found = score([compared, lone])
    assert found.skill == pytest.approx(1 - 1 / 2)
    assert found.baseline_rmse == pytest.approx(3.0)
    assert found.crps == pytest.approx((1 + 9) / 2)  # every date counts here
    assert np.isnan(score([lone]).skill)
    assert np.isnan(score([lone]).baseline_rmse)


def test_nothing_to_score() -> None:
    found = score([])
    assert found.n == 0
    assert np.isnan(found.rmse)
