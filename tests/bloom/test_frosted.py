"""A block whose shoots froze: it blooms later and longer, says so, and teaches nothing about the others."""

from __future__ import annotations

import datetime as dt
import itertools

import numpy as np
import pytest

from models.bloom.caps_off import cumulative_share
from models.bloom.forecast import Forecast, forecast
from models.bloom.frost_delay import MOST_DAYS_LATER, frost_delay
from models.bloom.frosted_bloom import counted_on, flowers_left, frosted_bloom, mixed_bloom
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
    fit: Fit,
    *seen: StageInterval,
    frosted: tuple[str, ...] = (),
    share_killed: float | None = None,
    as_of: dt.date = AS_OF,
) -> Forecast:
    marks = tuple(FrostedBlock(block, 2022, share_killed=share_killed) for block in frosted)
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


def test_two_blooms_are_those_of_many_single_flowers() -> None:
    # brute force: each flower is drawn by itself, of a primary or a secondary shoot, and opens along its own curve
    random = np.random.default_rng(7)
    primary, secondary = np.array([[150.0, 154.0, 161.0]]), np.array([[155.0, 164.0, 173.0]])
    for killed, fruitful in ((0.2, 1.0), (0.5, 0.4), (0.9, 0.7)):
        flowers = 200_000
        shoots = random.random(flowers) < killed
        borne = np.where(shoots, random.random(flowers) < fruitful, True)
        days = np.arange(140, 180)
        uniform = random.random(flowers)
        opens = np.where(
            shoots,
            days[np.searchsorted(cumulative_share(days, start=155, full=164, end=173), uniform)],
            days[np.searchsorted(cumulative_share(days, start=150, full=154, end=161), uniform)],
        )[borne]
        found = mixed_bloom(primary, secondary, share_killed=killed, fruitfulness=np.array([fruitful]))[0]
        for share, reached in zip((0.1, 0.5, 0.95), found, strict=True):
            assert np.mean(opens <= reached) >= share - 0.005
            assert np.mean(opens <= reached - 1) < share + 0.005
        assert borne.mean() == pytest.approx(flowers_left(killed, fruitfulness=fruitful), abs=0.005)


def test_the_more_shoots_froze_the_later_each_draw_and_all_of_them_is_the_whole_delay() -> None:
    stages = ("budbreak", *BLOOM_STAGES, "fruit_set")
    days = np.array([[90.0, 150, 154, 161, 165]]).repeat(300, axis=0)
    days[:5, 3:] = np.nan  # the season ends before
    drawn = [
        frosted_bloom(days, stages, share_killed=share, random=np.random.default_rng(3))
        for share in (0.05, 0.3, 0.6, 0.95, 1.0)
    ]
    delay = frost_delay(stages, draws=300, random=np.random.default_rng(3))
    assert np.array_equal(drawn[-1], days + delay, equal_nan=True)
    for less, more in itertools.pairwise(drawn):
        assert np.all((more >= less) | np.isnan(more))
        assert np.all(np.diff(more[5:], axis=1) >= 0)
    assert np.nanmean(drawn[0][:, 2]) < np.nanmean(drawn[2][:, 2]) < np.nanmean(drawn[-1][:, 2])
    assert np.array_equal(drawn[1][5:, 4] - drawn[1][5:, 3], days[5:, 4] - days[5:, 3])
    # without all three bloom stages it cannot be told apart
    lacking = frosted_bloom(days[:, :2], stages[:2], share_killed=0.1, random=np.random.default_rng(3))
    assert np.array_equal(
        lacking, days[:, :2] + frost_delay(stages[:2], draws=300, random=np.random.default_rng(3))
    )


def test_pollen_is_counted_on_in_the_share_that_is_left_and_in_no_draw_more_when_more_froze() -> None:
    kept = [counted_on(share, draws=2000, random=np.random.default_rng(5)) for share in (0.1, 0.4, 0.75)]
    assert [each.mean() for each in kept] == [0.9, 0.6, 0.25]
    assert not np.any(kept[1] & ~kept[0])
    assert not np.any(kept[2] & ~kept[1])


def test_a_share_moves_the_windows_less_than_all_and_a_mark_without_one_is_as_before(fit: Fit) -> None:
    early = day("2022-05-01")
    usual, whole = foresee(fit, as_of=early), foresee(fit, frosted=("b1",), as_of=early)
    part = foresee(fit, frosted=("b1",), share_killed=0.3, as_of=early)
    told = foresee(fit, frosted=("b1",), share_killed=1.0, as_of=early)
    assert np.array_equal(days_of(told, "b1"), days_of(whole, "b1"))
    assert "pollen_day" not in whole.draws
    means = [days_of(made, "b1").mean(axis=0) for made in (usual, part, whole)]
    assert np.all(means[0] <= means[1])
    assert np.all(means[1] + 0.5 < means[2])
    assert means[1][2] > means[0][2] + 0.5
    assert part.blocks[0].share_killed == 0.3
    pollen, counted = part.draws["pollen_day"], part.draws["counted_on"]
    assert np.array_equal(pollen.sel(block="b1").values, days_of(usual, "b1"))
    assert counted.mean(dim="draw").values.tolist() == [0.7, 1.0]
