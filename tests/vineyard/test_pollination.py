"""Pollen cover of a planting: numbers and warnings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from models.errors import BadInput
from models.records import Block, Cultivar, FlowerType, Planting
from models.units import FloatArray
from models.vineyard.bouquets import Bouquet, bouquets
from models.vineyard.pollen_warnings import Donor, GapBetweenSources
from models.vineyard.pollination import BlockPollination, MedianInterval, PollenWarning, pollination
from models.vineyard.reach import NamedBlock
from service.words.pollen_warnings import warning_words

DEW = Cultivar("dew", "Dewlight", FlowerType.PISTILLATE, viable_pollen=False)
TINDERLING = Cultivar("tinderling", "Tinderling", FlowerType.PERFECT, viable_pollen=True)
HEDGE = Cultivar("hedge", "Hedge vines", FlowerType.STAMINATE, viable_pollen=True)
DUD = Cultivar("dud", "Pale Lantern", FlowerType.PERFECT, viable_pollen=False)
CULTIVARS = {cultivar.key: cultivar for cultivar in (DEW, TINDERLING, HEDGE, DUD)}

Bloom = tuple[float, float, float]
NEVER = (np.nan, np.nan, np.nan)


def block(key: str, cultivar: Cultivar, x_m: float = 0.0, neighbours: tuple[str, ...] | None = None) -> Block:
    return Block(key, cultivar.key, x_m=x_m, y_m=0.0, neighbours=neighbours)


def planting(*blocks: Block, reach_m: float = 15.0) -> Planting:
    return Planting(blocks, CULTIVARS, reach_m=reach_m)


def draws_of(blooms: Mapping[str, Sequence[Bloom] | FloatArray]) -> xr.Dataset:
    """Each block's (bloom start, full bloom, bloom end) by draw; day 0 is 1 January 2026, day 151 1 June."""
    days = np.array([np.asarray(bloom, dtype=np.float64) for bloom in blooms.values()])
    return xr.Dataset(
        {"day": (("block", "draw", "stage"), days)},
        coords={"block": list(blooms), "stage": ["bloom_start", "full_bloom", "bloom_end"]},
        attrs={"season_start": "2026-01-01"},
    ).transpose("draw", "block", "stage")


def only(blocks: tuple[BlockPollination, ...]) -> BlockPollination:
    assert len(blocks) == 1
    return blocks[0]


def warning(found: BlockPollination, code: str) -> PollenWarning:
    return next(warning for warning in found.warnings if warning.code == code)


def codes(found: BlockPollination) -> list[str]:
    return [warning.code for warning in found.warnings]


B1, B7 = block("b1", DEW), block("b7", TINDERLING, x_m=9.0)
PAIR = planting(B1, B7)
# b7 ends on 4 June (day 154), its pollen on 5 June; b1 ends on 9 June (day 159).
EARLY = {"b1": (150.0, 154.0, 159.0), "b7": (145.0, 149.0, 154.0)}
SAFE = {"b1": (150.0, 154.0, 159.0), "b7": (148.0, 154.0, 162.0)}


def mixed(often: Mapping[str, Bloom], otherwise: Mapping[str, Bloom], *, times: int) -> xr.Dataset:
    """Ten draws: ``often`` so many times, ``otherwise`` in the rest."""
    return draws_of({key: [often[key]] * times + [otherwise[key]] * (10 - times) for key in often})


def test_figures_of_one_source() -> None:
    found = only(pollination(PAIR, mixed(EARLY, SAFE, times=8)))
    (source,) = found.sources
    assert (found.block, found.cultivar) == ("b1", "dew")
    assert (source.block, source.cultivar, source.distance_m) == ("b7", "tinderling", 9.0)
    # Receptive 150-161 (12 days); open 145-155 in eight draws (6 days together), 148-163 in two (12 days).
    assert (source.overlap_days.median, source.overlap_days.low, source.overlap_days.high) == (6, 6, 12)
    assert source.synchrony == pytest.approx(6 / 12)
    # One day after full bloom: odds 19 ** (1 / 5).
    opened = 1 - 1 / (1 + 19 ** (1 / 5))
    assert source.share_of_bloom_covered == pytest.approx(opened)
    assert source.share_lost_without_it == pytest.approx(opened)
    assert source.chance_ends_first == pytest.approx(0.8)
    assert source.chance_starts_late == 0.0
    assert found.share_of_bloom_covered is not None
    assert found.share_of_bloom_covered.median == pytest.approx(opened)
    assert found.share_of_bloom_covered.low == pytest.approx(opened)
    assert found.share_of_bloom_covered.high == pytest.approx(1.0)
    # Receptive 150-161, pollen until 155: six days; none in two of ten draws.
    assert found.uncovered_days is not None
    days = found.uncovered_days
    assert (days.median, days.low, days.high) == (6, 0, 6)
    (window,) = found.uncovered
    # From the day after the last pollen, 156, until fewer than 2 % are left: 2.8 % open after day 160 and are
    # receptive together on day 163; 1.6 % open after day 161.
    assert (window.first_day, window.last_day) == (dt.date(2026, 6, 6), dt.date(2026, 6, 13))
    assert window.chance == pytest.approx(0.8)


def test_a_source_that_ends_first_is_told_with_names_and_dates() -> None:
    told = warning(only(pollination(PAIR, mixed(EARLY, SAFE, times=8))), "pollen_ends_early")
    assert told.level == "act"
    assert told.chance == pytest.approx(0.8)
    assert warning_words(told).startswith(
        "Block b7 (Tinderling) is expected to finish on 4 June, 5 days before block b1 (Dewlight); about "
        "36 % of b1's bloom would open without pollen (80 % chance that it ends too early)."
    )
    # from the day after the last pollen until too few receptive flowers are left, as `uncovered` has it
    assert "from 6 June to 13 June" in warning_words(told)
    assert told.spans == ((dt.date(2026, 6, 6), dt.date(2026, 6, 13)),)
    alone = warning(only(pollination(PAIR, mixed(EARLY, SAFE, times=8))), "single_pollen_source")
    assert alone.days == (dt.date(2026, 5, 31), dt.date(2026, 6, 9))  # the whole bloom


# In six of ten draws b7 is too early or too late, each time by another day; in four it fits.
ENDS = [(145.0, 149.0, end) for end in (150.0, 151.0, 152.0, 153.0, 154.0, 155.0)]
STARTS = [(start, start + 4, 170.0) for start in (153.0, 154.0, 155.0, 156.0, 157.0, 158.0)]


@pytest.mark.parametrize(
    ("code", "b7", "likely"),
    [
        # On day 156 five of ten draws are past their pollen, which ends on days 151 to 155.
        ("pollen_ends_early", ENDS, (156, 163)),
        # On day 153 five of ten draws still wait for it; by day 147 odds of 9 ** -(7 / 4), 2.1 %, are open.
        ("pollen_starts_late", STARTS, (147, 153)),
    ],
)
def test_a_likely_case_names_the_days_of_one_half_or_more(
    code: str, b7: list[Bloom], likely: tuple[int, int]
) -> None:
    fits = (148.0, 154.0, 162.0)
    b1 = (150.0, 154.0, 159.0)
    found = only(pollination(PAIR, draws_of({"b1": [b1] * 10, "b7": [*b7, *[fits] * 4]})))
    told = warning(found, code)
    assert told.level == "act"
    assert told.chance == pytest.approx(0.6)
    first, last = (dt.date(2026, 1, 1) + dt.timedelta(days=day) for day in likely)
    assert told.days == (first, last)
    (run,) = found.uncovered
    assert (run.span, run.level, run.why) == ((first, last), "act", code)
    assert min(run.days) >= 0.5
    assert run.chance == max(run.days) == pytest.approx(0.6)


def test_a_mere_possibility_is_told_by_the_draws_in_which_it_comes_true() -> None:
    told = warning(only(pollination(PAIR, mixed(EARLY, SAFE, times=3))), "pollen_ends_early")
    assert told.level == "watch"
    assert told.chance == pytest.approx(0.3)
    assert "may finish on 4 June, 5 days before block b1 (Dewlight); about 36 %" in warning_words(told)


def test_a_small_chance_is_not_mentioned() -> None:
    assert codes(only(pollination(PAIR, mixed(EARLY, SAFE, times=1)))) == ["single_pollen_source"]


def test_pollen_ends_early_from_5_percent_of_the_bloom_on() -> None:
    # b1 reaches 95 % on day 159. Pollen until that day leaves 5 % without; one day more leaves less.
    until_159 = {"b1": [(150.0, 154.0, 159.0)], "b7": [(148.0, 154.0, 158.0)]}
    until_160 = {"b1": [(150.0, 154.0, 159.0)], "b7": [(148.0, 154.0, 159.0)]}
    assert only(pollination(PAIR, draws_of(until_159))).sources[0].chance_ends_first == 1.0
    assert only(pollination(PAIR, draws_of(until_160))).sources[0].chance_ends_first == 0.0


def test_a_source_that_starts_late() -> None:
    late = {"b1": (150.0, 154.0, 159.0), "b7": (155.0, 158.0, 166.0)}
    found = only(pollination(PAIR, mixed(late, SAFE, times=6)))
    told = warning(found, "pollen_starts_late")
    assert told.level == "act"
    assert told.chance == pytest.approx(0.6)
    # Day 155 less three receptive days: flowers that opened by day 152 are past; odds 9 ** -(1 / 2).
    assert warning_words(told).startswith(
        "Block b7 (Tinderling) is expected to begin on 5 June, 5 days after block b1 (Dewlight); about 25 % of "
        "b1's bloom would open without pollen (60 % chance that it starts too late)."
    )
    assert "from 28 May to 4 June" in warning_words(told)


def test_a_source_that_does_not_bloom_within_the_season_is_late() -> None:
    found = only(pollination(PAIR, mixed({**SAFE, "b7": NEVER}, SAFE, times=7)))
    told = warning(found, "pollen_starts_late")
    assert told.chance == pytest.approx(0.7)
    assert "b7 (Tinderling) is not expected to bloom within the season, while block b1 (Dewlight) does" in (
        warning_words(told)
    )
    assert found.sources[0].chance_starts_late == pytest.approx(0.7)
    assert found.sources[0].chance_ends_first == 0.0


def test_of_several_sources_the_last_one_is_named_and_each_is_listed_best_first() -> None:
    three = planting(B1, B7, block("b8", HEDGE, x_m=3.0))
    blooms = {**EARLY, "b8": (148.0, 152.0, 156.0)}
    found = only(pollination(three, draws_of({key: [bloom] for key, bloom in blooms.items()})))
    assert [source.block for source in found.sources] == ["b8", "b7"]
    told = warning(found, "pollen_ends_early")
    assert warning_words(told).startswith(
        "Block b8 (Hedge vines), the last of 2 pollen sources in reach, is expected to finish on 6 June, "
        "3 days before block b1 (Dewlight)"
    )


def test_a_later_source_takes_the_warning_away_and_its_loss_brings_it_back() -> None:
    both = planting(B1, B7, block("b9", TINDERLING, x_m=5.0))
    blooms = draws_of({key: [bloom] for key, bloom in {**EARLY, "b9": (154.0, 158.0, 165.0)}.items()})
    assert codes(only(pollination(both, blooms))) == []
    assert codes(only(pollination(PAIR, blooms))) == ["pollen_ends_early", "single_pollen_source"]


def test_a_gap_between_two_sources() -> None:
    both = planting(B1, B7, block("b9", TINDERLING, x_m=5.0))
    blooms = {"b1": (146.0, 150.0, 155.0), "b7": (140.0, 144.0, 149.0), "b9": (158.0, 161.0, 169.0)}
    found = only(pollination(both, draws_of({key: [bloom] for key, bloom in blooms.items()})))
    told = warning(found, "pollen_gap")
    assert told.level == "act"
    assert warning_words(told).startswith(
        "Block b1 (Dewlight) is expected to be without pollen in the middle of its bloom"
    )
    assert "about 45 % of b1's bloom" in warning_words(told)
    assert "from 1 June to 7 June" in warning_words(told)  # days 151 to 157


def test_days_without_pollen_before_the_first_source_are_no_part_of_the_gap() -> None:
    both = planting(B1, B7, block("b9", TINDERLING, x_m=5.0))
    blooms = {"b1": (146.0, 150.0, 155.0), "b7": (150.0, 150.0, 150.0), "b9": (158.0, 161.0, 169.0)}
    found = only(pollination(both, draws_of({key: [bloom] for key, bloom in blooms.items()})))
    assert codes(found) == ["pollen_starts_late", "pollen_gap", "single_pollen_source"]
    assert "from 2 June to 7 June" in warning_words(warning(found, "pollen_gap"))  # days 152 to 157


def test_days_without_pollen_after_the_last_source_are_no_part_of_the_gap() -> None:
    both = planting(B1, B7, block("b9", TINDERLING, x_m=5.0))
    blooms = {"b1": (146.0, 150.0, 160.0), "b7": (140.0, 144.0, 149.0), "b9": (155.0, 155.0, 155.0)}
    found = only(pollination(both, draws_of({key: [bloom] for key, bloom in blooms.items()})))
    assert codes(found) == ["pollen_ends_early", "pollen_gap", "single_pollen_source"]
    assert "from 1 June to 4 June" in warning_words(warning(found, "pollen_gap"))  # days 151 to 154


def test_no_source_in_reach() -> None:
    far = planting(B1, block("b7", TINDERLING, x_m=15.1))
    found = only(pollination(far, draws_of({key: [bloom] for key, bloom in SAFE.items()})))
    told = warning(found, "no_pollen_source_in_reach")
    assert (codes(found), told.level, told.chance) == (["no_pollen_source_in_reach"], "act", 1.0)
    assert "within 15 m (49 ft) of block b1 (Dewlight)" in warning_words(told)
    assert "from 28 May to 13 June" in warning_words(told)
    assert found.sources == ()
    assert found.share_of_bloom_covered is not None
    assert found.share_of_bloom_covered.high == 0.0
    (run,) = found.uncovered
    assert run.chance == 1.0
    assert run.share_of_bloom == pytest.approx(1.0)


def test_a_later_day_that_may_lack_pollen_is_told_only_where_no_day_is_likely_to() -> None:
    # EARLY lacks pollen on days 156 to 163; with one end two days later it does from day 158 on.
    later = {**EARLY, "b7": (145.0, 149.0, 156.0)}
    mostly = draws_of({key: [EARLY[key]] * 3 + [later[key]] * 4 + [SAFE[key]] * 3 for key in EARLY})
    found = only(pollination(PAIR, mostly))
    (act,) = found.uncovered
    assert (act.first_day, act.level) == (dt.date(2026, 6, 8), "act")
    daily = found.without_pollen  # tells the days before it too
    assert daily is not None
    assert daily.first_day == dt.date(2026, 6, 6)
    assert daily.chances[:3] == pytest.approx((0.3, 0.3, 0.7))
    assert act.chance == pytest.approx(0.7)
    seldom = draws_of({key: [EARLY[key]] * 2 + [later[key]] * 2 + [SAFE[key]] * 6 for key in EARLY})
    (watch,) = only(pollination(PAIR, seldom)).uncovered
    assert (watch.first_day, watch.level) == (dt.date(2026, 6, 6), "watch")
    assert watch.chance == pytest.approx(0.4)
    assert watch.days[:3] == pytest.approx((0.2, 0.2, 0.4))


def test_days_that_are_each_unlikely_are_no_run_though_one_of_them_is_likely_to_come() -> None:
    # ten draws, each with a gap of its own in a bloom that would be covered else
    both = planting(B1, B7, block("b9", TINDERLING, x_m=5.0))
    gaps = range(140, 170, 3)
    blooms = draws_of(
        {
            "b1": [(day - 4.0, float(day), day + 5.0) for day in gaps],
            "b7": [(day - 9.0, day - 8.0, day - 3.0) for day in gaps],
            "b9": [(day + 2.0, day + 4.0, day + 9.0) for day in gaps],
        }
    )
    found = only(pollination(both, blooms))
    told = warning(found, "pollen_gap")
    assert (told.level, told.chance) == ("act", 1.0)
    assert max((run.chance for run in found.uncovered), default=0.0) < 0.5
    assert told.spans == tuple(run.span for run in found.uncovered)


def test_neighbours_replace_distance() -> None:
    named = planting(block("b1", DEW, neighbours=("b7",)), block("b7", TINDERLING, x_m=400.0))
    found = only(pollination(named, draws_of({key: [bloom] for key, bloom in SAFE.items()})))
    assert found.sources[0].distance_m is None
    assert found.sources[0].share_of_bloom_covered == pytest.approx(1.0)
    lonely = planting(block("b1", DEW, neighbours=()), B7)
    found = only(pollination(lonely, draws_of({key: [bloom] for key, bloom in SAFE.items()})))
    assert "among the neighbours given for block b1" in warning_words(
        warning(found, "no_pollen_source_in_reach")
    )


def test_pollen_that_is_not_viable_does_not_count() -> None:
    dud = planting(B1, block("b7", DUD, x_m=9.0), block("b2", DEW, x_m=1.0))
    blooms = draws_of({key: [bloom] for key, bloom in {**SAFE, "b2": SAFE["b1"]}.items()})
    found = pollination(dud, blooms)[0]
    assert codes(found) == ["no_viable_pollen"]
    assert "block b7 (Pale Lantern)" in warning_words(found.warnings[0])
    assert found.sources == ()


def test_a_block_that_depends_on_one_source_is_told_so() -> None:
    found = only(pollination(PAIR, draws_of({key: [bloom] for key, bloom in SAFE.items()})))
    told = warning(found, "single_pollen_source")
    assert (told.level, told.chance) == ("watch", 1.0)
    assert "Block b1 (Dewlight) depends on one pollen source, block b7 (Tinderling)" in warning_words(told)


def test_a_second_source_at_another_time_does_not_make_a_block_safe() -> None:
    both = planting(B1, B7, block("b9", TINDERLING, x_m=5.0))
    poor = {**SAFE, "b9": (141.0, 144.0, 149.0)}
    found = only(pollination(both, draws_of({key: [bloom] for key, bloom in poor.items()})))
    told = warning(found, "single_pollen_source")
    assert "depends mostly on one pollen source, block b7 (Tinderling)" in warning_words(told)
    third = planting(B1, B7, block("b9", TINDERLING, x_m=5.0), block("b10", TINDERLING, x_m=4.0))
    unknown = draws_of({**{key: [bloom] for key, bloom in poor.items()}, "b10": [NEVER]})
    assert codes(only(pollination(third, unknown))) == ["unknown_bloom"]  # b10 may do, nobody knows
    good = {**SAFE, "b9": SAFE["b7"]}
    assert codes(only(pollination(both, draws_of({key: [bloom] for key, bloom in good.items()})))) == []


def test_a_block_without_a_forecast() -> None:
    found = only(pollination(PAIR, draws_of({"b1": [NEVER], "b7": [SAFE["b7"]]})))
    assert codes(found) == ["unknown_bloom", "single_pollen_source"]
    assert (found.share_of_bloom_covered, found.sources, found.uncovered) == (None, (), ())
    assert "The bloom of block b1 (Dewlight) cannot be forecast" in warning_words(found.warnings[0])
    missing = only(pollination(PAIR, draws_of({"b7": [SAFE["b7"]]})))
    assert codes(missing) == codes(found)


def test_a_block_that_may_not_finish_its_bloom() -> None:
    found = only(pollination(PAIR, mixed({**SAFE, "b1": (150.0, 154.0, np.nan)}, SAFE, times=3)))
    told = warning(found, "unknown_bloom")
    assert told.level == "watch"
    assert told.chance == pytest.approx(0.3)
    assert found.share_of_bloom_covered is not None
    assert found.share_of_bloom_covered.low == pytest.approx(1.0)


def test_sources_without_a_forecast() -> None:
    found = only(pollination(PAIR, draws_of({"b1": [SAFE["b1"]], "b7": [NEVER]})))
    told = warning(found, "unknown_bloom")
    assert (told.level, found.share_of_bloom_covered) == ("act", None)
    assert "block b7 (Tinderling)" in warning_words(told)
    both = planting(B1, B7, block("b9", TINDERLING, x_m=5.0))
    found = only(
        pollination(both, draws_of({**{key: [bloom] for key, bloom in SAFE.items()}, "b9": [NEVER]}))
    )
    told = warning(found, "unknown_bloom")
    assert (told.level, codes(found)) == ("watch", ["unknown_bloom"])
    assert "block b9 (Tinderling)" in warning_words(told)
    assert [source.block for source in found.sources] == ["b7"]


def test_only_pistillate_blocks_are_answered_in_the_plantings_order() -> None:
    blocks = planting(block("z", DEW), B7, block("a", DEW, x_m=2.0))
    blooms = draws_of({"a": [SAFE["b1"]], "z": [SAFE["b1"]], "b7": [SAFE["b7"]]})
    assert [found.block for found in pollination(blocks, blooms)] == ["z", "a"]


def test_receptive_and_pollen_days_can_be_set_for_all_and_for_single_cultivars() -> None:
    blooms = draws_of({"b1": [(150.0, 154.0, 159.0)], "b7": [(130.0, 134.0, 154.0)]})

    def covered(blocks: Planting = PAIR, pollen_days: int = 2) -> float:
        found = only(pollination(blocks, blooms, pollen_days=pollen_days))
        return found.sources[0].share_of_bloom_covered

    assert covered(pollen_days=1) == pytest.approx(0.5)
    assert covered(pollen_days=6) == pytest.approx(0.95)
    assert covered(with_own("tinderling", pollen_days=6)) == pytest.approx(0.95)
    late = draws_of({"b1": [(150.0, 154.0, 159.0)], "b7": [(156.0, 160.0, 170.0)]})
    found = only(pollination(with_own("dew", receptive_days=2), late, receptive_days=1))
    assert found.sources[0].share_of_bloom_covered == pytest.approx(0.5)


def with_own(cultivar: str, **days: int) -> Planting:
    """The pair, one of its cultivars with days of its own."""
    own = replace(CULTIVARS[cultivar], **days)  # type: ignore[arg-type]
    return replace(PAIR, cultivars=CULTIVARS | {cultivar: own})


def test_a_cultivars_own_days_are_checked() -> None:
    blooms = draws_of({key: [bloom] for key, bloom in SAFE.items()})
    for wrong in (with_own("tinderling", pollen_days=0), with_own("dew", receptive_days=0)):
        with pytest.raises(BadInput, match="first"):
            pollination(wrong, blooms)


@pytest.mark.parametrize(
    ("options", "where"),
    [
        ({"interval": 1.0}, "interval"),
        ({"interval": 0.0}, "interval"),
        ({"receptive_days": 0}, "receptive_days"),
        ({"pollen_days": 0}, "pollen_days"),
    ],
)
def test_options_out_of_range_are_refused(options: dict[str, object], where: str) -> None:
    blooms = draws_of({key: [bloom] for key, bloom in SAFE.items()})
    with pytest.raises(BadInput) as caught:
        pollination(PAIR, blooms, **options)  # type: ignore[arg-type]
    assert [problem.where for problem in caught.value.problems] == [where]


def test_draws_without_a_bloom_stage_or_a_start_are_refused() -> None:
    blooms = draws_of({key: [bloom] for key, bloom in SAFE.items()})
    with pytest.raises(BadInput, match="all three bloom stages"):
        pollination(PAIR, blooms.sel(stage=["bloom_start", "bloom_end"]))
    with pytest.raises(BadInput, match="season starts"):
        pollination(PAIR, blooms.drop_attrs())


BLOOM_TRIPLES = st.tuples(st.integers(130, 165), st.integers(0, 9), st.integers(0, 12)).map(
    lambda bloom: (float(bloom[0]), float(bloom[0] + bloom[1]), float(sum(bloom)))
)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from([DEW, TINDERLING, HEDGE, DUD]), st.integers(0, 40), BLOOM_TRIPLES),
        min_size=1,
        max_size=6,
    ),
    st.integers(1, 40),
    st.integers(0, 20),
)
def test_widening_the_reach_never_lowers_cover_and_no_source_means_none(
    vines: list[tuple[Cultivar, int, Bloom]], reach_m: int, further_m: int
) -> None:
    blocks = [block(f"b{i}", cultivar, x_m=x) for i, (cultivar, x, _) in enumerate(vines)]
    blooms = draws_of({f"b{i}": [bloom] for i, (_, _, bloom) in enumerate(vines)})
    near = pollination(planting(*blocks, reach_m=reach_m), blooms)
    wide = pollination(planting(*blocks, reach_m=reach_m + further_m), blooms)
    none = pollination(planting(*(one for one in blocks if one.cultivar in ("dew", "dud"))), blooms)
    for less, more, bare in zip(near, wide, none, strict=True):
        assert less.share_of_bloom_covered is not None
        assert more.share_of_bloom_covered is not None
        assert bare.share_of_bloom_covered is not None
        assert more.share_of_bloom_covered.median >= less.share_of_bloom_covered.median - 1e-12
        assert bare.share_of_bloom_covered.high == 0.0


def test_shoots_come_from_blocks_with_open_viable_anthers_on_those_days_and_none_other() -> None:
    # b1 lacks pollen on days 156 to 163
    others = {
        "late": (block("late", TINDERLING, x_m=200.0), (155.0, 157.0, 158.0)),  # open until day 159
        "early": (block("early", TINDERLING, x_m=200.0), (140.0, 144.0, 154.0)),
        "dud": (block("dud", DUD, x_m=200.0), (155.0, 157.0, 170.0)),
        "frozen": (block("frozen", HEDGE, x_m=200.0), (155.0, 157.0, 170.0)),
        "long": (block("long", HEDGE, x_m=300.0), (150.0, 157.0, 170.0)),
        "pistillate": (block("pistillate", DEW, neighbours=("b7",)), (155.0, 157.0, 170.0)),
    }
    asked = planting(B1, B7, *(one for one, _ in others.values()))
    blooms = {**EARLY, **{key: bloom for key, (_, bloom) in others.items()}}
    draws = draws_of({key: [bloom] for key, bloom in blooms.items()})

    def told(as_of: dt.date) -> PollenWarning:
        found = pollination(asked, draws, frosted=["frozen"], as_of=as_of)
        return warning(next(each for each in found if each.block == "b1"), "pollen_ends_early")

    early = told(dt.date(2026, 5, 1))
    days = [(each.block.key, each.first_day, each.last_day) for each in early.donors]
    assert days == [
        ("long", dt.date(2026, 6, 6), dt.date(2026, 6, 13)),
        ("late", dt.date(2026, 6, 6), dt.date(2026, 6, 9)),
    ]
    assert "from 6 June to 13 June, from block long (Hedge vines), likely open" in warning_words(early)
    by_day = [(each.date.day, [block.key for block in each.blocks], each.renew) for each in bouquets(early)]
    assert by_day == [
        *((day, ["long", "late"], day % 2 == 0) for day in range(6, 10)),
        *((day, ["long"], day % 2 == 0) for day in range(10, 14)),
    ]
    assert (
        "every 2 days or so: 6 June, 8 June, 10 June and 12 June (common practice in apple"
        in warning_words(early)
    )
    within = told(dt.date(2026, 6, 11))
    assert within.spans == early.spans
    assert within.ahead == ((dt.date(2026, 6, 11), dt.date(2026, 6, 13)),)
    assert [each.block.key for each in within.donors] == ["long"]
    # the days of renewal do not move with the day that it is
    assert [each.date.day for each in bouquets(within) if each.renew] == [12]
    assert "from 11 June to 13 June" in warning_words(within)
    after = told(dt.date(2026, 6, 14))
    assert (after.level, after.past, after.donors) == ("watch", True, ())
    assert bouquets(after) == ()
    assert "is thought to have finished on 4 June" in warning_words(after)
    assert "Place" not in warning_words(after)


def test_shoots_are_put_again_once_a_block_opens_after_days_without() -> None:
    def june(day: int) -> dt.date:
        return dt.date(2026, 6, day)

    late, early = NamedBlock("late", "Tinderling"), NamedBlock("early", "Hedge vines")
    given = (Donor(late, (june(9), june(10), june(20))), Donor(early, (june(5), june(6))))
    spans = ((june(5), june(10)), (june(19), june(20)))
    told = PollenWarning(
        NamedBlock("b1", "Dewlight"), GapBetweenSources(0.4), "act", 0.8, spans, spans, given
    )
    assert bouquets(told) == (
        Bouquet(june(5), (early,), renew=True),
        Bouquet(june(6), (early,), renew=False),
        Bouquet(june(7), (), renew=False),
        Bouquet(june(8), (), renew=False),
        Bouquet(june(9), (late,), renew=True),
        Bouquet(june(10), (late,), renew=False),
        Bouquet(june(19), (), renew=False),
        Bouquet(june(20), (late,), renew=True),
    )
    said = warning_words(told)
    assert "Fresh ones every 2 days or so: 5 June, 9 June and 20 June" in said
    assert "on 7 June, 8 June and 19 June no block is likely to have open anthers" in said


def test_cover_at_half_and_double_the_reach_where_other_sources_stand_in_it() -> None:
    asked = planting(B1, block("near", TINDERLING, x_m=9.0), block("far", HEDGE, x_m=20.0))
    blooms = draws_of({"b1": [SAFE["b1"]], "near": [EARLY["b7"]], "far": [SAFE["b7"]]})
    half, double = only(pollination(asked, blooms)).at_other_reach
    assert (half.reach_m, half.sources, double.reach_m, double.sources) == (7.5, (), 30.0, ("near", "far"))
    assert half.share_of_bloom_covered is not None
    assert double.share_of_bloom_covered is not None
    assert half.share_of_bloom_covered.high == 0.0
    assert double.share_of_bloom_covered.median == pytest.approx(1.0)
    same = planting(B1, block("near", TINDERLING, x_m=5.0))
    assert only(pollination(same, blooms)).at_other_reach == ()
    unknown = draws_of({"b1": [SAFE["b1"]], "near": [EARLY["b7"]]})
    assert only(pollination(asked, unknown)).at_other_reach[1].share_of_bloom_covered is not None


WORSE = ("frosted", "frosted_in_part", "not_viable", "further", "fewer_days", "removed")


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from([DEW, TINDERLING, HEDGE]), st.integers(0, 40), BLOOM_TRIPLES),
        min_size=2,
        max_size=6,
    ),
    st.sampled_from(WORSE),
    st.integers(1, 30),
    st.data(),
)
def test_a_source_made_worse_in_any_way_never_raises_the_cover_of_another_block(
    vines: list[tuple[Cultivar, int, Bloom]], worse: str, by: int, data: st.DataObject
) -> None:
    blocks = [block(f"b{i}", cultivar, x_m=x) for i, (cultivar, x, _) in enumerate(vines)]
    blooms = draws_of({f"b{i}": [bloom] for i, (_, _, bloom) in enumerate(vines)})
    place = data.draw(st.integers(0, len(blocks) - 1))
    was, others = blocks[place], [*blocks[:place], *blocks[place + 1 :]]
    own = replace(CULTIVARS[was.cultivar], key="own", pollen_days=3)
    if own.flower_type is FlowerType.PISTILLATE:
        return
    made = replace(was, cultivar="own")

    def share(
        one: Block | None,
        cultivar: Cultivar,
        frosted: tuple[str, ...] = (),
        draws: xr.Dataset = blooms,
    ) -> dict[str, float]:
        """Median cover of every pistillate block, with the source as it is here; where unknown, none."""
        now = Planting(
            tuple(others) if one is None else (*others, one), CULTIVARS | {"own": cultivar}, reach_m=15.0
        )
        found = pollination(now, draws, frosted=frosted)
        return {
            each.block: each.share_of_bloom_covered.median for each in found if each.share_of_bloom_covered
        }

    # farther from every block: those stand from 0 to 40 m, the source on either side of them
    away = replace(made, x_m=100.0 + by)
    after = {
        "frosted": lambda: share(made, own, (made.key,)),
        "frosted_in_part": lambda: share(made, own, draws=frozen_in_part(blooms, made.key, by % 2, by)),
        "not_viable": lambda: share(made, replace(own, viable_pollen=False)),
        "further": lambda: share(away, own),
        "fewer_days": lambda: share(made, replace(own, pollen_days=1 + by % 2)),
        "removed": lambda: share(None, own),
    }[worse]()
    before = share(made, own)
    for key, covered in after.items():
        assert covered <= before[key] + 1e-12


def frozen_in_part(draws: xr.Dataset, key: str, failing: int, later: int = 5) -> xr.Dataset:
    """The block blooms later, gives pollen as it would have bloomed, and is not counted on in the first draws."""
    moved = draws["day"].where(draws["block"] != key, draws["day"] + later)
    counted = xr.ones_like(draws["day"].isel(stage=0, drop=True), dtype=bool)
    counted.loc[{"block": key, "draw": range(min(failing, draws.sizes["draw"]))}] = False
    return draws.assign(day=moved, pollen_day=draws["day"], counted_on=counted)


def test_a_source_that_froze_in_part_is_counted_on_in_some_draws_at_its_usual_time() -> None:
    draws = draws_of({key: [bloom] * 10 for key, bloom in SAFE.items()})
    usual = only(pollination(planting(B1, B7), draws))
    found = only(pollination(planting(B1, B7), frozen_in_part(draws, "b7", 4)))
    assert usual.share_of_bloom_covered == MedianInterval(1.0, 1.0, 1.0)
    always = only(pollination(planting(B1, B7), frozen_in_part(draws, "b7", 0)))
    assert always.share_of_bloom_covered == usual.share_of_bloom_covered
    assert found.share_of_bloom_covered == MedianInterval(1.0, 0.0, 1.0)
    told = warning(found, "unknown_bloom")
    assert told.level == "watch"
    assert told.chance == pytest.approx(0.4)
    assert {run.why for run in found.uncovered} == {"unknown_bloom"}
    assert told.spans == tuple(run.span for run in found.uncovered)
    assert all(chance == pytest.approx(0.4) for run in found.uncovered for chance in run.days)
    assert "block b7 (Tinderling) (60 % of its shoots left) is marked as frosted in part" in warning_words(
        told
    )
    most = only(pollination(planting(B1, B7), frozen_in_part(draws, "b7", 7)))
    assert warning(most, "unknown_bloom").level == "act"
    # beside a source that ends early it is late pollen that is in doubt
    both = planting(B1, B7, block("b9", HEDGE, x_m=5.0))
    early = draws_of({"b1": [SAFE["b1"]] * 10, "b7": [SAFE["b7"]] * 10, "b9": [EARLY["b7"]] * 10})
    ends = warning(only(pollination(both, frozen_in_part(early, "b7", 4))), "pollen_ends_early")
    assert ends.level == "watch"
    assert ends.chance == pytest.approx(0.4)
    assert "block b9 (Hedge vines)" in warning_words(ends).lower().replace("hedge vines", "Hedge vines")


def test_a_frosted_source_is_not_counted_on_and_named() -> None:
    blooms = {**SAFE, "b9": SAFE["b7"]}
    both = planting(B1, B7, block("b9", TINDERLING, x_m=5.0), block("b4", DUD, x_m=6.0))
    draws = draws_of({key: [bloom] for key, bloom in blooms.items()})
    one = only(pollination(both, draws, frosted=["b7"]))
    assert codes(one) == ["unknown_bloom", "single_pollen_source"]
    assert "block b7 (Tinderling) is marked as frosted and not counted on" in warning_words(one.warnings[0])
    assert [source.block for source in one.sources] == ["b9"]
    none = only(pollination(both, draws, frosted=["b7", "b9"]))
    assert codes(none) == ["no_viable_pollen"]
    assert (
        "block b4 (Pale Lantern) (recorded as not viable); block b7 (Tinderling) and block b9 (Tinderling) (marked as "
        "frosted)" in warning_words(none.warnings[0])
    )
    assert none.share_of_bloom_covered is not None
    assert none.share_of_bloom_covered.high == 0.0


def simulated(rng: np.random.Generator, draws: int, mean_start: FloatArray) -> FloatArray:
    """Bloom days (draw, block, 3): a season effect that all blocks share, and what is each block's own."""
    season = rng.normal(0.0, 7.0, (draws, 1))
    start = np.rint(mean_start + season + rng.normal(0.0, 2.0, (draws, len(mean_start))))
    full = start + rng.integers(2, 6, start.shape)
    return np.stack([start, full, full + rng.integers(3, 9, start.shape)], axis=-1)


@pytest.mark.slow
def test_where_it_says_80_percent_pollen_ends_first_in_about_80_of_100() -> None:
    # Pairs of a pistillate block and its source; the truth of each is one more draw of the same world, judged
    # without the bloom curve: pollen (2 days) is over by the day on which 95 % of the flowers are open.
    pairs, draws = 1200, 150
    rng = np.random.default_rng(20260520)
    mean_start = rng.uniform(148.0, 156.0, 2 * pairs)
    blocks = [
        one
        for pair in range(pairs)
        for one in (block(f"p{pair}", DEW, neighbours=(f"s{pair}",)), block(f"s{pair}", TINDERLING))
    ]
    keys = [one.key for one in blocks]
    forecast = simulated(rng, draws, mean_start)
    truth = simulated(rng, 1, mean_start)[0]
    happened = truth[1::2, 2] + 1 <= truth[0::2, 2]

    said = np.empty(pairs)
    for pair in range(pairs):
        ours = slice(2 * pair, 2 * pair + 2)
        blooms = draws_of(dict(zip(keys[ours], forecast[:, ours].transpose(1, 0, 2), strict=True)))
        said[pair] = only(pollination(planting(*blocks[ours]), blooms)).sources[0].chance_ends_first
    sure = (said >= 0.7) & (said < 0.9)
    assert sure.sum() > 150
    assert happened[sure].mean() == pytest.approx(said[sure].mean(), abs=0.07)
    rare = (said >= 0.1) & (said < 0.3)
    assert happened[rare].mean() == pytest.approx(said[rare].mean(), abs=0.07)
