"""How a season stands on a day, and what the week ahead asks for."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from models.bloom.forecast import BlockForecast, StageForecast, Status
from models.vineyard.block_pollination import BlockPollination
from models.vineyard.pollen_warnings import (
    Donor,
    OnlySource,
    PollenWarning,
    SourceEndsFirst,
    Span,
    WarningLevel,
)
from models.vineyard.reach import NamedBlock
from models.vineyard.scouting import Plan, PlannedTask, Trip, Window
from models.vineyard.scouting_tasks import FirstCaps
from models.vineyard.season_state import (
    BringPollen,
    FirstLack,
    NextBloom,
    RenewShoots,
    Standing,
    Walk,
    season_state,
    standing,
    week_ahead,
)


def day(number: int) -> dt.date:
    """A day of June 2026."""
    return dt.date(2026, 6, number)


def told(median: int, status: Status = "expected", *, off: int = 2) -> StageForecast:
    return StageForecast(
        status=status,
        median=day(median),
        low=day(median - off),
        high=day(median + off),
        chance=1,
        threshold=1,
    )


def block(key: str, start: StageForecast, end: StageForecast) -> BlockForecast:
    return BlockForecast(key, "lull", "own", {"bloom_start": start, "bloom_end": end})


def pollen(key: str, *warnings: PollenWarning) -> BlockPollination:
    return BlockPollination(
        block=key,
        cultivar="lull",
        sources=(),
        share_of_bloom_covered=None,
        uncovered_days=None,
        uncovered=(),
        warnings=warnings,
    )


def ends_first(key: str, level: WarningLevel, *ahead: Span, past: bool = False) -> PollenWarning:
    of = SourceEndsFirst(NamedBlock("s", "Anvil"), 1, day(4), 5, 0.3)
    return PollenWarning(NamedBlock(key, "Lull"), of, level, 0.8, ahead, ahead, past=past)


@pytest.mark.parametrize(
    ("start", "end", "as_of", "stands"),
    [
        (told(10), told(20), 4, "to_come"),
        (told(10), told(20), 6, "due"),  # the interval begins in two days
        (told(10), told(20), 10, "due"),
        (told(10), told(20), 11, "presumed"),  # the median is past and nobody saw it
        (told(10, "observed"), told(20), 10, "in_bloom"),
        (told(10, "observed"), told(20), 20, "in_bloom"),
        (told(10, "observed"), told(20), 21, "over"),
        (told(10, "observed"), told(14, "observed"), 14, "over"),
        (told(10, "overdue"), told(20), 15, "due"),  # visits say: not yet
    ],
)
def test_where_a_block_stands(start: StageForecast, end: StageForecast, as_of: int, stands: Standing) -> None:
    assert standing(block("a", start, end), day(as_of)) == stands


def test_a_block_without_dates_is_not_known() -> None:
    assert standing(BlockForecast("a", "lull", "none", {}, "cultivar_not_in_fit"), day(4)) == "unknown"


def test_the_state_counts_those_that_lack_pollen_from_here_on() -> None:
    blocks = [block("a", told(3, "observed"), told(12)), block("b", told(15), told(22))]
    found = season_state(
        blocks,
        [
            pollen("a", ends_first("a", "act", (day(9), day(12)))),
            pollen("b", ends_first("b", "watch", (day(20), day(22)))),
            pollen("c", ends_first("c", "watch", past=True)),
            pollen(
                "d", PollenWarning(NamedBlock("d", "Lull"), OnlySource(NamedBlock("s", "Anvil")), "act", 1.0)
            ),
        ],
        day(6),
    )
    assert (found.in_bloom, found.due, found.over) == (("a",), (), ())
    assert found.next == NextBloom("b", day(15), day(13), day(17))
    assert (found.pistillate, found.lacking, found.perhaps) == (4, ("a",), ("b",))
    assert found.first_lack == FirstLack("a", day(9))


def trip(number: int) -> Trip:
    look = PlannedTask("a", "lull", FirstCaps(), Window(day(number), day(number)), 0.9)
    return Trip(day(number), (look,))


def test_the_week_holds_trips_and_pollen_by_day() -> None:
    plan = Plan((trip(6), trip(12), trip(13)), ())
    lacking = [
        pollen("b", ends_first("b", "act", (day(8), day(11)))),
        pollen("c", ends_first("c", "act", (day(8), day(14)))),
        pollen("d", ends_first("d", "act", (day(13), day(14)))),  # a week off
        pollen("e", ends_first("e", "watch", (day(8), day(9)))),  # nothing to act on
    ]
    assert week_ahead(plan, lacking, day(6)) == (
        Walk(day(6), plan.trips[0].tasks),
        BringPollen(day(8), (("b", day(11)), ("c", day(14)))),
        Walk(day(12), plan.trips[1].tasks),
    )


def test_shoots_are_renewed_on_days_of_the_week_on_which_some_can_be_cut() -> None:
    first = ends_first("b", "act", (day(8), day(14)))
    source = Donor(NamedBlock("s", "Anvil"), tuple(day(number) for number in range(8, 12)))
    other = Donor(NamedBlock("t", "Anvil"), (day(10),))
    lacking = [pollen("b", replace(first, donors=(source, other)))]
    assert week_ahead(Plan((), ()), lacking, day(6)) == (
        BringPollen(day(8), (("b", day(14)),)),
        RenewShoots(day(10), (("b", ("s", "t")),)),
    )


def test_without_a_trip_in_the_week_the_next_one_is_told() -> None:
    plan = Plan((trip(20), trip(25)), ())
    assert week_ahead(plan, [], day(6)) == (Walk(day(20), plan.trips[0].tasks),)
    assert week_ahead(Plan((), ()), [], day(6)) == ()
