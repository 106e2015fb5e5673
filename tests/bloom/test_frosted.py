"""A block whose shoots froze: it blooms later and longer, says so, and teaches nothing about the others."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from models.bloom.forecast import Forecast, forecast
from models.bloom.frost_delay import MOST_DAYS_LATER, frost_delay
from models.bloom.site import Site
from models.bloom.thresholds import Fit, fit_thresholds
from models.records import Block, FrostedBlock, HeatRule, StageInterval
from models.stages import BLOOM_STAGES
from tests.bloom.noted import logged
from tests.bloom.simulated import day, weather

WEATHER = weather("2012-01-01", "2022-12-31")
BLOCKS = (Block("b1", "early", 0, 0), Block("b2", "late", 5, 0))
FIRST = {"early": dt.date(2012, 5, 10), "late": dt.date(2012, 5, 16)}
AS_OF = day("2022-05-12")


def looks(season: int, *, later: int = 0) -> tuple[StageInterval, ...]:
    """Both blocks at all three stages, five days apart."""
    seen = []
    for block in BLOCKS:
        for number, stage in enumerate(BLOOM_STAGES):
            by = FIRST[block.cultivar].replace(year=season) + dt.timedelta(
                days=5 * number + later + season % 3
            )
            seen.append(
                StageInterval(season, block.cultivar, block.key, stage, by - dt.timedelta(days=2), by)
            )
    return tuple(seen)


PAST = tuple(seen for season in range(2012, 2022) for seen in looks(season))


@pytest.fixture(scope="module")
def fit() -> Fit:
    return fit_thresholds([Site("here", 31.0, WEATHER, logged(PAST))], stages=BLOOM_STAGES, rule=HeatRule())


def foresee(
    fit: Fit, *seen: StageInterval, frosted: tuple[str, ...] = (), as_of: dt.date = AS_OF
) -> Forecast:
    marks = tuple(FrostedBlock(block, 2022) for block in frosted)
    site = Site("here", 31.0, WEATHER, logged(PAST + seen), frosted=marks)
    return forecast(fit, site, BLOCKS, as_of=as_of, draws=800)


def days_of(made: Forecast, block: str) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return np.asarray(made.draws["day"].sel(block=block).values)


def test_its_windows_are_later_wider_and_known_as_frosted(fit: Fit) -> None:
    usual, made = (
        foresee(fit, as_of=day("2022-05-01")),
        foresee(fit, frosted=("b1",), as_of=day("2022-05-01")),
    )
    later = days_of(made, "b1") - days_of(usual, "b1")
    # sorted thirds of 0 to 14 days: means 3.5, 7 and 10.5
    assert np.mean(later, axis=0) == pytest.approx([3.5, 7.0, 10.5], abs=0.5)
    assert later.min() == 0
    assert later.max() == MOST_DAYS_LATER
    assert np.all(np.diff(days_of(made, "b1"), axis=1) >= 0)
    assert np.array_equal(days_of(made, "b2"), days_of(usual, "b2"))
    first, second = made.blocks
    assert (first.frosted, second.frosted) == (True, False)
    was, now = usual.blocks[0].stages["bloom_end"], first.stages["bloom_end"]
    assert was.low and was.high and now.low and now.high  # noqa: PT018
    assert now.high - now.low > was.high - was.low


def test_what_is_seen_there_teaches_nothing_about_others(fit: Fit) -> None:
    seen = StageInterval(2022, "early", "b1", "bloom_start", day("2022-05-01"), day("2022-05-03"))
    untaught = days_of(foresee(fit), "b2").mean()
    assert days_of(foresee(fit, seen), "b2").mean() < untaught - 1
    assert days_of(foresee(fit, seen, frosted=("b1",)), "b2").mean() == pytest.approx(untaught, abs=0.3)


def test_a_look_at_a_whole_cultivar_teaches_though_a_frosted_block_bears_its_name(fit: Fit) -> None:
    blocks = (Block("early", "late", 9, 0), *BLOCKS)
    whole = StageInterval(2022, "early", None, "bloom_start", day("2022-05-01"), day("2022-05-03"))

    def late(*frosted: FrostedBlock) -> float:
        site = Site("here", 31.0, WEATHER, logged((*PAST, whole)), frosted=frosted)
        return float(days_of(forecast(fit, site, blocks, as_of=AS_OF, draws=800), "b2").mean())

    assert late(FrostedBlock("early", 2022)) == pytest.approx(late(), abs=0.3)
    assert late() < days_of(foresee(fit), "b2").mean() - 1


def test_a_date_that_was_seen_there_stands(fit: Fit) -> None:
    seen = StageInterval(2022, "early", "b1", "bloom_start", day("2022-05-10"), day("2022-05-12"))
    block = foresee(fit, seen, frosted=("b1",)).blocks[0]
    start = block.stages["bloom_start"]
    assert start.status == "observed"
    assert {start.low, start.high} <= {day("2022-05-11"), day("2022-05-12")}
    assert block.frosted


def test_bloom_that_was_seen_to_begin_is_delayed_no_more(fit: Fit) -> None:
    # Delayed, full bloom would come 7 days later in the mean and bloom end 10.5, as above.
    seen = StageInterval(2022, "early", "b1", "bloom_start", day("2022-05-10"), day("2022-05-12"))
    usual, marked = foresee(fit, seen), foresee(fit, seen, frosted=("b1",))
    assert days_of(marked, "b1").mean(axis=0) == pytest.approx(days_of(usual, "b1").mean(axis=0), abs=1.0)
    # a look at all blocks of the cultivar does not say that this one has begun
    whole = StageInterval(2022, "early", None, "bloom_start", day("2022-05-10"), day("2022-05-12"))
    later = days_of(foresee(fit, whole, frosted=("b1",)), "b1") - days_of(foresee(fit, whole), "b1")
    assert later[:, 1:].mean(axis=0) == pytest.approx([7.0, 10.5], abs=1.5)


def test_stages_before_bloom_are_not_delayed_and_those_after_it_as_its_end() -> None:
    delay = frost_delay(("budbreak", *BLOOM_STAGES, "fruit_set"), draws=300, random=np.random.default_rng(1))
    assert delay.shape == (300, 5)
    assert not delay[:, 0].any()
    assert np.array_equal(delay[:, 4], delay[:, 3])
    # each stage by its name: a fit that lacks some delays the others as before
    few = frost_delay(("full_bloom", "fruit_set"), draws=300, random=np.random.default_rng(1))
    assert np.array_equal(few, delay[:, [2, 4]])
    assert np.all(np.diff(delay, axis=1) >= 0)
