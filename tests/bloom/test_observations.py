"""From dates to intervals of heat, and what is set aside for a stated reason."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.bloom.observations import (
    NARROWEST_INTERVAL,
    heat_bounds,
    heat_intervals,
    in_stage_order,
)
from models.bloom.set_aside import BeforeHeat, DaysMissing, DaysUnknown, OutOfOrder, SetAside
from models.bloom.site import Site
from models.errors import MissingDays
from models.heat.accumulate import accumulate_seasons
from models.records import DailyTemperatures, GapRule, HeatRule, StageInterval, Unit, Visit
from tests.bloom.noted import logged
from tests.bloom.simulated import day

STAGES = ("bloom_start", "full_bloom", "bloom_end")
RULE = HeatRule()


def steady(first: str, last: str, mean_c: float = 20.0) -> DailyTemperatures:
    """Days that are all alike: 10 °C·day of heat on each."""
    dates = np.arange(np.datetime64(first, "D"), np.datetime64(last, "D") + 1)
    return DailyTemperatures(dates, np.full(dates.size, mean_c - 5), np.full(dates.size, mean_c + 5))


def without(temperatures: DailyTemperatures, first: str, last: str) -> DailyTemperatures:
    gone = (temperatures.dates >= np.datetime64(first)) & (temperatures.dates <= np.datetime64(last))
    return DailyTemperatures(
        temperatures.dates,
        np.where(gone, np.nan, temperatures.tmin_c),
        np.where(gone, np.nan, temperatures.tmax_c),
    )


def seen(block: str, stage: str, after: str | None, by: str | None, *, season: int = 2021) -> StageInterval:
    return StageInterval(
        season, "alder", block, stage, day(after) if after else None, day(by) if by else None
    )


def site(*looks: StageInterval, temperatures: DailyTemperatures | None = None) -> Site:
    return Site("here", 33.0, temperatures or steady("2020-01-01", "2021-12-31"), logged(looks))


def test_bounds_are_the_heat_through_the_end_of_both_looks() -> None:
    # 10 °C·day a day from 1 January on: 4 January is the fourth day, 10 January the tenth
    heat = accumulate_seasons(steady("2021-01-01", "2021-12-31"), RULE, [2021], 33.0)[2021]
    assert heat_bounds(seen("b", "full_bloom", "2021-01-04", "2021-01-10"), heat) == (40.0, 100.0)
    assert heat_bounds(seen("b", "full_bloom", None, "2021-01-10"), heat) == (-np.inf, 100.0)
    assert heat_bounds(seen("b", "full_bloom", "2021-01-04", None), heat) == (40.0, np.inf)
    assert heat_bounds(seen("b", "full_bloom", "2020-12-25", "2021-01-02"), heat) == (0.0, 20.0)


def test_two_looks_without_heat_between_them_still_bound_an_interval() -> None:
    heat = accumulate_seasons(steady("2021-01-01", "2021-12-31", mean_c=5.0), RULE, [2021], 33.0)[2021]
    assert heat_bounds(seen("b", "budbreak", "2021-03-01", "2021-03-04"), heat) == (0.0, NARROWEST_INTERVAL)


def test_one_row_a_block_and_season() -> None:
    looks = (
        seen("b2", "full_bloom", "2021-02-09", "2021-02-10"),
        seen("b1", "bloom_start", "2021-02-01", "2021-02-04"),
        seen("b1", "full_bloom", "2021-02-05", "2021-02-08"),
        seen("b1", "veraison", "2021-07-05", "2021-07-08"),
    )
    half_open = Visit(day("2020-02-05"), "alder", "b1", percent_open=30.0)
    noted = replace(site(*looks), visits=(half_open,))
    intervals, set_aside = heat_intervals([noted], stages=STAGES, rule=RULE)
    assert not set_aside
    assert intervals.seasons == (("here", 2020), ("here", 2021))
    assert intervals.units == tuple(Unit("block", name) for name in ("b1", "b1", "b2"))
    assert intervals.season_of.tolist() == [0, 1, 1]
    assert intervals.cultivars == ("alder",)
    nan = np.nan
    # 30 % of caps off: bloom has started, and neither half nor all of it is over
    assert_allclose(intervals.lower, [[-np.inf, 360, 360], [320, 360, nan], [nan, 400, nan]])
    assert_allclose(intervals.upper, [[360, np.inf, np.inf], [350, 390, nan], [nan, 410, nan]])
    assert_allclose(intervals.heat_a_day, [10, 10, 10])
    assert intervals.select(intervals.season_of == 1).units == intervals.units[1:]


def test_a_usual_days_heat_is_the_median_at_each_stage_and_borrowed_where_a_stage_has_none() -> None:
    warming = steady("2021-01-01", "2021-12-31")
    later = warming.dates >= np.datetime64("2021-02-01")
    temperatures = DailyTemperatures(warming.dates, warming.tmin_c + 4 * later, warming.tmax_c + 4 * later)
    looks = (
        seen("b1", "bloom_start", "2021-01-10", "2021-01-14"),
        seen("b1", "full_bloom", "2021-02-10", "2021-02-14"),
    )
    not_over = Visit(day("2021-02-20"), "alder", "b1", percent_open=80.0)
    noted = replace(site(*looks, temperatures=temperatures), visits=(not_over,))
    intervals, _ = heat_intervals([noted], stages=STAGES, rule=RULE)
    assert_allclose(intervals.heat_a_day, [10, 14, 12])


def test_of_two_stages_out_of_order_the_farther_from_the_other_blocks_is_set_aside() -> None:
    looks = (
        *(seen(f"b{n}", "bloom_start", f"2021-05-0{n}", f"2021-05-0{n + 1}") for n in (1, 2, 3)),
        *(seen(f"b{n}", "full_bloom", f"2021-05-0{n + 4}", f"2021-05-0{n + 5}") for n in (1, 2, 3)),
        seen("b9", "bloom_start", "2021-06-02", "2021-06-03"),  # a month late
        seen("b9", "full_bloom", "2021-05-07", "2021-05-08"),
    )
    kept, slips = in_stage_order(looks, STAGES)
    assert slips == [
        SetAside(
            2021,
            "b9",
            "bloom_start",
            OutOfOrder(day("2021-06-03"), True, "full_bloom", day("2021-05-08"), True),
        )
    ]
    assert len(kept) == 7
    early = (
        *looks[:6],
        seen("b9", "bloom_start", "2021-05-02", "2021-05-03"),
        seen("b9", "full_bloom", "2021-04-01", "2021-04-02"),
    )
    assert [slip.stage for slip in in_stage_order(early, STAGES)[1]] == ["full_bloom"]


def test_where_no_other_block_tells_both_stages_are_set_aside() -> None:
    looks = (
        seen("b1", "bloom_start", "2021-05-10", "2021-05-11"),
        seen("b1", "full_bloom", "2021-05-07", "2021-05-08"),
        seen("b1", "bloom_end", "2021-05-20", "2021-05-21"),
    )
    kept, slips = in_stage_order(looks, STAGES)
    assert [slip.stage for slip in slips] == ["bloom_start", "full_bloom"]
    assert [look.stage for look in kept] == ["bloom_end"]


def test_where_others_tell_of_one_of_the_two_stages_only_both_are_set_aside() -> None:
    looks = (
        seen("b1", "bloom_start", "2021-05-10", "2021-05-11"),
        seen("b1", "full_bloom", "2021-05-07", "2021-05-08"),
        seen("b2", "full_bloom", "2021-05-16", "2021-05-17"),
    )
    kept, slips = in_stage_order(looks, STAGES)
    assert [slip.stage for slip in slips] == ["bloom_start", "full_bloom"]
    assert [look.block for look in kept] == ["b2"]


def test_other_seasons_do_not_judge_a_slip() -> None:
    looks = (
        seen("b1", "bloom_start", "2021-05-10", "2021-05-11"),
        seen("b1", "full_bloom", "2021-05-07", "2021-05-08"),
        seen("b2", "bloom_start", "2020-05-10", "2020-05-11", season=2020),
        seen("b2", "full_bloom", "2020-05-17", "2020-05-18", season=2020),
    )
    kept, slips = in_stage_order(looks, STAGES)
    assert [slip.stage for slip in slips] == ["bloom_start", "full_bloom"]
    assert [look.season for look in kept] == [2020, 2020]


def test_a_not_yet_that_contradicts_a_later_stage_is_out_of_order() -> None:
    looks = (
        seen("b1", "bloom_start", "2021-05-10", None),
        seen("b1", "full_bloom", "2021-05-07", "2021-05-08"),
        seen("b2", "bloom_start", "2021-05-02", "2021-05-03"),
        seen("b2", "full_bloom", "2021-05-06", "2021-05-07"),
    )
    kept, slips = in_stage_order(looks, STAGES)
    assert [slip.why for slip in slips] == [
        OutOfOrder(day("2021-05-10"), False, "full_bloom", day("2021-05-08"), True)
    ]
    assert len(kept) == 3


def test_one_visit_cannot_say_not_yet_of_a_stage_and_already_of_a_later_one() -> None:
    looks = (
        seen("b1", "bloom_start", "2021-05-08", "2021-05-10"),
        seen("b1", "full_bloom", "2021-05-07", "2021-05-08"),
    )
    kept, slips = in_stage_order(looks, STAGES)
    assert not kept
    assert len(slips) == 2


def test_stages_seen_on_one_visit_are_in_order() -> None:
    looks = (
        seen("b1", "bloom_start", "2021-05-01", "2021-05-08"),
        seen("b1", "full_bloom", "2021-05-01", "2021-05-08"),
    )
    assert in_stage_order(looks, STAGES) == (list(looks), [])


@pytest.mark.parametrize(("last_missing", "set_aside"), [("2021-02-06", 0), ("2021-02-07", 1)])
def test_a_season_with_more_than_one_day_in_twenty_missing_is_set_aside(
    last_missing: str, set_aside: int
) -> None:
    # 1 January to 30 April has 120 days: 6 missing are 5 %, 7 are more. Other years' means fill them.
    temperatures = without(steady("2020-01-01", "2021-12-31"), "2021-02-01", last_missing)
    looks = site(seen("b1", "full_bloom", "2021-04-29", "2021-04-30"), temperatures=temperatures)
    intervals, named = heat_intervals([looks], stages=STAGES, rule=RULE, gap_rule="fill_normal")
    assert len(intervals.units) == 1 - set_aside
    assert len(named) == set_aside
    if set_aside:
        assert named[0].why == DaysMissing(7, day("2021-01-01"), day("2021-04-30"))


@pytest.mark.parametrize(("first_day", "usable"), [("2021-01-01", False), ("2020-01-01", True)])
@pytest.mark.parametrize("gap_rule", ["fill_short", "fill_normal"])
def test_a_longer_gap_is_filled_by_other_years_or_sets_what_comes_after_it_aside(
    gap_rule: GapRule, first_day: str, usable: bool
) -> None:
    temperatures = without(steady(first_day, "2021-12-31"), "2021-02-01", "2021-02-04")
    looks = site(
        seen("b1", "bloom_start", "2021-01-29", "2021-01-30"),
        seen("b1", "full_bloom", "2021-04-29", "2021-04-30"),
        temperatures=temperatures,
    )
    intervals, named = heat_intervals([looks], stages=STAGES, rule=RULE, gap_rule=gap_rule)
    assert intervals.upper[0, 0] == 300.0
    assert [slip.stage for slip in named] == ([] if usable else ["full_bloom"])
    if usable:
        assert intervals.upper[0, 1] == pytest.approx(1200.0)
    else:
        assert named[0].why == DaysUnknown(day("2021-04-30"))


def test_a_short_gap_is_interpolated() -> None:
    temperatures = without(steady("2020-01-01", "2021-12-31"), "2021-02-01", "2021-02-03")
    looks = site(seen("b1", "full_bloom", "2021-04-29", "2021-04-30"), temperatures=temperatures)
    intervals, named = heat_intervals([looks], stages=STAGES, rule=RULE)
    assert not named
    assert intervals.upper[0, 1] == pytest.approx(1200.0)
    with pytest.raises(MissingDays):
        heat_intervals([looks], stages=STAGES, rule=RULE, gap_rule="refuse")


def test_days_outside_the_record_are_missing() -> None:
    looks = site(
        seen("b1", "full_bloom", "2021-04-29", "2021-04-30"),
        seen("b1", "full_bloom", "2022-04-29", "2022-04-30", season=2022),
        temperatures=steady("2021-01-01", "2022-03-31"),
    )
    intervals, named = heat_intervals([looks], stages=STAGES, rule=RULE)
    assert [season for _, season in intervals.seasons] == [2021]
    assert [slip.why for slip in named] == [DaysMissing(30, day("2022-01-01"), day("2022-04-30"))]


def test_a_date_before_the_sum_of_heat_starts_is_set_aside() -> None:
    looks = site(
        seen("b1", "budbreak", "2021-02-27", "2021-02-28"),
        seen("b1", "full_bloom", "2021-04-29", "2021-04-30"),
    )
    intervals, named = heat_intervals(
        [looks], stages=("budbreak", "full_bloom"), rule=HeatRule(accumulate_from="03-01")
    )
    assert_allclose(intervals.lower, [[np.nan, 600]])
    assert [(slip.stage, slip.why) for slip in named] == [("budbreak", BeforeHeat(day("2021-03-01")))]


def test_a_whole_cultivar_is_a_unit_of_its_own() -> None:
    whole = StageInterval(2021, "alder", None, "full_bloom", day("2021-04-29"), day("2021-04-30"))
    intervals, _ = heat_intervals([site(whole)], stages=STAGES, rule=RULE)
    assert intervals.units == (Unit("cultivar", "alder"),)


def test_two_sites_keep_their_seasons_apart() -> None:
    look = seen("b1", "full_bloom", "2021-04-29", "2021-04-30")
    cool = Site("there", 33.0, steady("2021-01-01", "2021-12-31", mean_c=15.0), logged([look]))
    intervals, _ = heat_intervals([site(look), cool], stages=STAGES, rule=RULE)
    assert intervals.seasons == (("here", 2021), ("there", 2021))
    assert_allclose(intervals.upper[:, 1], [1200, 600])


def test_southern_seasons_take_their_heat_from_july_on() -> None:
    look = seen("b1", "full_bloom", "2020-11-29", "2020-11-30")
    south = Site("south", -34.0, steady("2020-01-01", "2021-12-31"), logged([look]))
    intervals, _ = heat_intervals([south], stages=STAGES, rule=RULE)
    days = (dt.date(2020, 11, 30) - dt.date(2020, 7, 1)).days + 1
    assert intervals.upper[0, 1] == 10.0 * days


def test_excluded_seasons_are_left_out() -> None:
    looks = site(
        seen("b1", "full_bloom", "2021-04-29", "2021-04-30"),
        seen("b1", "full_bloom", "2020-04-29", "2020-04-30", season=2020),
    )
    intervals, named = heat_intervals([looks.without([2020])], stages=STAGES, rule=RULE)
    assert intervals.seasons == (("here", 2021),)
    assert not named


def test_a_block_and_a_cultivar_of_one_name_are_two_units() -> None:
    looks = (
        seen("alder", "full_bloom", "2021-05-07", "2021-05-08"),  # a block of cultivar alder, by its name
        StageInterval(2021, "alder", None, "bloom_start", day("2021-05-09"), day("2021-05-10")),
    )
    kept, slips = in_stage_order(looks, STAGES)
    assert (len(kept), slips) == (2, [])
    intervals, _ = heat_intervals([site(*looks)], stages=STAGES, rule=RULE)
    assert intervals.units == (Unit("block", "alder"), Unit("cultivar", "alder"))
