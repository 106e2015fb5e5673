"""Intervals hold what they say: seasons simulated from the model, forecast with their weather known."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pytest

from models.bloom.forecast import Forecast, forecast
from models.bloom.site import Site
from models.bloom.thresholds import Fit, fit_intervals
from models.heat.accumulate import accumulate_seasons
from models.records import Block, HeatRule, StageInterval
from models.units import FloatArray
from tests.bloom.simulated import block_heat, draw_truth, season_effects, simulated_intervals, weather

pytestmark = pytest.mark.slow

# One record of forty seasons misjudges the spread between seasons by an eighth or so, which one fit would carry
# into all of its forecasts: so many fits, and few new seasons of each.
FITS, SEASONS_A_FIT = 20, 15
CULTIVARS = 8
RULE = HeatRule()
RECORD = weather("2029-01-01", "2030-12-31", seed=7, noise_c=1.0)
HEAT = accumulate_seasons(RECORD, RULE, [2030], 33.0)[2030]
AFTER_ALL = dt.date(2030, 12, 31)
BLOCKS = tuple(
    Block(f"block-{number:02d}", f"cultivar-{number:02d}", 0.0, 0.0) for number in range(CULTIVARS)
)


@dataclass(frozen=True, eq=False)
class Held:
    """Share of true dates inside the 80 % intervals, season by season, and the intervals' mean length. [day]"""

    share: FloatArray
    days: float


def held(*, see_the_earliest: bool) -> Held:
    """Fit records of forty seasons looked at every other day, and forecast new seasons of another place.

    The earliest block may be seen at bloom start; the others are judged in either case.
    """
    shares, lengths = [], []
    for number in range(FITS):
        random = np.random.default_rng([20260301, number])
        truth = draw_truth(random, cultivars=CULTIVARS, stages=2, tail_degrees=4.0, drift_share=0.3)
        fit = fit_intervals(simulated_intervals(random, truth, seasons=40, days_between_visits=2), rule=RULE)
        earliest = int(np.argmin(fit.thresholds.mean[:, 0]))
        others = np.arange(CULTIVARS) != earliest
        for _ in range(SEASONS_A_FIT):
            (effect,) = season_effects(random, truth, 1)
            heat = np.maximum.accumulate(block_heat(random, truth, effect), axis=1)
            days = np.searchsorted(HEAT.accumulated, heat)
            looks = (_look(BLOCKS[earliest], days[earliest, 0]),) if see_the_earliest else ()
            found = forecast(
                fit, Site("elsewhere", 33.0, RECORD), BLOCKS, as_of=AFTER_ALL, told=looks, draws=300
            )
            low, high = _intervals(found, fit)
            shares.append(np.mean(((low <= days) & (days <= high))[others]))
            lengths.append(np.mean((high - low)[others]))
    return Held(np.array(shares), float(np.mean(lengths)))


def _look(block: Block, day: int) -> StageInterval:
    by = HEAT.window.date_at(int(day))
    return StageInterval(2030, block.cultivar, block.key, "bloom_start", by - dt.timedelta(days=2), by)


def _intervals(found: Forecast, fit: Fit) -> tuple[FloatArray, FloatArray]:
    """Low and high day of every block and stage; shape (block, stage)."""
    ends = np.empty((2, CULTIVARS, len(fit.stages)))
    for place, block in enumerate(found.blocks):
        for column, stage in enumerate(fit.stages):
            said = block.stages[stage]
            assert said.low is not None
            assert said.high is not None
            ends[:, place, column] = HEAT.window.day_index(said.low), HEAT.window.day_index(said.high)
    return ends[0], ends[1]


@pytest.fixture(scope="module")
def unseen() -> Held:
    return held(see_the_earliest=False)


@pytest.fixture(scope="module")
def one_seen() -> Held:
    return held(see_the_earliest=True)


def test_intervals_hold_their_share_of_new_seasons(unseen: Held) -> None:
    assert 0.77 <= unseen.share.mean() <= 0.83


def test_one_early_block_narrows_the_others_intervals_and_they_still_hold_their_share(
    unseen: Held, one_seen: Held
) -> None:
    assert 0.77 <= one_seen.share.mean() <= 0.83
    assert one_seen.days < 0.85 * unseen.days
