"""Vines in reach of pollen, and the load of the busiest source vine."""

from __future__ import annotations

from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from models.records import Block, Cultivar, FlowerType, Planting
from models.vineyard.vine_counts import heaviest_load, who_serves_whom

DEW = Cultivar("dew", "Dewlight", FlowerType.PISTILLATE, viable_pollen=False)
TINDERLING = Cultivar("tinderling", "Tinderling", FlowerType.PERFECT, viable_pollen=True)
HEDGE = Cultivar("hedge", "Hedge vines", FlowerType.STAMINATE, viable_pollen=True)
DUD = Cultivar("dud", "Pale Lantern", FlowerType.PERFECT, viable_pollen=False)
CULTIVARS = {cultivar.key: cultivar for cultivar in (DEW, TINDERLING, HEDGE, DUD)}


def planting(*blocks: tuple[str, float, int]) -> Planting:
    return Planting(
        tuple(Block(f"b{number}", key, x, 0.0, vines) for number, (key, x, vines) in enumerate(blocks)),
        CULTIVARS,
    )


def test_who_needs_pollen_who_gives_it_and_who_is_reached() -> None:
    found = who_serves_whom(
        planting(
            ("dew", 0, 20),
            ("tinderling", 15, 4),
            ("dud", 1, 9),
            ("hedge", 40, 1),
            ("dew", 200, 5),
            ("dew", 30, 7),
        )
    )
    assert [block.key for block in found.pistillate] == ["b0", "b4", "b5"]
    assert [block.key for block in found.sources] == ["b1", "b3"]
    assert found.reached.tolist() == [[True, False], [False, False], [True, True]]
    assert (found.pistillate_vines, found.source_vines, found.vines_in_reach) == (32, 5, 27)
    ((whole,),) = [found.groups[2]]
    assert (whole.vines, [block.key for block in whole.in_reach]) == (7, ["b1", "b3"])


def test_load_is_shared_as_evenly_as_reach_allows() -> None:
    # 20 vines can only be served by the 4 of b1; 7 can go to the 1 of b2, though it then has more than b1's 5 each.
    both = planting(("dew", 0, 20), ("tinderling", 15, 4), ("hedge", 40, 1), ("dew", 30, 7))
    assert heaviest_load(who_serves_whom(both)) == 6  # b1 takes 4 x 6 = 24, b2 the other 3
    alone = planting(("dew", 0, 20), ("tinderling", 15, 4))
    assert heaviest_load(who_serves_whom(alone)) == 5
    assert heaviest_load(who_serves_whom(planting(("dew", 0, 20), ("tinderling", 99, 4)))) is None
    assert heaviest_load(who_serves_whom(planting(("tinderling", 0, 4)))) is None
    assert heaviest_load(who_serves_whom(planting(("dew", 0, 1), ("tinderling", 0, 4)))) == 1


def test_vines_of_a_line_are_counted_one_by_one() -> None:
    # Vines at 0, 10, .. 100 m; the source's at 20 and 40 m reach those from 10 to 50 m, 30 m by both (reach 15.24 m).
    row = Block("row", "dew", 0.0, 0.0, 11, x2_m=100.0, y2_m=0.0)
    pair = Block("pair", "tinderling", 20.0, 0.0, 2, x2_m=40.0, y2_m=0.0)
    found = who_serves_whom(Planting((row, pair), CULTIVARS))
    assert (found.pistillate_vines, found.source_vines, found.vines_in_reach) == (11, 2, 5)
    assert {group.vines for group in found.groups[0] if group.in_reach} == {5}
    assert heaviest_load(found) == 3
    one_by_one = Planting(
        (
            *(Block(f"r{place}", "dew", 10.0 * place, 0.0) for place in range(11)),
            *(Block(f"p{place}", "tinderling", 20.0 * place, 0.0) for place in (1, 2)),
        ),
        CULTIVARS,
    )
    apart = who_serves_whom(one_by_one)
    assert apart.reached.tolist() == found.reached.tolist()
    assert heaviest_load(apart) == 3


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.tuples(st.just("dew"), st.integers(0, 50), st.just(1)), min_size=1, max_size=5),
    st.lists(st.tuples(st.just("tinderling"), st.integers(0, 50), st.just(1)), min_size=1, max_size=3),
)
def test_load_equals_the_best_of_all_ways_to_share(
    pistillate: list[tuple[str, int, int]], sources: list[tuple[str, int, int]]
) -> None:
    found = who_serves_whom(planting(*pistillate, *sources))
    choices = [row.nonzero()[0].tolist() for row in found.reached if row.any()]
    loads = [max(map(chosen.count, chosen), default=0) for chosen in product(*choices)]
    assert heaviest_load(found) == (min(loads) if choices else None)
