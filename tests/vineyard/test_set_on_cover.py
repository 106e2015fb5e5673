"""Set on cover: simulated vineyards whose truth is known."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from scipy.special import expit
from scipy.stats import binomtest

from models.records import SetCount
from models.units import FloatArray
from models.vineyard.fruit_set import ClusterSet, clusters_counted, set_share
from models.vineyard.set_on_cover import BlockSet, best_days, set_on_cover

SEASONS, BLOCKS, CLUSTERS, FLOWERS = 8, 6, 10, 45
FROM_NONE_TO_ALL = 1.35  # log odds: as from 10 to 30 % set


def bloom(first: float, random: np.random.Generator) -> FloatArray:
    full = first + random.integers(3, 6)
    return np.array([[first, full, full + random.integers(4, 8)]], dtype=np.float64)


def simulated(
    random: np.random.Generator,
    *,
    receptive: int,
    pollen: int,
    effect: float = FROM_NONE_TO_ALL,
    spread: float = 0.2,
) -> list[BlockSet]:
    """Blocks of pistillate cultivars with a source that blooms earlier or later; clusters differ beyond chance."""
    cultivars = random.normal(-1.9, 0.25, 3)
    seen = []
    for season in range(SEASONS):
        of_season, start = random.normal(0, 0.25), random.normal(150, 5)
        for number in range(BLOCKS):
            own = bloom(np.round(start + random.normal(0, 2)), random)
            sources = tuple(
                bloom(np.round(start + random.normal(0, 7)), random) for _ in range(1 + number % 2)
            )
            block = BlockSet(2000 + season, f"b{number}", f"c{number % 3}", 0, 0, own, sources)
            odds = cultivars[number % 3] + of_season + effect * block.cover(receptive, pollen)
            chance = expit(odds + random.normal(0, spread, CLUSTERS))
            berries = int(random.binomial(FLOWERS, chance).sum())
            seen.append(
                BlockSet(
                    2000 + season, block.block, block.cultivar, FLOWERS * CLUSTERS, berries, own, sources
                )
            )
    return seen


@pytest.mark.slow
@pytest.mark.parametrize(("receptive", "pollen"), [(3, 2), (5, 3), (2, 4)])
def test_days_come_back_within_one_and_their_ranges_hold_the_truth(receptive: int, pollen: int) -> None:
    random = np.random.default_rng([receptive, pollen])
    near, held, runs = 0, 0, 6
    for _ in range(runs):
        found = best_days(simulated(random, receptive=receptive, pollen=pollen), 0.9)
        for days, truth in zip(found, (receptive, pollen), strict=True):
            near += abs(days.best - truth) <= 1
            held += days.low <= truth <= days.high
    assert near / (2 * runs) >= 0.9
    assert held / (2 * runs) >= 0.8


def test_the_interval_of_the_effect_holds_the_truth_as_often_as_it_says() -> None:
    random = np.random.default_rng(11)
    held, runs = 0, 100
    for _ in range(runs):
        seen = simulated(random, receptive=3, pollen=2, effect=0.4, spread=0.4)
        fit = set_on_cover(seen, interval=0.9, find_days=False).effect
        assert fit is not None
        held += fit.low <= 0.4 <= fit.high
    assert binomtest(held, runs, 0.9).pvalue > 0.01


def test_where_cover_does_nothing_that_is_said_and_no_days_are_told() -> None:
    random = np.random.default_rng(12)
    verdicts = [
        set_on_cover(simulated(random, receptive=3, pollen=2, effect=0.0, spread=0.4)).verdict
        for _ in range(60)
    ]
    wrong = 60 - verdicts.count("not_shown")
    assert binomtest(wrong, 60, 0.1).pvalue > 0.01
    found = set_on_cover(simulated(np.random.default_rng(3), receptive=3, pollen=2, effect=-2.0))
    assert (found.verdict, found.receptive, found.pollen) == ("against", None, None)


def test_a_strong_effect_is_told_with_set_as_it_would_be_without_and_with_cover() -> None:
    found = set_on_cover(simulated(np.random.default_rng(2), receptive=3, pollen=2))
    assert (found.verdict, found.blocks, found.seasons) == ("explains", SEASONS * BLOCKS, SEASONS)
    assert found.effect is not None
    assert found.effect.effect == pytest.approx(FROM_NONE_TO_ALL, abs=0.3)
    assert found.effect.set_without < 0.2 < found.effect.set_with
    assert found.receptive is not None
    assert found.pollen is not None
    assert abs(found.receptive.best - 3) <= 1
    assert abs(found.pollen.best - 2) <= 1


def test_too_little_is_called_too_little() -> None:
    seen = simulated(np.random.default_rng(2), receptive=3, pollen=2)
    assert set_on_cover([]).verdict == "too_few"
    assert set_on_cover(seen[:BLOCKS]).verdict == "too_few"
    covered = [
        BlockSet(
            each.season, each.block, each.cultivar, each.flowers, each.berries, each.bloom, (each.bloom,)
        )
        for each in seen
    ]
    assert set_on_cover(covered).verdict == "no_difference"


DAY = dt.date(2026, 5, 20)


def count(day: int, flowers: int | None = None, berries: int | None = None, cluster: str = "1") -> SetCount:
    return SetCount(DAY + dt.timedelta(days=day), "b1", cluster, flowers, berries)


def test_counts_of_a_cluster_are_joined_and_what_says_nothing_is_named() -> None:
    counts = [
        count(0, flowers=40),
        count(2, flowers=50),
        count(30, berries=12),
        count(35, berries=11),
        count(35, berries=9, cluster="2"),
        count(0, flowers=30, cluster="3"),
        count(40, flowers=30, cluster="4"),
        count(35, berries=9, cluster="4"),
        count(0, flowers=5, cluster="5"),
        count(35, berries=9, cluster="5"),
        count(35, flowers=60, berries=15, cluster="6"),
        count(365, flowers=10, cluster="1"),
    ]
    found, left = clusters_counted(counts, 31.0)
    assert found == (ClusterSet(2026, "b1", "1", 50, 11), ClusterSet(2026, "b1", "6", 60, 15))
    assert [(each.season, each.cluster, each.why) for each in left] == [
        (2026, "2", "no_flowers"),
        (2026, "3", "no_berries"),
        (2026, "4", "no_flower_before"),
        (2026, "5", "more_berries_than_flowers"),
        (2027, "1", "no_berries"),
    ]


def test_the_interval_of_a_share_is_the_exact_binomial_one() -> None:
    """Clopper and Pearson (1934), as scipy's own test has it."""
    found = set_share([ClusterSet(2026, "b1", "1", 68, 21)], interval=0.9)
    exact = binomtest(21, 68).proportion_ci(0.9, method="exact")
    assert (found.share, found.spread) == (21 / 68, 1.0)
    assert (found.low, found.high) == pytest.approx((exact.low, exact.high), rel=1e-9)
    none = set_share([ClusterSet(2026, "b1", "1", 20, 0)], interval=0.9)
    assert (none.low, none.high) == pytest.approx((0.0, 1 - 0.05 ** (1 / 20)), rel=1e-9)
    assert set_share([ClusterSet(2026, "b1", "1", 20, 20)]).high == 1.0


def test_clusters_that_differ_widen_the_interval_and_it_holds_the_truth() -> None:
    random = np.random.default_rng(8)
    held, plain, runs = 0, 0, 400
    for _ in range(runs):
        chances = random.beta(0.25 * 8, 0.75 * 8, CLUSTERS)  # mean 0.25
        clusters = [
            ClusterSet(2026, "b1", str(place), FLOWERS, int(random.binomial(FLOWERS, chance)))
            for place, chance in enumerate(chances)
        ]
        found = set_share(clusters, interval=0.9)
        held += int(found.low <= 0.25 <= found.high)
        exact = binomtest(found.berries, found.flowers).proportion_ci(0.9, method="exact")
        plain += int(exact.low <= 0.25 <= exact.high)
    assert held / runs >= 0.84
    assert plain / runs < 0.7  # what chance alone would claim
