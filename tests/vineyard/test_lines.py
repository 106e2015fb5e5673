"""Rows as lines: what is said of a line is what its vines one by one would have."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.errors import BadInput
from models.records import Block, Cultivar
from models.vineyard.block_pollination import BlockPollination
from models.vineyard.pollen_warnings import SourceEndsFirst, VinesOutOfReach
from models.vineyard.pollination import pollination
from models.vineyard.reach import distance_m, in_reach, vine_groups, vine_places
from service.words.pollen_warnings import warning_words
from tests.vineyard.test_pollination import DEW, EARLY, SAFE, TINDERLING, draws_of, planting

Ends = tuple[int, int, int, int]
ENDS = st.tuples(*[st.integers(0, 30)] * 4).filter(lambda ends: ends[:2] != ends[2:])


def line(key: str, cultivar: Cultivar, ends: Ends, vines: int) -> Block:
    x1, y1, x2, y2 = map(float, ends)
    return Block(key, cultivar.key, x1, y1, vines, x2_m=x2, y2_m=y2)


def one_by_one(block: Block) -> list[Block]:
    return [
        Block(f"{block.key}-{vine}", block.cultivar, x, y)
        for vine, (x, y) in enumerate(vine_places(block).tolist())
    ]


def test_vines_stand_evenly_from_end_to_end() -> None:
    row = line("row", DEW, (0, 0, 30, 40), 6)
    assert vine_places(row).tolist() == [[6.0 * n, 8.0 * n] for n in range(6)]
    assert vine_places(Block("a", "dew", 3.0, 4.0, 50)).tolist() == [[3.0, 4.0]]


@settings(deadline=None)
@given(ENDS, ENDS, st.integers(2, 7), st.integers(2, 7))
def test_distance_runs_from_vine_to_nearest_vine(one: Ends, other: Ends, vines: int, more: int) -> None:
    row, next_row = line("row", DEW, one, vines), line("next", TINDERLING, other, more)
    nearest = min(
        math.dist(vine, source)
        for vine in vine_places(row).tolist()
        for source in vine_places(next_row).tolist()
    )
    assert distance_m(row, next_row) == pytest.approx(nearest, abs=1e-9)
    assert distance_m(next_row, row) == pytest.approx(nearest, abs=1e-9)


def test_two_halves_of_a_row_reach_each_other() -> None:
    """Between their middles lie 60 m, between their nearest vines 3."""
    left, right = line("left", DEW, (0, 0, 57, 0), 20), line("right", TINDERLING, (60, 0, 117, 0), 20)
    assert distance_m(left, right) == pytest.approx(3.0, abs=1e-9)
    (near, far) = sorted(vine_groups(left, [right], reach_m=15.24), key=lambda group: not group.in_reach)
    assert (near.vines, near.in_reach) == (5, (right,))  # at 45, 48, .. 57 m
    assert (far.vines, far.in_reach) == (15, ())


def test_lists_of_neighbours_hold_for_all_vines() -> None:
    row = Block("row", "dew", 0.0, 0.0, 9, ("far",), x2_m=80.0, y2_m=0.0)
    far, near = Block("far", "tinderling", 900.0, 0.0), Block("near", "tinderling", 1.0, 0.0)
    assert in_reach(row, far, reach_m=15.0)
    assert not in_reach(row, near, reach_m=15.0)
    (all_vines,) = vine_groups(row, [far, near], reach_m=15.0)
    assert (all_vines.vines, all_vines.in_reach) == (9, (far,))


def cover_of(blocks: tuple[BlockPollination, ...]) -> list[float]:
    return [block.share_of_bloom_covered.median for block in blocks if block.share_of_bloom_covered]


@settings(deadline=None, max_examples=60)
@given(ENDS, ENDS, ENDS, st.integers(2, 6), st.integers(2, 5))
def test_cover_of_a_line_is_the_mean_of_its_vines(
    own: Ends, early: Ends, safe: Ends, vines: int, more: int
) -> None:
    row = line("row", DEW, own, vines)
    sources = [line("early", TINDERLING, early, more), line("safe", TINDERLING, safe, more)]
    bloom = {"row": [EARLY["b1"]], "early": [EARLY["b7"]], "safe": [(155.0, 160.0, 166.0)]}
    apart = [*one_by_one(row), *one_by_one(sources[0]), *one_by_one(sources[1])]
    (found,) = pollination(planting(row, *sources), draws_of(bloom))
    each = pollination(
        planting(*apart), draws_of({block.key: bloom[block.key.split("-")[0]] for block in apart})
    )
    (covered,) = cover_of((found,))
    assert covered == pytest.approx(np.mean(cover_of(each)), abs=1e-12)
    assert found.uncovered_days is not None
    days = [block.uncovered_days.median for block in each if block.uncovered_days]
    assert found.uncovered_days.median == np.rint(np.mean(days))


def test_vines_that_no_source_reaches_are_counted_and_told() -> None:
    # vines at 0, 10, .. 90 m, the source at 10 m: three within 15 m
    row, source = line("b1", DEW, (0, 0, 90, 0), 10), Block("b7", "tinderling", 10.0, 0.0)
    (found,) = pollination(planting(row, source), draws_of({"b1": [SAFE["b1"]], "b7": [SAFE["b7"]]}))
    assert found.share_of_bloom_covered is not None
    assert found.share_of_bloom_covered.median == pytest.approx(0.3, abs=1e-9)
    (alone,) = found.sources
    assert alone.share_of_bloom_covered == pytest.approx(0.3, abs=1e-9)
    assert alone.share_lost_without_it == pytest.approx(0.3, abs=1e-9)
    told = {warning.code: warning for warning in found.warnings}
    assert set(told) == {"no_pollen_source_in_reach", "single_pollen_source"}
    out = told["no_pollen_source_in_reach"]
    assert (out.of, out.level, out.chance) == (VinesOutOfReach(7, 10, 15.0), "act", 1.0)
    assert out.spans == tuple(run.span for run in found.uncovered)
    assert out.spans
    assert found.uncovered[0].share_of_bloom == pytest.approx(0.7, abs=0.02)
    assert "Of 10 vines of block b1 (Dewlight), 7 vines stand farther than 15 m (49 ft)" in warning_words(out)


def test_a_source_that_ends_first_where_it_is_alone_is_told_of_that_part() -> None:
    # b7 reaches all five vines, b8 the two at 30 and 40 m; b8 blooms on after b7
    row = line("b1", DEW, (0, 0, 40, 0), 5)
    sources = [line("b7", TINDERLING, (0, 5, 40, 5), 5), Block("b8", "tinderling", 40.0, 0.0)]
    bloom = {"b1": [EARLY["b1"]], "b7": [EARLY["b7"]], "b8": [(150.0, 156.0, 165.0)]}
    (found,) = pollination(planting(row, *sources), draws_of(bloom))
    (late,) = [warning for warning in found.warnings if warning.code == "pollen_ends_early"]
    lost = 1 / (1 + 19 ** (1 / 5))  # after 5 June, one day past full bloom
    assert isinstance(late.of, SourceEndsFirst)
    assert late.of.lost_share == pytest.approx(3 / 5 * lost, abs=0.02)
    assert "Block b7 (Tinderling) is expected to finish on 4 June, 5 days before block b1" in warning_words(
        late
    )


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({"x2_m": 5.0}, "y2_m"),
        ({"y2_m": 5.0}, "x2_m"),
        ({"x2_m": 0.0, "y2_m": 0.0, "vines": 3}, "x2_m"),
        ({"x2_m": 5.0, "y2_m": 0.0}, "vines"),
        ({"x2_m": 5.0, "y2_m": 0.0, "vines": 10_001}, "vines"),
    ],
)
def test_lines_that_cannot_be(fields: dict[str, float], where: str) -> None:
    with pytest.raises(BadInput) as caught:
        Block("b", "dew", 0.0, 0.0, **fields)  # type: ignore[arg-type]
    assert [each.where for each in caught.value.problems] == [where]
