"""Planting check: past seasons, exposed blocks and what would help, on an invented vineyard of known bloom."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from models.bloom.site import Site
from models.bloom.thresholds import Fit, fit_thresholds
from models.errors import BadInput
from models.records import (
    Block,
    BloomLogRow,
    Cultivar,
    DailyTemperatures,
    FlowerType,
    FrostedBlock,
    HeatRule,
    Planting,
    StageInterval,
)
from models.stages import BLOOM_STAGES
from models.vineyard.block_check import CultivarNotInFit, NoViableSource, SeldomCovered, SourcesNotInFit
from models.vineyard.past_cover import SeasonBloom, covered_share, past_blooms
from models.vineyard.planting_check import BlockCheck, PlantingCheck, planting_check
from models.vineyard.reach import VineGroup
from service.words.layout import what_to_ask
from tests.bloom.noted import logged

# First, 50 % and last caps by day of a season of 10 degree-days a day: day 60 has 600. [°C·day]
BLOOM = {"early": (600, 640, 690), "late": (680, 720, 770), "dew": (610, 650, 700), "moss": (690, 730, 780)}
CULTIVARS = {
    "early": Cultivar("early", "Early Wick", FlowerType.PERFECT, viable_pollen=True),
    "late": Cultivar("late", "Late Tansy", FlowerType.PERFECT, viable_pollen=True),
    "dud": Cultivar("dud", "Pale Lantern", FlowerType.PERFECT, viable_pollen=False),
    "stranger": Cultivar("stranger", "New Plank", FlowerType.PERFECT, viable_pollen=True),
    "dew": Cultivar("dew", "Dewlight", FlowerType.PISTILLATE, viable_pollen=False),
    "moss": Cultivar("moss", "Moss Hollow", FlowerType.PISTILLATE, viable_pollen=False),
    "unseen": Cultivar("unseen", "Far Thimble", FlowerType.PISTILLATE, viable_pollen=False),
}
SEASONS = tuple(range(2015, 2021))


def site() -> Site:
    """Every day 20 °C in the mean, above a base of 10 °C, so that day n of each season has 10 n degree-days."""
    dates = np.arange(np.datetime64("2015-01-01"), np.datetime64("2021-03-01"))
    temperatures = DailyTemperatures(dates, np.full(dates.size, 14.0), np.full(dates.size, 26.0))
    seen = []
    for season in SEASONS:
        for cultivar, bloom in BLOOM.items():
            for stage, heat in zip(BLOOM_STAGES, bloom, strict=True):
                by = dt.date(season, 1, 1) + dt.timedelta(days=heat // 10 - 1)
                seen.append(StageInterval(season, cultivar, None, stage, by - dt.timedelta(days=1), by))
    return Site("hollow", 31.0, temperatures, logged(seen))


@pytest.fixture(scope="module")
def fit() -> Fit:
    return fit_thresholds([site()], stages=BLOOM_STAGES, rule=HeatRule())


def planting(*blocks: Block) -> Planting:
    return Planting(blocks, CULTIVARS)


def block(key: str, cultivar: str, x_m: float, vines: int = 1) -> Block:
    return Block(key, cultivar, x_m, 0.0, vines)


def check_of(found: PlantingCheck, key: str) -> BlockCheck:
    return next(block for block in found.blocks if block.block == key)


def test_vines_in_reach_and_seasons(fit: Fit) -> None:
    found = planting_check(
        planting(block("a", "early", 0, 4), block("b", "dew", 10, 20), block("c", "moss", 99, 5)), fit, site()
    )
    assert (found.pistillate_vines, found.source_vines, found.heaviest_load) == (25, 4, 5)
    assert found.share_in_reach == pytest.approx(20 / 25)
    assert found.vines_per_source == pytest.approx(20 / 4)
    assert found.seasons == SEASONS  # of 2021 only January and February are known
    assert [each.block for each in found.blocks] == ["b", "c"]
    assert found.layout[4].verdict == "not_met"


def test_a_block_that_its_source_covers_every_year(fit: Fit) -> None:
    found = check_of(
        planting_check(planting(block("a", "early", 0), block("b", "dew", 10)), fit, site()), "b"
    )
    assert [season.season for season in found.seasons] == list(SEASONS)
    assert found.seasons_covered == len(SEASONS)
    assert min(season.share_of_bloom_covered for season in found.seasons) > 0.9
    assert (found.sources, found.exposed, found.why, found.would_help) == (("a",), False, None, ())


def test_a_source_that_ends_before_the_block_and_what_closes_the_gap(fit: Fit) -> None:
    exposed = planting(block("a", "early", 0), block("m", "moss", 10))
    found = check_of(planting_check(exposed, fit, site()), "m")
    assert found.exposed
    assert found.seasons_covered == 0
    assert found.why == SeldomCovered(0.8, covered=0, seasons=6)
    (remedy,) = (
        found.would_help
    )  # neither the one without viable pollen nor the one that the fit does not know
    assert (remedy.cultivar, remedy.closes_gap, remedy.seasons_covered) == ("late", True, len(SEASONS))
    closed = planting(*exposed.blocks, block("l", remedy.cultivar, 12))
    after = check_of(planting_check(closed, fit, site()), "m")
    assert not after.exposed
    assert after.mean_share_of_bloom_covered == pytest.approx(remedy.mean_share_of_bloom_covered, abs=1e-12)


def test_a_block_out_of_reach_is_told_the_best_cultivar_first(fit: Fit) -> None:
    found = check_of(
        planting_check(planting(block("m", "moss", 0), block("a", "late", 99)), fit, site()), "m"
    )
    assert (found.exposed, found.sources, found.mean_share_of_bloom_covered) == (True, (), 0.0)
    assert found.why == NoViableSource()
    assert found.would_help[0].cultivar == "late"
    assert found.would_help[0].closes_gap
    lenient = planting_check(planting(block("m", "moss", 0)), fit, site(), enough_share=0.01)
    remedies = check_of(lenient, "m").would_help  # both count in every season, so the larger share decides
    assert [(each.cultivar, each.seasons_covered) for each in remedies] == [("late", 6), ("early", 6)]


def test_assumptions_can_be_set(fit: Fit) -> None:
    exposed = planting(block("a", "early", 0), block("m", "moss", 10))
    usual = check_of(planting_check(exposed, fit, site()), "m")
    longer = check_of(planting_check(with_own(exposed, "early", pollen_days=12), fit, site()), "m")
    assert usual.mean_share_of_bloom_covered is not None
    assert longer.mean_share_of_bloom_covered is not None
    assert longer.mean_share_of_bloom_covered > usual.mean_share_of_bloom_covered + 0.1
    starts_late = planting(block("l", "late", 0), block("d", "dew", 10))
    short = check_of(planting_check(starts_late, fit, site()), "d").mean_share_of_bloom_covered
    waiting = planting_check(with_own(starts_late, "dew", receptive_days=12), fit, site())
    long = check_of(waiting, "d").mean_share_of_bloom_covered
    assert short is not None
    assert long is not None
    assert long > short + 0.1
    lenient = check_of(planting_check(exposed, fit, site(), enough_share=0.05), "m")
    assert (lenient.exposed, lenient.seasons_covered) == (False, len(SEASONS))


def with_own(plants: Planting, cultivar: str, **days: int) -> Planting:
    """A planting, one of its cultivars with days of its own."""
    own = replace(plants.cultivars[cultivar], **days)  # type: ignore[arg-type]
    return replace(plants, cultivars=plants.cultivars | {cultivar: own})


def test_a_cultivar_that_only_the_fit_knows_helps_if_its_flower_type_is_right(fit: Fit) -> None:
    listed = {key: cultivar for key, cultivar in CULTIVARS.items() if key != "late"}
    found = check_of(planting_check(Planting((block("m", "moss", 0),), listed), fit, site()), "m")
    best = found.would_help[0]
    assert (best.cultivar, best.seasons_covered, best.closes_gap) == ("late", 6, True)
    assert not best.flower_type_known
    assert (what_to_ask(best) or "").startswith("Is late self-fertile or male, with viable pollen?")
    own = check_of(planting_check(planting(block("m", "moss", 0)), fit, site()), "m").would_help[0]
    assert own == replace(best, flower_type_known=True)
    assert what_to_ask(own) is None


def test_cultivars_that_the_fit_does_not_know(fit: Fit) -> None:
    unseen = check_of(
        planting_check(planting(block("a", "early", 0), block("u", "unseen", 5)), fit, site()), "u"
    )
    assert (unseen.seasons, unseen.mean_share_of_bloom_covered, unseen.exposed) == ((), None, False)
    assert unseen.why == CultivarNotInFit("unseen")
    only = check_of(
        planting_check(planting(block("s", "stranger", 0), block("b", "dew", 5)), fit, site()), "b"
    )
    assert (only.seasons, only.exposed) == ((), False)
    assert only.why == SourcesNotInFit(("stranger",))
    blocks = (block("s", "stranger", 0), block("a", "early", 1), block("m", "moss", 5))
    partly = check_of(planting_check(planting(*blocks), fit, site()), "m")
    assert partly.exposed
    assert isinstance(partly.why, SeldomCovered)
    assert partly.why.left_out == ("stranger",)


def test_without_a_fit_or_seasons_the_layout_is_still_checked(fit: Fit) -> None:
    blocks = planting(block("a", "early", 0), block("b", "dew", 10), block("c", "moss", 99))
    short = site().temperatures.before(dt.date(2015, 9, 1))
    for found in (
        planting_check(blocks, None, site()),
        planting_check(blocks, fit, replace(site(), temperatures=short)),
        planting_check(
            blocks, fit, replace(site(), temperatures=site().temperatures.before(dt.date(2016, 1, 1)))
        ),
    ):
        assert found.share_in_reach == 0.5
        assert found.seasons == ()
        assert [block.exposed for block in found.blocks] == [False, True]
        assert [block.would_help for block in found.blocks] == [(), ()]


def test_seasons_with_many_missing_days_are_left_out(fit: Fit) -> None:
    temperatures = site().temperatures
    missing = (temperatures.dates >= np.datetime64("2017-02-01")) & (
        temperatures.dates < np.datetime64("2017-02-20")
    )
    holed = DailyTemperatures(
        temperatures.dates,
        np.where(missing, np.nan, temperatures.tmin_c),
        np.where(missing, np.nan, temperatures.tmax_c),
    )  # 19 of 365 days: 5.2 %
    past = past_blooms(fit, replace(site(), temperatures=holed), ["dew"])
    assert [season.season for season in past] == [2015, 2016, 2018, 2019, 2020]


def test_past_bloom_is_that_of_the_log(fit: Fit) -> None:
    past = past_blooms(fit, site(), ["dew", "stranger"])
    assert all(set(season.blooms) == {"dew"} for season in past)
    for season in past:
        days = np.array(BLOOM["dew"]) / 10 - 1  # 600 degree-days are reached on day 59, counted from 0
        assert np.median(season.blooms["dew"], axis=0) == pytest.approx(days, abs=1)
    lacking = fit_thresholds([site()], stages=BLOOM_STAGES[:2], rule=HeatRule())
    assert past_blooms(lacking, site(), ["dew"]) == ()


def test_share_covered_leaves_out_what_is_not_known() -> None:
    nan = np.nan
    season = SeasonBloom(
        2020,
        {
            "dew": np.array([[150.0, 154, 159], [150, nan, nan], [150, 154, 159]]),
            "early": np.array([[148.0, 154, 162], [148, 154, 162], [nan, nan, nan]]),
        },
    )

    def share(*sources: str) -> list[float]:
        reached = VineGroup(1, tuple(block(f"b {key}", key, 0) for key in sources))
        found = covered_share(
            season, block("d", "dew", 0), [reached], receptive_days=3, pollen_days_of={"early": 2}
        )
        return [round(float(value), 6) for value in found]

    assert share("early", "stranger") == [
        1.0,
        0.0,
    ]  # the second draw does not finish; in the third it has no source
    assert share("stranger") == share() == [0.0, 0.0]


@pytest.mark.parametrize(
    ("options", "where"),
    [
        ({"enough_share": 0.0}, "enough_share"),
        ({"enough_seasons": 1.5}, "enough_seasons"),
        ({"receptive_days": 0}, "receptive_days"),
        ({"pollen_days": 0}, "pollen_days"),
    ],
)
def test_what_is_refused(fit: Fit, options: dict[str, float], where: str) -> None:
    with pytest.raises(BadInput) as caught:
        planting_check(planting(block("b", "dew", 0)), fit, site(), **options)  # type: ignore[arg-type]
    assert caught.value.problems[0].where == where


def test_a_past_season_is_that_of_the_blocks_own_dates(fit: Fit) -> None:
    """In 2018 the moss block was seen to bloom with the early cultivar, 80 degree-days before others of its kind."""
    blocks = planting(block("a", "early", 0), block("m", "moss", 10), block("n", "moss", 11))
    own = {
        stage: dt.date(2018, 1, 1) + dt.timedelta(days=heat // 10 - 1)
        for stage, heat in zip(BLOOM_STAGES, BLOOM["early"], strict=True)
    }
    noted = replace(site(), log=(*site().log, BloomLogRow(2018, "moss", "m", own)))
    found = planting_check(blocks, fit, noted)
    before = planting_check(blocks, fit, site())

    def shares(check: PlantingCheck, key: str) -> dict[int, float]:
        return {each.season: each.share_of_bloom_covered for each in check_of(check, key).seasons}

    assert shares(before, "m") == shares(before, "n")
    assert shares(before, "m")[2018] < 0.4
    assert shares(found, "m")[2018] > 0.9
    assert shares(found, "n")[2018] < 0.5
    others = [season for season in SEASONS if season != 2018]
    assert [shares(found, "m")[season] for season in others] == [
        shares(before, "m")[season] for season in others
    ]


def test_a_source_that_froze_in_a_past_season_is_not_counted_on_in_it(fit: Fit) -> None:
    blocks = planting(block("a", "early", 0), block("b", "dew", 10))
    found = planting_check(blocks, fit, replace(site(), frosted=(FrostedBlock("a", 2017),)))
    shares = {each.season: each.share_of_bloom_covered for each in check_of(found, "b").seasons}
    assert shares.pop(2017) == 0.0
    assert min(shares.values()) > 0.9


def test_a_row_of_which_half_is_in_reach_is_covered_by_half(fit: Fit) -> None:
    # vines 0, 10, .. 90 m along x, the source beyond the first: within 15.24 m stand those at 0, 10 and 20 m
    row = Block("row", "dew", 0.0, 0.0, 10, x2_m=90.0, y2_m=0.0)
    found = check_of(planting_check(planting(block("a", "early", 10), row), fit, site()), "row")
    point = check_of(
        planting_check(planting(block("a", "early", 10), block("row", "dew", 0)), fit, site()), "row"
    )
    assert (found.vines, found.vines_in_reach) == (10, 3)
    assert [each.share_of_bloom_covered for each in found.seasons] == pytest.approx(
        [0.3 * each.share_of_bloom_covered for each in point.seasons], rel=1e-12
    )
    assert (found.exposed, point.exposed) == (True, False)
    assert found.would_help[0].closes_gap
