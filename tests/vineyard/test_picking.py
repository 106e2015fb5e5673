"""The order and the days of picking, against every other order."""

from __future__ import annotations

import datetime as dt
import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import BadInput
from models.vineyard.picking import PickDays, ToPick, pick_days

AS_OF = dt.date(2026, 8, 20)


def august(day: int) -> dt.date:
    return dt.date(2026, 8, 1) + dt.timedelta(days=day - 1)


def test_blocks_are_picked_as_they_ripen_and_wait_for_one_another() -> None:
    blocks = [ToPick("c", 100, august(30)), ToPick("b", 150, august(22)), ToPick("a", 250, august(21))]
    assert pick_days(blocks, vines_a_day=100, as_of=AS_OF) == (
        PickDays("a", august(21), august(23), 2.5, 0),
        PickDays("b", august(23), august(24), 1.5, 1),
        PickDays("c", august(30), august(30), 1.0, 0),
    )
    late = pick_days([ToPick("a", 1, august(1))], vines_a_day=100, as_of=AS_OF)
    assert late == (PickDays("a", AS_OF, AS_OF, 0.01, 19),)
    with pytest.raises(BadInput):
        pick_days(blocks, vines_a_day=0, as_of=AS_OF)


@given(
    st.lists(st.tuples(st.integers(20, 40), st.integers(1, 400)), min_size=1, max_size=5),
    st.sampled_from([50.0, 100.0, 130.0]),
)
def test_no_other_order_is_done_sooner_nor_makes_the_longest_time_from_ripe_to_picked_shorter(
    told: list[tuple[int, int]], rate: float
) -> None:
    def of(order: tuple[tuple[int, int], ...]) -> tuple[float, float]:
        done, longest = 0.0, 0.0
        for ripe, vines in order:
            done = max(done, float(ripe)) + vines / rate
            longest = max(longest, done - ripe)
        return done, longest

    blocks = [ToPick(f"b{place}", vines, august(ripe)) for place, (ripe, vines) in enumerate(told)]
    found = pick_days(blocks, vines_a_day=rate, as_of=AS_OF)
    orders = [of(order) for order in itertools.permutations(told)]
    best_done, best_time = (min(order[place] for order in orders) for place in (0, 1))
    ripe = {block.block: block.ripe for block in blocks}
    whole_days = [(each.last - ripe[each.block]).days + 1 for each in found]
    assert (max(each.last for each in found) - august(0)).days + 1 == math.ceil(round(best_done, 9))
    assert max(whole_days) == math.ceil(round(best_time, 9))
    assert sum(each.days for each in found) == pytest.approx(sum(vines for _, vines in told) / rate)
