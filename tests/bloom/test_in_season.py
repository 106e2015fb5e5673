"""What a season's own observations teach, against the exact normal answer worked out directly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import truncnorm

from models.bloom import in_season, mixed_model
from models.bloom.in_season import SeasonKnowledge, learn
from models.bloom.mixed_model import Gaussian, Spread, Units
from models.bloom.season_effect import SeasonEvidence, expected_drift
from models.bloom.thresholds import Fit, fit_intervals
from models.records import HeatRule
from models.units import FloatArray
from tests.bloom.simulated import draw_truth, simulated_intervals

THETA = np.array([600.0, 640.0])
THETA_COVARIANCE = np.array([[90.0, 40.0], [40.0, 120.0]])
OMEGA, SIGMA, DRIFT_SHARE = 900.0, 200.0, 0.3


@pytest.fixture
def _normal_tails(monkeypatch: pytest.MonkeyPatch) -> None:
    """The limit in which Student's t is the normal distribution."""
    monkeypatch.setattr(mixed_model, "TAIL_DEGREES", 1e9)


@pytest.fixture(scope="module")
def fit() -> Fit:
    """Two cultivars and one stage with round numbers, and no season before."""
    random = np.random.default_rng(1)
    intervals = simulated_intervals(random, draw_truth(random, cultivars=2), seasons=5, days_between_visits=1)
    return replace(
        fit_intervals(intervals, rule=HeatRule()),
        thresholds=Gaussian(THETA[:, None], THETA_COVARIANCE.reshape(2, 1, 2, 1)),
        spread=Spread(np.eye(1) * 2500, np.eye(1) * OMEGA, np.eye(1) * SIGMA, DRIFT_SHARE),
        season_evidence=(),
        calibration=np.ones(1),
        season_left=np.ones(1),
        own_left=np.ones(1),
    )


def looks(*seen: tuple[int, float, float]) -> Units:
    """Observed intervals of blocks of these cultivars."""
    return Units(
        np.array([cultivar for cultivar, _, _ in seen], dtype=np.int64),
        np.full(len(seen), 2, dtype=np.int64),
        np.array([[lower] for _, lower, _ in seen]).reshape(-1, 1),
        np.array([[upper] for _, _, upper in seen]).reshape(-1, 1),
    )


def learned(fit: Fit, units: Units, *, season: int = 2020) -> SeasonKnowledge:
    return learn(fit, units, site="here", season=season)


def exact(
    observed: list[int], values: list[float], *, drift_mean: float = 0.0, season_variance: float = OMEGA
) -> tuple[FloatArray, FloatArray]:
    """Condition (theta 0, theta 1, season) on theta + season + own = value, by the textbook formula."""
    mean = np.array([*THETA, drift_mean])
    covariance = np.zeros((3, 3))
    covariance[:2, :2], covariance[2, 2] = THETA_COVARIANCE, season_variance
    rows = np.zeros((len(observed), 3))
    rows[np.arange(len(observed)), observed] = 1
    rows[:, 2] = 1
    of_values = rows @ covariance @ rows.T + SIGMA * np.eye(len(observed))
    gain = covariance @ rows.T @ np.linalg.inv(of_values)
    return mean + gain @ (np.array(values) - rows @ mean), covariance - gain @ rows @ covariance


@pytest.mark.usefixtures("_normal_tails")
@pytest.mark.parametrize(
    ("observed", "values"),
    [([0], [655.0]), ([1], [610.0]), ([0, 1], [655.0, 700.0]), ([0, 0, 1], [590.0, 622.0, 660.0])],
)
def test_learning_equals_the_exact_normal_answer(fit: Fit, observed: list[int], values: list[float]) -> None:
    narrow = [
        (cultivar, value - 0.05, value + 0.05) for cultivar, value in zip(observed, values, strict=True)
    ]
    knowledge = learned(fit, looks(*narrow))
    mean, covariance = exact(observed, values)
    # a tenth of a degree-day of width adds 0.01 / 12 to a variance of 200: relative 4e-6
    assert_allclose(knowledge.effects.mean[:, 0], mean, rtol=0, atol=1e-3)
    assert_allclose(knowledge.effects.covariance.reshape(3, 3), covariance, rtol=1e-5, atol=1e-3)
    assert_allclose(knowledge.weight, 1, rtol=1e-6)


def test_it_tells_whether_the_numbers_settled(fit: Fit, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = looks((0, 580.0, 720.0), (1, 700.0, 760.0))
    assert learned(fit, seen).converged
    assert learned(fit, looks()).converged
    monkeypatch.setattr(in_season, "SWEEPS", 2)
    assert not learned(fit, seen).converged
    assert learned(fit, looks()).converged


def test_nothing_seen_leaves_the_prior(fit: Fit) -> None:
    knowledge = learned(fit, looks())
    mean, covariance = exact([], [])
    assert_allclose(knowledge.effects.mean[:, 0], mean, rtol=1e-12)
    assert_allclose(knowledge.effects.covariance.reshape(3, 3), covariance, rtol=1e-9, atol=1e-9)
    assert knowledge.unusual.tolist() == [0.0]


@pytest.mark.usefixtures("_normal_tails")
@pytest.mark.parametrize(("lower", "upper"), [(580.0, 720.0), (640.0, np.inf), (-np.inf, 590.0)])
def test_one_wide_interval_teaches_what_a_truncated_normal_says(fit: Fit, lower: float, upper: float) -> None:
    # theta + season + own is normal with this variance; the season takes its share of what the interval leaves
    variance = THETA_COVARIANCE[0, 0] + OMEGA + SIGMA
    ends = ((np.array([lower, upper]) - THETA[0]) / np.sqrt(variance)).tolist()
    mean, left = float(truncnorm.mean(*ends)), float(truncnorm.var(*ends))
    knowledge = learned(fit, looks((0, lower, upper)))
    share = OMEGA / variance
    assert knowledge.effects.mean[2, 0] == pytest.approx(share * np.sqrt(variance) * mean, rel=1e-3)
    season_variance = OMEGA - share**2 * variance * (1 - left)
    assert knowledge.effects.covariance[2, 0, 2, 0] == pytest.approx(season_variance, rel=1e-3)


@pytest.mark.usefixtures("_normal_tails")
@pytest.mark.parametrize(
    ("upper", "variance_of_season", "left"), [(np.inf, 4 * OMEGA, 1.0), (720.0, OMEGA, 2.0)]
)
def test_until_something_comes_not_yet_teaches_of_a_season_as_unsure_as_before(
    fit: Fit, upper: float, variance_of_season: float, left: float
) -> None:
    unsure = replace(fit, season_left=np.full(1, 2.0))
    assert learned(unsure, looks()).effects.covariance[2, 0, 2, 0] == pytest.approx(4 * OMEGA)
    knowledge = learned(unsure, looks((0, 650.0, upper)))
    # as of one wide interval, above
    variance = THETA_COVARIANCE[0, 0] + variance_of_season + SIGMA
    ends = ((np.array([650.0, upper]) - THETA[0]) / np.sqrt(variance)).tolist()
    expected = variance_of_season / np.sqrt(variance) * float(truncnorm.mean(*ends))
    assert knowledge.effects.mean[2, 0] == pytest.approx(expected, rel=1e-3)
    assert knowledge.left.tolist() == [left]


def test_a_not_yet_far_past_the_threshold_moves_the_season_late(fit: Fit) -> None:
    knowledge = learned(fit, looks((0, 650.0, np.inf), (1, 650.0, np.inf)))
    assert knowledge.effects.mean[2, 0] > 30
    early = learned(fit, looks((0, 300.0, np.inf), (1, 300.0, np.inf)))
    assert_allclose(early.effects.mean[:, 0], [*THETA, 0], rtol=0, atol=0.05)


def test_one_block_far_off_its_neighbours_weighs_little(fit: Fit) -> None:
    neighbours = [(0, 600.0, 602.0), (0, 598.0, 600.0), (1, 640.0, 642.0), (1, 638.0, 640.0)]
    knowledge = learned(fit, looks(*neighbours, (0, 900.0, 902.0)))
    assert abs(knowledge.effects.mean[2, 0]) < 12
    assert knowledge.weight[-1] < 0.1 < 0.5 < knowledge.weight[:-1].min()


@pytest.mark.parametrize(("late", "said"), [(0.0, False), (45.0, False), (250.0, True), (-250.0, True)])
def test_an_unusual_season_is_told(fit: Fit, late: float, said: bool) -> None:
    narrow = [(cultivar, THETA[cultivar] + late - 1, THETA[cultivar] + late + 1) for cultivar in (0, 0, 1, 1)]
    unusual = learned(fit, looks(*narrow)).unusual[0]
    assert (unusual != 0) == said
    assert np.sign(unusual) == (np.sign(late) if said else 0)


def seasons_past(*seen: tuple[str, int, float, float]) -> tuple[SeasonEvidence, ...]:
    """Seasons with a site, a label, an effect and the variance with which it is known."""
    return tuple(
        SeasonEvidence(site, season, np.eye(1) / variance, np.full(1, effect / variance), 1.0)
        for site, season, effect, variance in seen
    )


def test_drift_to_expect_equals_the_exact_normal_answer() -> None:
    spread = Spread(np.eye(1), np.eye(1) * OMEGA, np.eye(1), DRIFT_SHARE)
    past = [("here", 2016, 30.0, 50.0), ("here", 2018, 22.0, 80.0), ("here", 2019, 35.0, 20.0)]
    others = [("here", 2021, -900.0, 1.0), ("there", 2019, -900.0, 1.0)]
    mean, covariance = expected_drift(seasons_past(*past, *others), spread, site="here", season=2020)
    years = np.array([2016.0, 2018.0, 2019.0])
    # drift fades by exp(-years / 3); an effect is drift, a shock of its own, and the error of its estimate
    of_values = DRIFT_SHARE * OMEGA * np.exp(-np.abs(years[:, None] - years) / 3)
    of_values += np.diag((1 - DRIFT_SHARE) * OMEGA + np.array([50.0, 80.0, 20.0]))
    reach = DRIFT_SHARE * OMEGA * np.exp(-(2020 - years) / 3)
    assert_allclose(mean, reach @ np.linalg.solve(of_values, np.array([30.0, 22.0, 35.0])), rtol=1e-9)
    assert_allclose(covariance, DRIFT_SHARE * OMEGA - reach @ np.linalg.solve(of_values, reach), rtol=1e-9)


def test_drift_to_expect_over_two_stages_where_a_season_far_off_counts_little() -> None:
    omega = np.array([[900.0, 500.0], [500.0, 400.0]])
    spread = Spread(np.eye(2), omega, np.eye(2), DRIFT_SHARE)
    years, weights = np.array([2017.0, 2019.0]), np.array([1.3, 0.2])
    effects = np.array([[25.0, 5.0], [-60.0, -70.0]])
    errors = np.array([[[40.0, 10.0], [10.0, 60.0]], [[90.0, -20.0], [-20.0, 30.0]]])
    past = tuple(
        SeasonEvidence("here", int(year), np.linalg.inv(error), np.linalg.solve(error, effect), weight)
        for year, error, effect, weight in zip(years, errors, effects, weights, strict=True)
    )
    mean, covariance = expected_drift(past, spread, site="here", season=2020)
    # an effect is drift, a shock whose variance is divided by its weight, and the error of its estimate
    of_values = DRIFT_SHARE * np.kron(np.exp(-np.abs(years[:, None] - years) / 3), omega)
    for place, (error, weight) in enumerate(zip(errors, weights, strict=True)):
        rows = slice(2 * place, 2 * place + 2)
        of_values[rows, rows] += (1 - DRIFT_SHARE) / weight * omega + error
    reach = DRIFT_SHARE * np.kron(np.exp(-(2020 - years) / 3)[None, :], omega)
    assert_allclose(mean, reach @ np.linalg.solve(of_values, effects.reshape(-1)), rtol=1e-9)
    expected = DRIFT_SHARE * omega - reach @ np.linalg.solve(of_values, reach.T)
    assert_allclose(covariance, expected, rtol=1e-9)


def test_without_seasons_before_no_drift_is_expected() -> None:
    spread = Spread(np.eye(2), np.diag([OMEGA, 400.0]), np.eye(2), DRIFT_SHARE)
    mean, covariance = expected_drift((), spread, site="here", season=2020)
    assert mean.tolist() == [0, 0]
    assert_allclose(covariance, np.diag([0.3 * OMEGA, 120.0]))


@pytest.mark.usefixtures("_normal_tails")
def test_learning_starts_from_the_drift_of_the_seasons_before(fit: Fit) -> None:
    past = replace(fit, season_evidence=seasons_past(("here", 2018, 40.0, 10.0), ("here", 2019, 44.0, 10.0)))
    mean, covariance = expected_drift(past.season_evidence, past.spread, site="here", season=2020)
    assert mean[0] > 10
    knowledge = learned(past, looks((1, 699.95, 700.05)))
    season_variance = covariance[0, 0] + (1 - DRIFT_SHARE) * OMEGA
    expected, _ = exact([1], [700.0], drift_mean=mean[0], season_variance=season_variance)
    assert_allclose(knowledge.effects.mean[:, 0], expected, rtol=0, atol=1e-3)
