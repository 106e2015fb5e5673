"""The search of a layout, against brute force and against cover that is computed anew in the new planting."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import pytest

from models.bloom.thresholds import Fit, fit_thresholds
from models.errors import BadInput
from models.records import Block, HeatRule
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from models.vineyard.layout import Layout, PlannedField, PlannedRow, layout, vines_reached
from models.vineyard.past_cover import SeasonBloom, covered_share
from models.vineyard.planting_check import planting_check
from models.vineyard.pollen_needs import CoverBySources, Spare, cover_by_sources, demands
from models.vineyard.reach import VineGroup
from models.vineyard.synchrony import BoolArray
from models.vineyard.vine_changes import VinePlace, fewest_changes
from tests.vineyard.test_planting_check import block, planting, site

SPARES: tuple[Spare, ...] = ("none", "vine", "cultivar")
SEASONS = 6


def random_cover(random: np.random.Generator, sources: Sequence[str]) -> CoverBySources:
    """Seasons covered by each set of sources: by one of those that cover the season, or by two together."""
    alone = random.random((len(sources), SEASONS)) < 0.4
    together = random.random((len(sources), len(sources), SEASONS)) < 0.3
    counts = []
    for place in range(2 ** len(sources)):
        among = [number for number in range(len(sources)) if place >> number & 1]
        covered = alone[among].any(axis=0)
        for one, other in itertools.combinations(among, 2):
            covered |= together[one, other]
        counts.append(int(covered.sum()))
    return CoverBySources(tuple(sources), tuple(counts), SEASONS)


def enough(cover: CoverBySources, near: Sequence[str | None], needed: float, spare: Spare) -> bool:
    """Whether vines in reach cover enough seasons, also where one of them, or one cultivar, gives nothing."""
    sources = [each for each in near if each in cover.sources]
    left: Iterator[list[str]]
    match spare:
        case "none":
            left = iter([sources])
        case "vine":
            left = iter([sources[:one] + sources[one + 1 :] for one in range(len(sources))] or [[]])
        case "cultivar":
            left = iter([[each for each in sources if each != lost] for lost in cover.sources])
    return all(cover.covered_by(frozenset(each)) >= needed for each in left)


def brute_force(
    row: Sequence[str | None],
    reached: BoolArray,
    covers: Mapping[str, CoverBySources],
    plant: Sequence[str],
    needed: float,
    spare: Spare,
    most: int,
) -> int | None:
    """The fewest vines to change, by trying all ways to change none, one, two, ... of them."""
    near = [np.flatnonzero(reaches).tolist() for reaches in reached]
    for count in range(most + 1):
        for vines in itertools.combinations(range(len(row)), count):
            for new in itertools.product(plant, repeat=count):
                tried = list(row)
                for vine, cultivar in zip(vines, new, strict=True):
                    tried[vine] = cultivar
                if all(
                    each is None
                    or each not in covers
                    or enough(covers[each], [tried[other] for other in near[vine]], needed, spare)
                    for vine, each in enumerate(tried)
                ):
                    return count
    return None


@pytest.mark.parametrize("spare", SPARES)
@pytest.mark.parametrize("seed", range(8))
def test_no_fewer_vines_would_do_in_rows_of_up_to_14(seed: int, spare: Spare) -> None:
    random = np.random.default_rng([seed, SPARES.index(spare)])
    sources = ["ash", "birch", "cedar"][: random.integers(2, 4)]
    covers = {key: random_cover(random, sources) for key in ("dew", "moss")}
    kinds = ["dew", "moss", "moss", *sources, None]
    length = 14 if seed < 3 else int(random.integers(6, 14))
    row = [kinds[each] for each in random.integers(0, len(kinds), length)]
    places = [VinePlace("row", 6.0 * vine, 0.0, 1, each) for vine, each in enumerate(row)]
    reached = vines_reached(planting(), places)
    needed = int(random.integers(2, SEASONS + 1))
    needs = {
        key: demands(cover, share_of_seasons=needed / SEASONS, spare=spare) for key, cover in covers.items()
    }
    plant = [*sources[:2], *(["dew"] if seed % 2 else [])]
    found = fewest_changes(places, reached, needs, plant, each_met_by=2 if spare == "vine" else 1)
    most = 4 if length > 12 else 5
    expected = brute_force(row, reached, covers, plant, needed, spare, most)
    if expected is None:
        assert found.found == "impossible" or (found.vines is not None and found.vines > most)
    else:
        assert (found.found, found.vines) == ("fewest", expected)


def test_places_with_several_vines_are_as_good_as_single_vines_side_by_side() -> None:
    random = np.random.default_rng(5)
    for _ in range(20):
        cover = random_cover(random, ["ash", "birch"])
        needs = {"dew": demands(cover, share_of_seasons=0.5)}
        kinds = random.choice(["dew", "dew", "ash", "birch"], size=4).tolist()
        vines = random.integers(1, 4, size=4).tolist()
        joint = [
            VinePlace("b", 12.0 * n, 0.0, count, kind)
            for n, (count, kind) in enumerate(zip(vines, kinds, strict=True))
        ]
        single = [
            VinePlace("b", each.x_m, 0.0, 1, each.cultivar) for each in joint for _ in range(each.vines)
        ]
        answers = [
            fewest_changes(places, vines_reached(planting(), places), needs, ["ash", "birch"])
            for places in (joint, single)
        ]
        assert answers[0].vines == answers[1].vines
        assert answers[0].found == answers[1].found


def test_sets_of_sources_are_counted_as_cover_is_computed() -> None:
    random = np.random.default_rng(1)

    def bloom(first: float) -> FloatArray:
        steps = np.array([0.0, 4.0, 9.0])
        day = first + random.integers(-2, 3, (40, 1)) + steps + random.integers(0, 2, (40, 3)).cumsum(axis=1)
        return np.asarray(day)

    past = [
        SeasonBloom(
            2000 + season,
            {
                key: bloom(first + random.integers(-4, 5))
                for key, first in (("dew", 140.0), ("ash", 133.0), ("oak", 146.0))
            },
        )
        for season in range(8)
    ]
    pollen = {"ash": 2, "oak": 1}
    found = cover_by_sources(
        past, "dew", ["ash", "oak"], enough_share=0.7, receptive_days=3, pollen_days_of=pollen
    )
    for sources in ((), ("ash",), ("oak",), ("ash", "oak")):
        shares = [
            np.median(
                covered_share(
                    season,
                    Block("d", "dew", 0, 0),
                    [VineGroup(1, tuple(Block(key, key, 0, 0) for key in sources))],
                    receptive_days=3,
                    pollen_days_of=pollen,
                )
            )
            for season in past
        ]
        assert found.covered_by(frozenset(sources)) == sum(share >= 0.7 for share in shares)
    assert found.covered_by(frozenset({"ash", "oak"})) > max(found.counts[1:3])


@pytest.fixture(scope="module")
def fit() -> Fit:
    return fit_thresholds([site()], stages=BLOOM_STAGES, rule=HeatRule())


def searched(fit: Fit, *blocks: Block, **options: object) -> Layout:
    return layout(planting(*blocks), fit, site(), **{"plant": ["early", "late"], **options})  # type: ignore[arg-type]


def test_a_block_without_its_late_source_is_given_one_and_the_check_of_a_planting_agrees(fit: Fit) -> None:
    blocks = [block("a", "early", 0, 2), block("b", "dew", 10, 20), block("m", "moss", 14, 20)]
    found = searched(fit, *blocks)
    assert found.asked.found.found == "fewest"
    assert found.asked.order == {"late": 1}
    assert [(step.seasons, step.found.vines) for step in found.steps] == [(0, 0), (6, 1)]
    assert [(each.cultivar, each.seasons_covered, each.seasons) for each in found.recomputed] == [
        ("dew", 6, 6),
        ("moss", 6, 6),
    ]
    (change,) = found.asked.found.changes
    kept = {"a": 2, "b": 20, "m": 20} | {change.block: {"a": 2, "b": 20, "m": 20}[change.block] - 1}
    new = [block(each.key, each.cultivar, each.x_m, kept[each.key]) for each in blocks]
    checked = planting_check(
        planting(*new, block("new", "late", change.x_m)), fit, site(), enough_seasons=1.0
    )
    assert not any(each.exposed for each in checked.blocks)


def test_blocks_that_are_kept_are_not_touched_and_what_nothing_reaches_is_said(fit: Fit) -> None:
    blocks = [block("a", "early", 0, 2), block("b", "dew", 10, 20), block("m", "moss", 14, 20)]
    (change,) = searched(fit, *blocks, keep=["b", "m"]).asked.found.changes
    assert (change.block, change.old, change.new) == ("a", "early", "late")
    assert searched(fit, *blocks, keep=["a", "b", "m"]).asked.found.found == "impossible"
    assert searched(fit, *blocks, plant=["early", "dud"], keep=["m"]).asked.found.found == "impossible"


def test_a_blank_field_gets_as_few_pollinizers_as_reach_and_bloom_allow(fit: Fit) -> None:
    field = PlannedField((PlannedRow(9, "dew"), PlannedRow(9, "moss")), vine_spacing_m=6.0, row_spacing_m=4.0)
    found = searched(fit, field=field)
    assert found.vines == 18
    assert found.asked.found.found == "fewest"
    assert {each.seasons_covered for each in found.recomputed} == {6}
    # a source reaches two vines to each side in both rows, so five columns: two of each are the fewest
    assert found.asked.found.vines == 4
    assert found.asked.order == {"early": 2, "late": 2}


def test_places_left_empty_are_planted_only_where_a_source_is_needed(fit: Fit) -> None:
    field = PlannedField((PlannedRow(5, "moss"), PlannedRow(5, None)), vine_spacing_m=6.0)
    found = searched(fit, field=field, keep=["row 1"])
    assert found.asked.order == {"late": 1}
    assert {change.block for change in found.asked.found.changes} == {"row 2"}


def test_each_next_step_has_its_price(fit: Fit, monkeypatch: pytest.MonkeyPatch) -> None:
    """Dew blooms with early in 4 of 10 seasons, with late in 7; in one season with neither."""

    def bloom(first: int) -> FloatArray:
        return np.array([[first, first + 3, first + 7]], dtype=np.float64)

    day = {"dew": [140] * 10, "early": [140] * 4 + [100] * 6, "late": [100] * 2 + [140] * 7 + [100]}
    past = tuple(
        SeasonBloom(2000 + season, {key: bloom(days[season]) for key, days in day.items()})
        for season in range(10)
    )
    monkeypatch.setattr("models.vineyard.layout.past_blooms", lambda *_args, **_options: past)
    blocks = [block("far", "dew", 0, 5), block("mid", "dew", 99, 5), block("e", "early", 104, 5)]
    found = searched(fit, *blocks)
    # all seasons only without the cultivar
    assert [(step.found.vines, step.seasons) for step in found.steps] == [
        (0, 0),
        (1, 4),
        (2, 7),
        (3, 9),
        (10, 10),
    ]
    assert [step.order for step in found.steps][1:4] == [
        {"early": 1},
        {"late": 2},
        {"early": 1, "late": 2},
    ]
    most = searched(fit, *blocks, share_of_seasons=0.9)
    assert [each.seasons_covered for each in most.recomputed] == [9]


def test_without_a_fit_only_reach_is_asked_for() -> None:
    blocks = planting(block("m", "moss", 0, 9), block("n", "moss", 99, 9))
    found = layout(blocks, None, None, plant=["early"])
    assert (found.seasons, found.only_reach, found.asked.found.vines) == ((), ("moss",), 2)
    assert [each.vines_without_source for each in found.recomputed] == [0]
    double = layout(blocks, None, None, plant=["early"], spare="vine")
    assert double.asked.found.vines == 4


def test_what_cannot_be_asked(fit: Fit) -> None:
    moss = block("m", "moss", 0)
    with pytest.raises(BadInput, match="not known"):
        searched(fit, moss, plant=["nobody"])
    with pytest.raises(BadInput, match="share"):
        searched(fit, moss, share_of_seasons=1.2)
    with pytest.raises(BadInput, match="no vine"):
        searched(fit)
