"""Cover of past seasons against the truth of simulated vineyards, with and without the blocks' own dates."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.bloom.site import Site
from models.bloom.thresholds import fit_thresholds
from models.heat.accumulate import accumulate_seasons
from models.records import Block, Planting
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from models.vineyard import planting_check as checking
from models.vineyard.cover import cover, open_anther_days
from models.vineyard.past_cover import past_blooms
from tests.bloom.noted import logged
from tests.bloom.simulated import block_heat, season_effects, weather
from tests.vineyard.test_planting_check import CULTIVARS as KINDS
from tests.vineyard.test_pollen_calibration import (
    KEYS,
    LATITUDE,
    LOOKED_EVERY,
    RULE,
    SEASONS,
    SOURCES,
    looks,
    true_days,
    truth_of,
)

pytestmark = pytest.mark.slow

VINEYARDS = 5
PAST = SEASONS[:-1]
Shares = dict[str, dict[int, float]]


def simulated(seed: int) -> tuple[Site, Planting, Shares]:
    """A vineyard, each pistillate block with one source as its neighbour, and the true cover by block and season."""
    random = np.random.default_rng(seed)
    truth = truth_of(random)
    temperatures = weather("2010-01-01", "2022-12-31", seed=seed)
    heats = accumulate_seasons(temperatures, RULE, SEASONS, LATITUDE)
    effects = season_effects(random, truth, len(PAST))
    days = {
        season: true_days(heats[season], np.maximum.accumulate(block_heat(random, truth, effect), axis=1))
        for season, effect in zip(PAST, effects, strict=True)
    }
    seen = [
        each
        for season in PAST
        for each in looks(days[season], heats[season], season, int(random.integers(LOOKED_EVERY)))
    ]
    blocks = tuple(
        Block(key, key, 0.0, 0.0, neighbours=(KEYS[place - SOURCES],) if place >= SOURCES else ())
        for place, key in enumerate(KEYS)
    )
    cultivars = {
        key: replace(KINDS["early" if place < SOURCES else "dew"], key=key, name=key)
        for place, key in enumerate(KEYS)
    }
    shares = {
        KEYS[place]: {season: true_share(days[season], place) for season in PAST}
        for place in range(SOURCES, len(KEYS))
    }
    return Site("here", LATITUDE, temperatures, logged(seen)), Planting(blocks, cultivars), shares


def true_share(days: FloatArray, place: int) -> float:
    """Of a block by its source, on the true days; shape (cultivar, stage)."""
    opened = open_anther_days(days[place - SOURCES][np.newaxis], pollen_days=2)
    first, last = (each[np.newaxis] for each in opened)
    return float(cover(days[place][np.newaxis], first, last, receptive_days=3).covered[0])


def test_own_dates_bring_past_cover_near_to_the_truth(monkeypatch: pytest.MonkeyPatch) -> None:
    vineyards = [simulated(seed) for seed in range(VINEYARDS)]
    fits = [fit_thresholds([site], stages=BLOOM_STAGES, rule=RULE) for site, _, _ in vineyards]

    def by_season() -> float:
        """Correlation of told and true shares, each as it departs from its block's mean."""
        told, true = [], []
        for (site, planting, shares), fit in zip(vineyards, fits, strict=True):
            for block in checking.planting_check(planting, fit, site).blocks:
                found = {each.season: each.share_of_bloom_covered for each in block.seasons}
                own = np.array([[found[season], shares[block.block][season]] for season in PAST])
                departs = own - own.mean(axis=0)
                told += departs[:, 0].tolist()
                true += departs[:, 1].tolist()
        return float(np.corrcoef(told, true)[0, 1])

    with_own = by_season()
    monkeypatch.setattr(
        checking,
        "past_blooms",
        lambda fit, site, cultivars, *_, draws: past_blooms(fit, site, cultivars, draws=draws),
    )
    by_cultivar = by_season()
    assert with_own > 0.9
    assert by_cultivar < with_own - 0.2
