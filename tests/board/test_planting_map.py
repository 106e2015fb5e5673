"""Blocks in place, and who stands without a source."""

from __future__ import annotations

import math

import pytest

from models.records import Block, Cultivar, FlowerType, Planting
from service.board.planting_map import planting_map

CULTIVARS = {
    "lull": Cultivar("lull", "Lull", FlowerType.PISTILLATE, viable_pollen=False),
    "anvil": Cultivar("anvil", "Anvil", FlowerType.PERFECT, viable_pollen=True),
    "loom": Cultivar("loom", "Loom", FlowerType.PERFECT, viable_pollen=False),
}


def planted(*blocks: Block, reach_m: float = 15.0) -> Planting:
    return Planting(blocks, CULTIVARS, reach_m)


def test_shapes_tell_who_is_covered() -> None:
    drawn = planting_map(
        planted(
            Block("a", "lull", 0, 0),
            Block("b", "anvil", 10, 0),
            Block("c", "lull", 50, 0),
            Block("d", "loom", 55, 0),
        )
    )
    assert {place.block: place.shape for place in drawn.places} == {
        "a": "pistillate",
        "b": "source",
        "c": "uncovered",
        "d": "not_viable",
    }
    assert [place.block for place in drawn.uncovered] == ["c"]
    assert len(drawn.links) == 1
    assert drawn.places[0].sources == ("b",)


def test_the_larger_y_is_up_and_the_reach_is_true_to_scale() -> None:
    drawn = planting_map(planted(Block("low", "anvil", 0, 0), Block("high", "anvil", 0, 40)))
    low, high = drawn.places
    assert high.y < low.y
    assert high.x == low.x
    # SVG takes a radius in per cent of the diagonal over sqrt(2)
    radius_m = drawn.reach / 100 * math.hypot(drawn.width_m, drawn.height_m) / math.sqrt(2)
    assert radius_m == pytest.approx(15.0, rel=1e-9, abs=0)
    apart_m = (low.y - high.y) / 100 * drawn.height_m
    assert apart_m == pytest.approx(40.0, rel=1e-9, abs=0)


def test_a_single_block_and_a_long_row_have_room() -> None:
    single = planting_map(planted(Block("a", "lull", 3, 4), reach_m=0.0))
    assert (single.places[0].x, single.places[0].y) == (50, 50)
    row = planting_map(planted(*(Block(f"row-{n}", "anvil", 6.0 * n, 0) for n in range(30))))
    assert row.height_m >= row.width_m / 4
    assert row.least_width > 700
