"""Who gives pollen to whom."""

from __future__ import annotations

import itertools

import pytest

from models.errors import BadInput
from models.records import REACH_M, Block, Cultivar, FlowerType, Planting
from models.vineyard.reach import in_reach, pollen_makers_in_reach, sheds_viable_pollen


def block(key: str, x_m: float, y_m: float = 0.0, neighbours: tuple[str, ...] | None = None) -> Block:
    return Block(key, "tinderling", x_m, y_m, neighbours=neighbours)


def test_distance_decides_where_no_neighbours_are_given() -> None:
    assert in_reach(block("a", 0.0), block("b", 9.0, 12.0), reach_m=15.0)
    assert not in_reach(block("a", 0.0), block("b", 9.0, 12.1), reach_m=15.0)


def test_neighbours_replace_distance_both_ways() -> None:
    near, far = block("near", 1.0), block("far", 500.0)
    asks = block("asks", 0.0, neighbours=("far",))
    assert in_reach(asks, far, reach_m=15.0)
    assert in_reach(far, asks, reach_m=15.0)
    assert not in_reach(asks, near, reach_m=15.0)
    assert not in_reach(near, asks, reach_m=15.0)
    assert in_reach(near, block("c", 2.0), reach_m=15.0)


def test_an_empty_list_of_neighbours_means_none_but_those_that_name_the_block() -> None:
    alone = block("alone", 0.0, neighbours=())
    assert not in_reach(alone, block("b", 1.0), reach_m=15.0)
    assert in_reach(alone, block("b", 1.0, neighbours=("alone",)), reach_m=15.0)


@pytest.mark.parametrize(
    ("flower_type", "viable", "sheds"),
    [
        (FlowerType.PERFECT, True, True),
        (FlowerType.PERFECT, False, False),
        (FlowerType.STAMINATE, True, True),
        (FlowerType.STAMINATE, False, False),
        (FlowerType.PISTILLATE, True, False),  # whatever the record says
        (FlowerType.PISTILLATE, False, False),
    ],
)
def test_who_sheds_viable_pollen(flower_type: FlowerType, viable: bool, sheds: bool) -> None:
    assert sheds_viable_pollen(Cultivar("c", "C", flower_type, viable)) is sheds


def test_a_block_is_no_source_of_its_own() -> None:
    tinderling = {"tinderling": Cultivar("tinderling", "Tinderling", FlowerType.PERFECT, True)}
    a, b, far = block("a", 0.0), block("b", 3.0), block("far", 90.0)
    assert pollen_makers_in_reach(Planting((a, b, far), tinderling), a) == (b,)


def test_an_unknown_cultivar_is_named() -> None:
    a, b = block("a", 0.0), block("b", 3.0)
    with pytest.raises(BadInput, match="unknown cultivar") as caught:
        pollen_makers_in_reach(Planting((a, b), {}), a)
    assert caught.value.problems[0].where == "block b"


def test_fifty_feet_apart_is_within_fifty_feet() -> None:
    feet = [block(f"b{i}", i * 10 * 0.3048, 100 * 0.3048) for i in range(50)]
    pairs = [(one, other) for one, other in itertools.pairwise(feet[::5])]
    assert all(in_reach(one, other, reach_m=REACH_M) for one, other in pairs)
    assert not in_reach(feet[0], feet[6], reach_m=REACH_M)
