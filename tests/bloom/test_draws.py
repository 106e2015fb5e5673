"""Draws of heat against the distributions that they stand for: rejection, closed forms, integration on a grid."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import kstest
from scipy.stats import t as student_t

from models.bloom.draws import draw_heat
from models.bloom.in_season import SeasonKnowledge
from models.bloom.mixed_model import Gaussian
from models.units import FloatArray

OPEN = np.inf
THETA = np.array([600.0, 620.0])
WITHIN = np.array([[400.0, 300.0], [300.0, 500.0]])
# So small that it is nothing beside a block's own deviation. [(°C·day)²]
TINY = 1e-6


def known_effects(theta: FloatArray) -> tuple[SeasonKnowledge, FloatArray]:
    """A cultivar whose threshold is certain, in a season without an effect: all that is left is the block's own."""
    stages = theta.size
    covariance = np.zeros((2, stages, 2, stages))
    for effect in range(2):
        covariance[effect, :, effect, :] = TINY * np.eye(stages)
    effects = Gaussian(np.vstack([theta, np.zeros(stages)]), covariance)
    knowledge = SeasonKnowledge(
        effects=effects,
        weight=np.ones(0),
        season_weight=1.0,
        drift_mean=np.zeros(stages),
        drift_covariance=np.zeros((stages, stages)),
        shock=TINY * np.eye(stages),
        left=np.ones(stages),
        unusual=np.zeros(stages),
        converged=True,
    )
    return knowledge, WITHIN


def drawn(
    knowledge: SeasonKnowledge, within: FloatArray, lower: list[float], upper: list[float], *, draws: int
) -> FloatArray:
    """Heat of one block; shape (draw, stage)."""
    heat = draw_heat(
        [knowledge],
        within=within,
        cultivar_effect=np.zeros(1, dtype=np.int64),
        lower=np.array([[lower]]),
        upper=np.array([[upper]]),
        weather_of=np.zeros(draws, dtype=np.int64),
        shared=np.random.default_rng(20260301),
        own=[np.random.default_rng(20260302)],
    )
    return heat[:, 0, :]


@pytest.mark.parametrize(
    ("lower", "upper"),
    [
        ([-OPEN, -OPEN], [OPEN, OPEN]),  # only the stages' order
        ([650.0, -OPEN], [OPEN, OPEN]),  # the first not yet at 2.5 scales past its threshold
        ([-OPEN, -OPEN], [OPEN, 580.0]),  # the second 1.8 scales early
        ([590.0, -OPEN], [600.0, OPEN]),  # the first seen between two looks
    ],
)
def test_a_blocks_draws_are_those_that_rejection_leaves(lower: list[float], upper: list[float]) -> None:
    random = np.random.default_rng(1)
    own = random.standard_normal((1_500_000, 2)) @ np.linalg.cholesky(WITHIN).T
    free = THETA + own / np.sqrt(random.chisquare(4, (len(own), 1)) / 4)
    kept = free[((free >= lower) & (free <= upper)).all(axis=1) & (free[:, 1] >= free[:, 0])]
    assert len(kept) > 20_000
    found = drawn(*known_effects(THETA), lower, upper, draws=20_000)
    # a quarter of a day at 10 °C·day a day; the few sweeps leave less of where they start, most of it far out
    assert_allclose(np.median(found, axis=0), np.median(kept, axis=0), rtol=0, atol=2.5)
    assert_allclose(found.mean(axis=0), kept.mean(axis=0), rtol=0, atol=3.0)
    spans = [np.diff(np.quantile(heat, [0.1, 0.9], axis=0), axis=0) for heat in (found, kept)]
    assert_allclose(spans[0], spans[1], rtol=0.1)


OMEGA = 900.0


def seen_season(precision: float, value: float) -> tuple[SeasonKnowledge, FloatArray]:
    """A season whose effect was seen with this precision, as if its shock were normal (tail weight 1)."""
    variance = 1 / (1 / OMEGA + precision)
    covariance = np.diag([TINY, variance]).reshape(2, 1, 2, 1)
    effects = Gaussian(np.array([[600.0], [variance * precision * value]]), covariance)
    knowledge = SeasonKnowledge(
        effects=effects,
        weight=np.ones(0),
        season_weight=1.0,
        drift_mean=np.zeros(1),
        drift_covariance=np.zeros((1, 1)),
        shock=OMEGA * np.eye(1),
        left=np.ones(1),
        unusual=np.zeros(1),
        converged=True,
    )
    return knowledge, TINY * np.eye(1)


def test_a_season_of_which_nothing_was_seen_has_t_tails() -> None:
    effect = drawn(*seen_season(0.0, 0.0), [-OPEN], [OPEN], draws=4000)[:, 0] - 600
    assert kstest(effect / np.sqrt(OMEGA), student_t(4).cdf).pvalue > 1e-3
    # from a table of Student's t with 4 degrees of freedom: 2.132 at 95 %, where the normal has 1.645
    low, high = np.quantile(effect / np.sqrt(OMEGA), [0.05, 0.95])
    assert (high - low) / 2 == pytest.approx(2.132, abs=0.12)


@pytest.mark.parametrize(("precision", "value"), [(1 / 400, 20.0), (1 / 400, 150.0), (1 / 2500, -200.0)])
def test_a_season_that_was_seen_is_weighed_against_its_t_tails(precision: float, value: float) -> None:
    effect = np.linspace(-1500, 1500, 300_001)
    density = student_t.pdf(effect / np.sqrt(OMEGA), 4) * np.exp(-precision * (effect - value) ** 2 / 2)
    through = np.cumsum(density) / density.sum()
    expected = np.interp([0.1, 0.5, 0.9], through, effect)
    found = drawn(*seen_season(precision, value), [-OPEN], [OPEN], draws=20_000)[:, 0] - 600
    # the weight is drawn at 32 points of its distribution, which leaves a few per cent in the far tail
    spread = expected[2] - expected[0]
    assert_allclose(np.quantile(found, [0.1, 0.5, 0.9]), expected, rtol=0, atol=0.06 * spread)
