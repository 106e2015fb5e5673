"""Forecast dates: what is seen, what is known by a day, and what is said of it."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from models.bloom.forecast import Forecast, StageForecast, forecast
from models.bloom.site import Site
from models.bloom.thresholds import Fit, fit_thresholds
from models.errors import BadInput, NotEnoughData
from models.heat.accumulate import accumulate_seasons
from models.records import Block, DailyTemperatures, HeatRule, StageInterval
from models.units import FloatArray
from service.words.cautions import caution_texts
from tests.bloom.noted import logged
from tests.bloom.simulated import block_heat, day, draw_truth, season_effects, weather

STAGES = ("bloom_start", "full_bloom", "bloom_end")
CULTIVARS = ("alder", "birch", "cedar")
BLOCKS = tuple(Block(f"{cultivar}-block", cultivar, 0.0, 0.0) for cultivar in CULTIVARS)
RULE = HeatRule()
RECORD = weather("2005-01-01", "2021-12-31", seed=3)


def past_looks(
    temperatures: DailyTemperatures, first_season: int, latitude: float, *, start: float = 330.0
) -> tuple[StageInterval, ...]:
    """Fourteen seasons of three cultivars, looked at every day."""
    random = np.random.default_rng(12)
    truth = draw_truth(
        random, cultivars=3, stages=3, between_seasons=25, within=12, first=start, stage_apart=50
    )
    seasons = range(first_season, first_season + 14)
    heats = accumulate_seasons(temperatures, RULE, seasons, latitude)
    looks = []
    for season, effect in zip(seasons, season_effects(random, truth, 14), strict=True):
        heat = heats[season]
        for cultivar, reached in zip(CULTIVARS, block_heat(random, truth, effect), strict=True):
            for stage, needed in zip(STAGES, reached, strict=True):
                by = heat.window.date_at(int(np.searchsorted(heat.accumulated, needed)))
                looks.append(
                    StageInterval(season, cultivar, f"{cultivar}-block", stage, by - dt.timedelta(days=1), by)
                )
    return tuple(looks)


LOOKS = past_looks(RECORD, 2005, 33.0)


@pytest.fixture(scope="module")
def fit() -> Fit:
    return fit_thresholds([Site("here", 33.0, RECORD, logged(LOOKS))], stages=STAGES, rule=RULE)


def look(
    cultivar: str, stage: str, after: str | None, by: str | None, *, season: int = 2020, whole: bool = False
) -> StageInterval:
    block = None if whole else f"{cultivar}-block"
    return StageInterval(
        season, cultivar, block, stage, day(after) if after else None, day(by) if by else None
    )


def ask(
    fit: Fit,
    as_of: str,
    *looks: StageInterval,
    temperatures: DailyTemperatures = RECORD,
    blocks: tuple[Block, ...] = BLOCKS,
    interval: float = 0.8,
    outlook: DailyTemperatures | None = None,
    season: int | None = None,
    draws: int = 400,
) -> Forecast:
    return forecast(
        fit,
        Site("here", 33.0, temperatures),
        blocks,
        as_of=day(as_of),
        interval=interval,
        outlook=outlook,
        season=season,
        told=looks,
        draws=draws,
    )


def days_of(found: Forecast, cultivar: str, stage: str) -> FloatArray:
    """The draws of one block's stage. [days since the season's start]"""
    return np.asarray(
        found.draws["day"].sel(block=f"{cultivar}-block", stage=stage).to_numpy(), dtype=np.float64
    )


def on(text: str) -> int:
    """Days since 1 January."""
    date = day(text)
    return (date - dt.date(date.year, 1, 1)).days


def stage_of(found: Forecast, cultivar: str, stage: str = "full_bloom") -> StageForecast:
    (block,) = [block for block in found.blocks if block.block == f"{cultivar}-block"]
    return block.stages[stage]


def dates_of(found: Forecast, cultivar: str, stage: str = "full_bloom") -> tuple[dt.date, dt.date, dt.date]:
    """Low, median and high of a stage that the season reaches."""
    said = stage_of(found, cultivar, stage)
    assert said.low is not None
    assert said.median is not None
    assert said.high is not None
    return said.low, said.median, said.high


def cut_before(temperatures: DailyTemperatures, date: str) -> DailyTemperatures:
    return temperatures.before(day(date))


def usual_day(fit: Fit, cultivar: str, stage: str) -> dt.date:
    """Around when the stage comes in 2020: far from it in tests that need that."""
    heat = accumulate_seasons(RECORD, RULE, [2020], 33.0)[2020]
    threshold = fit.thresholds.mean[fit.cultivars.index(cultivar), fit.stages.index(stage)]
    return heat.window.date_at(int(np.searchsorted(heat.accumulated, threshold)))


def test_a_forecast_lies_near_the_day_on_which_the_threshold_is_passed(fit: Fit) -> None:
    found = ask(fit, "2020-04-01")
    assert (found.season, found.as_of, found.interval) == (2020, day("2020-04-01"), 0.8)
    for cultivar in CULTIVARS:
        for stage in STAGES:
            said = stage_of(found, cultivar, stage)
            assert said.status == "expected"
            assert said.chance == 1.0
            low, median, high = dates_of(found, cultivar, stage)
            assert low < median < high
            # two weeks and more ahead the weather can move a date by several days
            assert abs((median - usual_day(fit, cultivar, stage)).days) <= 8
            assert 4 <= (high - low).days <= 20


def test_a_wider_interval_holds_a_narrower_one(fit: Fit) -> None:
    narrow, wide = (dates_of(ask(fit, "2020-04-01", interval=share), "birch") for share in (0.5, 0.95))
    assert wide[0] < narrow[0] <= narrow[1] == wide[1] <= narrow[2] < wide[2]
    found = ask(fit, "2020-04-01", draws=2000)
    days, (low, _, high) = days_of(found, "birch", "full_bloom"), dates_of(found, "birch")
    # whole days cut off a share of the draws to within half of what lies on one day
    assert np.mean(days < on(str(low))) == pytest.approx(0.1, abs=np.mean(days == on(str(low))) / 2 + 0.001)
    assert np.mean(days > on(str(high))) == pytest.approx(0.1, abs=np.mean(days == on(str(high))) / 2 + 0.001)


@pytest.mark.parametrize(
    "looks",
    [
        (),
        (look("birch", "full_bloom", "2020-04-20", "2020-04-27"),),
        (look("alder", "bloom_start", "2020-04-28", None), look("birch", "bloom_end", None, "2020-04-29")),
    ],
)
def test_stages_keep_their_order_in_every_draw(fit: Fit, looks: tuple[StageInterval, ...]) -> None:
    found = ask(fit, "2020-05-01", *looks, draws=2000)
    assert found.draws["day"].dims == ("draw", "block", "stage")
    assert np.all(found.draws["day"].diff("stage") >= 0)


def test_observed_stages_stay_within_their_interval(fit: Fit) -> None:
    seen = look("alder", "bloom_start", "2020-04-14", "2020-04-17")
    first = look("birch", "bloom_start", None, "2020-04-18")
    found = ask(fit, "2020-04-25", seen, first, draws=2000)
    assert stage_of(found, "alder", "bloom_start").status == "observed"
    days = days_of(found, "alder", "bloom_start")
    assert (days.min(), days.max()) == (on("2020-04-15"), on("2020-04-17"))
    assert days_of(found, "birch", "bloom_start").max() <= on("2020-04-18")
    assert stage_of(found, "alder", "full_bloom").status != "observed"


def test_a_look_on_the_day_itself_holds_in_every_draw(fit: Fit) -> None:
    seen = look("alder", "bloom_start", "2020-04-15", "2020-04-16")
    not_yet = look("birch", "bloom_start", "2020-04-16", None)
    found = ask(fit, "2020-04-16", seen, not_yet, draws=2000)
    assert np.all(days_of(found, "alder", "bloom_start") == on("2020-04-16"))
    assert np.all(days_of(found, "birch", "bloom_start") > on("2020-04-16"))
    lagging = ask(fit, "2020-04-16", seen, not_yet, temperatures=cut_before(RECORD, "2020-04-08"), draws=2000)
    assert np.all(days_of(lagging, "alder", "bloom_start") == on("2020-04-16"))


def test_a_look_between_two_days_without_heat_holds_in_every_draw(fit: Fit) -> None:
    cold = (RECORD.dates >= np.datetime64("2020-04-10")) & (RECORD.dates < np.datetime64("2020-04-15"))
    record = DailyTemperatures(
        RECORD.dates, np.where(cold, 0.0, RECORD.tmin_c), np.where(cold, 9.0, RECORD.tmax_c)
    )
    seen = look("alder", "bloom_start", "2020-04-11", "2020-04-13")
    days = days_of(ask(fit, "2020-04-25", seen, temperatures=record), "alder", "bloom_start")
    assert np.all((days > on("2020-04-11")) & (days <= on("2020-04-13")))


def test_not_yet_pushes_a_stage_past_the_look_and_the_others_later(fit: Fit) -> None:
    late = usual_day(fit, "alder", "bloom_start") + dt.timedelta(days=5)
    as_of = str(late + dt.timedelta(days=1))
    plain = ask(fit, as_of)
    not_yet = ask(fit, as_of, look("alder", "bloom_start", str(late), None))
    assert days_of(not_yet, "alder", "bloom_start").min() > on(str(late))
    for cultivar in ("birch", "cedar"):
        assert (
            days_of(not_yet, cultivar, "bloom_end").mean() > days_of(plain, cultivar, "bloom_end").mean() + 1
        )
    assert stage_of(not_yet, "alder", "bloom_start").status == "overdue"
    assert stage_of(plain, "alder", "bloom_start").status == "presumed"


def test_early_blooms_sharpen_the_others(fit: Fit) -> None:
    as_of = str(usual_day(fit, "alder", "bloom_start") + dt.timedelta(days=1))
    plain = ask(fit, as_of, draws=2000)
    seen = usual_day(fit, "alder", "bloom_start")
    known = ask(
        fit, as_of, look("alder", "bloom_start", str(seen - dt.timedelta(days=1)), str(seen)), draws=2000
    )
    for cultivar in ("birch", "cedar"):
        before, after = (
            np.diff(np.quantile(days_of(found, cultivar, "bloom_start"), [0.1, 0.9]))[0]
            for found in (plain, known)
        )
        assert after < 0.8 * before


def test_a_look_that_says_nothing_changes_no_interval(fit: Fit) -> None:
    # On 10 February nothing could have bloomed: "not yet" is no news. Seasons are made to differ so much, and so
    # little to last, that a season taken to be a normal one would show.
    spread = dataclasses.replace(fit.spread, between_seasons=4 * fit.spread.between_seasons, drift_share=0.05)
    wild = dataclasses.replace(fit, spread=spread)
    plain = ask(wild, "2020-03-20", draws=8000)
    looks = [look(cultivar, "bloom_start", "2020-02-10", None) for cultivar in CULTIVARS]
    told = ask(wild, "2020-03-20", *looks, draws=8000)
    for cultivar in CULTIVARS:
        before, after = (
            np.diff(np.quantile(heat_on_drawn_days(found, cultivar), [0.1, 0.9]))[0]
            for found in (plain, told)
        )
        assert after == pytest.approx(before, rel=0.06)


def heat_on_drawn_days(found: Forecast, cultivar: str) -> FloatArray:
    """Heat of each draw's trace on its day: a scale without the weather's own spread, and finer than days."""
    days = days_of(found, cultivar, "full_bloom").astype(np.int64)
    trace = np.searchsorted(found.traces.seasons, found.draws["trace_season"].to_numpy())
    return np.asarray(found.traces.accumulated[trace, days], dtype=np.float64)


def test_a_whole_cultivars_look_stands_for_its_blocks(fit: Fit) -> None:
    blocks = (*BLOCKS, Block("alder-two", "alder", 0.0, 0.0))
    seen = look("alder", "bloom_start", "2020-04-14", "2020-04-15", whole=True)
    found = ask(fit, "2020-04-25", seen, blocks=blocks)
    for block in ("alder-block", "alder-two"):
        assert np.all(found.draws["day"].sel(block=block, stage="bloom_start") == on("2020-04-15"))
    status = {said.block: said.stages["bloom_start"].status for said in found.blocks}
    assert status == {
        "alder-block": "observed",
        "alder-two": "observed",
        "birch-block": status["birch-block"],
        "cedar-block": status["cedar-block"],
    }
    assert status["birch-block"] != "observed"


def test_a_block_with_looks_of_its_own_is_not_called_observed_by_its_cultivars_log(fit: Fit) -> None:
    own = look("alder", "bloom_start", "2020-04-16", None)
    whole = look("alder", "bloom_start", "2020-04-14", "2020-04-15", whole=True)
    found = ask(fit, "2020-04-18", own, whole)
    assert np.all(days_of(found, "alder", "bloom_start") > on("2020-04-16"))
    assert stage_of(found, "alder", "bloom_start").status != "observed"


def test_the_same_question_has_the_same_answer_to_the_byte(fit: Fit) -> None:
    looks = (
        look("alder", "bloom_start", "2020-04-14", "2020-04-15"),
        look("birch", "bloom_start", "2020-04-17", None),
    )
    one, two, shuffled = (
        ask(fit, "2020-04-18", *looks),
        ask(fit, "2020-04-18", *looks),
        ask(fit, "2020-04-18", *looks[::-1]),
    )
    for other in (two, shuffled):
        assert one.draws["day"].to_numpy().tobytes() == other.draws["day"].to_numpy().tobytes()
        assert one.blocks == other.blocks
        assert one.cautions == other.cautions
    assert (
        one.draws["day"].to_numpy().tobytes()
        != ask(fit, "2020-04-19", *looks).draws["day"].to_numpy().tobytes()
    )


def test_nothing_later_leaks_in(fit: Fit) -> None:
    seen = look("alder", "bloom_start", "2020-04-14", "2020-04-15")
    later = (
        look("birch", "bloom_start", "2020-04-18", "2020-04-19"),
        look("cedar", "bloom_start", "2020-04-22", None),
        look("birch", "bloom_start", "2021-04-08", "2021-04-09", season=2021),
        look("birch", "bloom_start", "2019-04-08", "2019-04-09", season=2019),
    )
    then = ask(fit, "2020-04-18", seen, temperatures=cut_before(RECORD, "2020-04-18"))
    now = ask(fit, "2020-04-18", *later, seen)
    assert then.draws["day"].to_numpy().tobytes() == now.draws["day"].to_numpy().tobytes()
    assert then.draws["trace_season"].to_numpy().tobytes() == now.draws["trace_season"].to_numpy().tobytes()
    assert then.blocks == now.blocks
    assert then.cautions == now.cautions
    assert then.heat_to_date == now.heat_to_date


def test_a_look_dated_on_the_day_counts(fit: Fit) -> None:
    seen = look("alder", "bloom_start", "2020-04-17", "2020-04-18")
    assert stage_of(ask(fit, "2020-04-18", seen), "alder", "bloom_start").status == "observed"
    assert stage_of(ask(fit, "2020-04-17", seen), "alder", "bloom_start").status != "observed"


def test_a_warm_outlook_brings_bloom_forward(fit: Fit) -> None:
    dates = np.arange(np.datetime64("2020-04-01"), np.datetime64("2020-04-15"))
    warm = DailyTemperatures(dates, np.full(dates.size, 20.0), np.full(dates.size, 32.0))
    plain, told = ask(fit, "2020-04-01"), ask(fit, "2020-04-01", outlook=warm)
    assert told.traces.outlook_through == day("2020-04-14")
    for cultivar in CULTIVARS:
        assert (
            days_of(told, cultivar, "full_bloom").mean() < days_of(plain, cultivar, "full_bloom").mean() - 4
        )
    assert told.heat_to_date == plain.heat_to_date


def test_heat_to_date_is_that_of_the_days_before(fit: Fit) -> None:
    heat = accumulate_seasons(RECORD, RULE, [2020], 33.0)[2020]
    assert ask(fit, "2020-04-01").heat_to_date == pytest.approx(heat.accumulated[on("2020-03-31")], rel=1e-12)
    assert ask(fit, "2020-01-01").heat_to_date == 0.0


def test_a_stage_that_the_season_may_not_reach_is_unlikely(fit: Fit) -> None:
    mean = fit.thresholds.mean.copy()
    mean[0] += 10_000
    never = dataclasses.replace(fit, thresholds=dataclasses.replace(fit.thresholds, mean=mean))
    found = ask(never, "2020-04-01")
    said = stage_of(found, "alder")
    assert (said.status, said.median, said.low, said.high, said.chance) == ("unlikely", None, None, None, 0.0)
    assert np.all(np.isnan(days_of(found, "alder", "full_bloom")))
    assert stage_of(found, "birch").status == "expected"


def test_after_the_season_what_nobody_saw_is_presumed(fit: Fit) -> None:
    found = ask(fit, "2020-12-31")
    assert stage_of(found, "cedar", "bloom_end").status == "presumed"
    ended = ask(fit, "2021-02-01", season=2020)
    assert (ended.season, len(ended.traces.seasons)) == (2020, 1)
    assert abs((dates_of(ended, "cedar")[1] - usual_day(fit, "cedar", "full_bloom")).days) <= 3


def test_a_cultivar_without_history_has_no_forecast_and_the_rest_has(fit: Fit) -> None:
    blocks = (Block("dogwood-block", "dogwood", 0.0, 0.0), *BLOCKS)
    seen = look("dogwood", "bloom_start", "2020-04-14", "2020-04-15")
    found = ask(fit, "2020-04-18", seen, blocks=blocks)
    unknown, *known = found.blocks
    assert (unknown.basis, unknown.stages) == ("none", {})
    assert unknown.why_none == "cultivar_not_in_fit"
    assert np.all(np.isnan(days_of(found, "dogwood", "full_bloom")))
    assert known == list(ask(fit, "2020-04-18").blocks)
    assert {block.basis for block in known} == {"own"}


def test_a_cultivar_with_two_looks_leans_on_the_others() -> None:
    early = look("dogwood", "full_bloom", "2010-04-14", "2010-04-15", season=2010)
    fit = fit_thresholds([Site("here", 33.0, RECORD, logged((*LOOKS, early)))], stages=STAGES, rule=RULE)
    found = ask(fit, "2020-04-01", blocks=(*BLOCKS, Block("dogwood-block", "dogwood", 0.0, 0.0)))
    assert [block.basis for block in found.blocks] == ["own", "own", "own", "pooled"]
    assert days_of(found, "dogwood", "bloom_end").std() > 1.05 * days_of(found, "alder", "bloom_end").std()


def test_a_look_out_of_order_is_set_aside_and_told(fit: Fit) -> None:
    looks = (
        look("alder", "bloom_start", "2020-04-16", "2020-04-17"),
        look("birch", "bloom_start", "2020-04-16", "2020-04-17"),
        look("birch", "full_bloom", "2020-03-09", "2020-03-10"),
        look("alder", "full_bloom", "2020-04-20", "2020-04-21"),
    )
    found = ask(fit, "2020-04-25", *looks)
    assert [(slip.block, slip.stage) for slip in found.set_aside] == [("birch-block", "full_bloom")]
    assert said_in(found, "Set aside: birch-block, full_bloom on 2020-03-10")
    assert days_of(found, "birch", "full_bloom").min() >= on("2020-04-17")


def said_in(found: Forecast, words: str) -> bool:
    return any(words in text for text in caution_texts(found.cautions))


def test_cautions_name_what_the_forecast_rests_on(fit: Fit) -> None:
    plain = ask(fit, "2020-04-01")
    assert plain.cautions == ()
    lagging = ask(fit, "2020-04-01", temperatures=cut_before(RECORD, "2020-03-25"))
    assert said_in(lagging, "Temperatures end on 2020-03-24")
    not_begun = ask(fit, "2020-04-01", temperatures=cut_before(RECORD, "2020-01-01"))
    assert said_in(not_begun, "No temperatures of season 2020 before 2020-04-01")
    gone = (RECORD.dates >= np.datetime64("2020-02-10")) & (RECORD.dates <= np.datetime64("2020-02-16"))
    gappy = DailyTemperatures(
        RECORD.dates, np.where(gone, np.nan, RECORD.tmin_c), np.where(gone, np.nan, RECORD.tmax_c)
    )
    assert said_in(ask(fit, "2020-04-01", temperatures=gappy), "missing from 2020-02-10 to 2020-02-16")
    recent = RECORD.dates >= np.datetime64("2016-01-01")
    few = DailyTemperatures(RECORD.dates[recent], RECORD.tmin_c[recent], RECORD.tmax_c[recent])
    assert said_in(ask(fit, "2020-04-01", temperatures=few), "Only 4 past seasons")


def test_a_fit_of_two_seasons_says_so() -> None:
    looks = tuple(seen for seen in LOOKS if seen.season < 2007)
    fit = fit_thresholds([Site("here", 33.0, RECORD, logged(looks))], stages=STAGES, rule=RULE)
    assert said_in(ask(fit, "2020-04-01"), "The fit knows 2 seasons only")


def test_a_season_far_from_all_others_is_told_with_its_likely_causes(fit: Fit) -> None:
    dates = [
        (cultivar, usual_day(fit, cultivar, "bloom_start") - dt.timedelta(days=25)) for cultivar in CULTIVARS
    ]
    looks = [
        look(cultivar, "bloom_start", str(date - dt.timedelta(days=1)), str(date)) for cultivar, date in dates
    ]
    found = ask(fit, "2020-04-10", *looks)
    assert said_in(found, "bloom_start come about")
    assert said_in(found, "days earlier than the fit expects")
    assert said_in(found, "the station moved")


def test_the_leap_day_as_the_day_of_the_forecast(fit: Fit) -> None:
    found = ask(fit, "2020-02-29")
    assert found.traces.known_days == 59
    assert found.traces.temperatures_through == day("2020-02-28")
    assert abs((dates_of(found, "birch")[1] - usual_day(fit, "birch", "full_bloom")).days) <= 10


def test_a_southern_season() -> None:
    record = weather("2005-01-01", "2021-12-31", seed=4, south=True)
    looks = past_looks(record, 2006, -34.0)
    fit = fit_thresholds([Site("here", -34.0, record, logged(looks))], stages=STAGES, rule=RULE)
    found = forecast(fit, Site("here", -34.0, record), BLOCKS, as_of=day("2020-10-05"), draws=400)
    assert found.season == 2021
    assert found.draws.attrs["season_start"] == "2020-07-01"
    heat = accumulate_seasons(record, RULE, [2021], -34.0)[2021]
    for cultivar in CULTIVARS:
        threshold = fit.thresholds.mean[fit.cultivars.index(cultivar), 1]
        passed = heat.window.date_at(int(np.searchsorted(heat.accumulated, threshold)))
        _, median, _ = dates_of(found, cultivar)
        assert abs((median - passed).days) <= 6
        assert median.year == 2020


def test_every_trace_is_used_and_nearer_ones_more(fit: Fit) -> None:
    found = ask(fit, "2020-04-01", draws=1500)
    seasons, counts = np.unique(found.draws["trace_season"], return_counts=True)
    assert_array_equal(seasons, np.arange(2005, 2020))
    assert np.all(np.diff(counts) > 0)


@pytest.mark.parametrize("interval", [0.0, 1.0, -0.2, 80.0])
def test_an_interval_must_be_a_probability(fit: Fit, interval: float) -> None:
    with pytest.raises(BadInput, match="not a probability"):
        ask(fit, "2020-04-01", interval=interval)


def test_one_season_of_temperatures_cannot_be_continued(fit: Fit) -> None:
    this_season = RECORD.dates >= np.datetime64("2020-01-01")
    record = DailyTemperatures(
        RECORD.dates[this_season], RECORD.tmin_c[this_season], RECORD.tmax_c[this_season]
    )
    with pytest.raises(NotEnoughData, match=r"can continue season 2020$"):
        ask(fit, "2020-04-01", temperatures=record)


def test_before_the_first_temperature_there_is_nothing_to_say(fit: Fit) -> None:
    with pytest.raises(NotEnoughData):
        ask(fit, "2004-06-01")
