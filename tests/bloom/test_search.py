"""The choice of how heat is counted: which rules are tried, which are compared, and which one is taken."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from models.bloom.observations import HeatIntervals
from models.bloom.search import TRADE_DEFAULT, Prepared, Search, choose, prepare
from models.bloom.site import Site
from models.errors import NotEnoughData
from models.records import HeatRule, StageInterval, Unit
from models.units import FloatArray
from tests.bloom.noted import logged
from tests.bloom.simulated import weather

# From near the trade default to far from it.
NEAR = TRADE_DEFAULT
MIDDLE = HeatRule("single_sine", 10.0, None, "none", None)
FAR = HeatRule("single_sine", 4.0, None, "none", "02-01")
CULTIVARS, SEASONS, WIDTH = 4, 20, 20.0


def heat_of(noise: float, *, seed: int) -> FloatArray:
    """Heat at one stage under a rule that leaves this much of the seasons' own; (cultivar, season). [°C·day]"""
    random = np.random.default_rng(seed)
    thresholds = 600 + 50 * random.standard_normal((CULTIVARS, 1))
    return np.asarray(
        thresholds + noise * (random.standard_normal(SEASONS) + random.standard_normal((CULTIVARS, SEASONS)))
    )


def candidate(
    rule: HeatRule, heat: FloatArray, *, width: float | FloatArray = WIDTH, seasons: range = range(SEASONS)
) -> Prepared:
    """A rule under which these blocks and seasons have heat, each known to within a width."""
    cultivar_of, season_of = (
        axis.reshape(-1) for axis in np.meshgrid(np.arange(CULTIVARS), np.array(seasons), indexing="ij")
    )
    middle = heat[cultivar_of, season_of][:, None]
    wide = np.broadcast_to(width, heat.shape)[cultivar_of, season_of][:, None]
    intervals = HeatIntervals(
        stages=("full_bloom",),
        cultivars=tuple(f"cultivar-{number}" for number in range(CULTIVARS)),
        seasons=tuple(("here", 2000 + number) for number in range(SEASONS)),
        sites=("here",) * cultivar_of.size,
        units=tuple(Unit("block", f"block-{number}") for number in cultivar_of),
        cultivar_of=cultivar_of,
        season_of=season_of,
        lower=middle - wide / 2,
        upper=middle + wide / 2,
        heat_a_day=np.full(1, 1.0),  # so little that the spreads assumed before the data speak are nothing
    )
    return Prepared(rule=rule, intervals=intervals.relabelled(), start=None)


def behind(found: Search) -> dict[HeatRule, float]:
    return {one.rule: one.behind for one in found.candidates}


def test_the_rule_that_foresees_left_out_seasons_best_is_taken() -> None:
    # Under the far rule seasons and blocks scatter by 10 °C·day, under the others by 30: log 3 in log probability.
    others = [candidate(rule, heat_of(30.0, seed=1), width=1.0) for rule in (NEAR, MIDDLE)]
    found = choose([*others, candidate(FAR, heat_of(10.0, seed=1), width=1.0)])
    assert found.rule == found.candidates[0].rule == FAR
    scores = [one.score for one in found.candidates]
    assert scores == sorted(scores, reverse=True)
    assert behind(found)[FAR] == 0.0
    assert behind(found)[NEAR] == pytest.approx(np.log(3), abs=0.1)


def test_of_rules_that_do_alike_the_one_nearest_to_the_trade_default_is_taken() -> None:
    heat = heat_of(20.0, seed=2)
    found = choose([candidate(rule, heat) for rule in (FAR, MIDDLE, NEAR)])
    assert list(behind(found).values()) == [0.0, 0.0, 0.0]
    assert found.rule == NEAR
    assert choose([candidate(rule, heat) for rule in (FAR, MIDDLE)]).rule == MIDDLE


@pytest.mark.parametrize(("worse", "taken"), [(1.01, NEAR), (1.10, FAR)])
def test_two_hundredths_of_log_score_decide_nothing(worse: float, taken: HeatRule) -> None:
    # All heat 1 % or 10 % wider, and the looks with it: log probability falls by about log 1.01 or log 1.10, once
    # the looks are narrow against the spread.
    heat = heat_of(20.0, seed=3)
    wider = 600 + worse * (heat - 600)
    found = choose([candidate(FAR, heat, width=1.0), candidate(NEAR, wider, width=1.0)])
    assert behind(found)[NEAR] == pytest.approx(np.log(worse), abs=0.01)
    assert found.rule == taken


def test_rules_are_compared_on_the_observations_that_all_of_them_have() -> None:
    # The far rule is the better one wherever both have heat. It alone has heat at the last two seasons, of which
    # the looks are so narrow that any rule would score low there: log(1/50) for a tenth of them.
    width = np.full((CULTIVARS, SEASONS), WIDTH)
    width[:, -2:] = WIDTH / 50
    far = candidate(FAR, heat_of(15.0, seed=4), width=width)
    near = candidate(NEAR, heat_of(20.0, seed=4), seasons=range(SEASONS - 2))
    found = choose([near, far])
    assert found.rule == FAR
    assert 0.05 < behind(found)[NEAR] < 0.5
    alike = choose([near, candidate(FAR, heat_of(15.0, seed=4), seasons=range(SEASONS - 2))])
    assert behind(alike)[NEAR] == pytest.approx(behind(found)[NEAR], abs=0.1)


def test_a_rule_under_which_most_observations_have_no_heat_is_not_compared() -> None:
    # On a third of the seasons the far rule would look best of all.
    few = candidate(FAR, heat_of(2.0, seed=5), seasons=range(SEASONS // 3))
    near, middle = candidate(NEAR, heat_of(30.0, seed=5)), candidate(MIDDLE, heat_of(15.0, seed=5))
    found = choose([near, few, middle])
    assert set(behind(found)) == {NEAR, MIDDLE}
    assert found.rule == MIDDLE
    assert behind(found)[NEAR] == behind(choose([near, middle]))[NEAR]


def test_below_eight_seasons_the_trade_default_stands() -> None:
    candidates = [candidate(NEAR, heat_of(30.0, seed=7)), candidate(FAR, heat_of(10.0, seed=7))]
    few = choose(candidates, exclude_seasons=range(2007, 2020))
    assert (few.rule, few.candidates) == (TRADE_DEFAULT, ())
    assert choose(candidates, exclude_seasons=range(2008, 2020)).rule == FAR
    with pytest.raises(NotEnoughData):
        choose([])


def bloom_on(month: int, day: int, *, latitude: float = 33.0, south: bool = False) -> Site:
    """Ten seasons in bloom on the same day of the year."""
    first = 2001
    seen = []
    for season in range(first, first + 10):
        by = dt.date(season - (south and month >= 7), month, day)
        seen.append(StageInterval(season, "a", None, "bloom_start", by - dt.timedelta(days=2), by))
    return Site("here", latitude, weather("1999-01-01", "2011-12-31", south=south), logged(seen))


@pytest.mark.parametrize(
    ("month", "day", "starts"),
    [
        # A fortnight before 21 March is 7 March; before 20 January, in the year before.
        (3, 21, {None, "02-01", "02-15", "03-01"}),
        (4, 30, {None, "02-01", "02-15", "03-01", "03-15", "04-01"}),
        (1, 20, {None}),
    ],
)
def test_no_sum_starts_within_a_fortnight_of_the_earliest_bloom(
    month: int, day: int, starts: set[str | None]
) -> None:
    assert {
        one.rule.accumulate_from for one in prepare([bloom_on(month, day)], stages=["bloom_start"])
    } == starts


def test_a_southern_sum_starts_in_its_own_spring() -> None:
    site = bloom_on(10, 20, latitude=-34.0, south=True)
    found = {one.rule.accumulate_from for one in prepare([site], stages=["bloom_start"])}
    assert found == {None, "08-01", "08-15", "09-01", "09-15", "10-01"}
    both = [site, bloom_on(4, 20)]  # one month and day is spring on one side of the equator only
    assert {one.rule.accumulate_from for one in prepare(both, stages=["bloom_start"])} == {None}


def test_rules_are_held_against_bloom_where_budbreak_was_seen_too() -> None:
    site = bloom_on(4, 30)
    early = dt.timedelta(days=45)
    budbreak = tuple(
        replace(seen, stage="budbreak", after=seen.after - early, by=seen.by - early)
        for seen in site.seen
        if seen.after and seen.by
    )
    both = replace(site, log=(*site.log, *logged(budbreak)))
    stages = ["budbreak", "bloom_start"]
    assert {one.intervals.stages for one in prepare([both], stages=stages)} == {("bloom_start",)}
    # a fortnight before budbreak on 16 March is 2 March, before bloom 16 April
    starts = {one.rule.accumulate_from for one in prepare([both], stages=stages)}
    assert "04-01" in starts
    only = replace(site, log=logged(budbreak))
    assert "03-15" not in {one.rule.accumulate_from for one in prepare([only], stages=stages[:1])}
