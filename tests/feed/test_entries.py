"""What the entries say, and on which days they stand."""

from __future__ import annotations

import datetime as dt

from models.bloom.cautions import KeepToLabels
from models.bloom.forecast import BlockForecast, StageForecast, Status
from models.records import Block, Cultivar, FlowerType, Planting
from models.vineyard.pollen_warnings import (
    BloomNotForecast,
    BloomUnfinished,
    GapBetweenSources,
    SourceEndsFirst,
)
from models.vineyard.pollination import BlockPollination, PollenWarning
from models.vineyard.reach import NamedBlock
from models.vineyard.scouting import (
    MissedTask,
    Plan,
    PlannedTask,
    TooLate,
    Trip,
    Window,
    WrongWeekdays,
)
from models.vineyard.scouting_tasks import CropLoad, FirstCaps, SetCount
from service.feed.entries import names_of, season_entries, without_window
from service.feed.trips import missed_tasks, trip_entries
from service.words.cautions import caution_words
from service.words.pollen_warnings import warning_words
from service.words.scouting import look_for, why_look, why_missed

ASH = Cultivar("thimble-ash", 'Thimble Ash, "late"; north', FlowerType.PISTILLATE, viable_pollen=False)
PLANTING = Planting(
    (Block("b1", "thimble-ash", 0, 0), Block("b2", "thimble-ash", 5, 0)), {"thimble-ash": ASH}
)


NAMED = NamedBlock("b1", ASH.name)


def june(day: int) -> dt.date:
    return dt.date(2026, 6, day)


def stage(
    median: dt.date | None,
    low: dt.date | None = None,
    high: dt.date | None = None,
    *,
    status: Status = "expected",
    chance: float = 1.0,
) -> StageForecast:
    return StageForecast(status=status, median=median, low=low, high=high, chance=chance, threshold=600.0)


BLOOM = {
    "bloom_start": stage(june(2), june(1), june(2), status="observed"),
    "full_bloom": stage(june(5), june(4), june(7)),
    "bloom_end": stage(june(11), june(9), None, chance=0.93),
}
FORECAST = BlockForecast("b1", "thimble-ash", "own", BLOOM)


def pollinated(*warnings: PollenWarning) -> BlockPollination:
    return BlockPollination(
        block="b1",
        cultivar="thimble-ash",
        sources=(),
        share_of_bloom_covered=None,
        uncovered_days=None,
        uncovered=(),
        warnings=warnings,
    )


def test_a_bloom_window_has_medians_in_its_title_and_ranges_in_its_text() -> None:
    (entry,) = season_entries([FORECAST], [], PLANTING, interval=0.8)
    assert (entry.key, entry.first_day, entry.last_day) == ("bloom/b1", june(2), june(11))
    assert entry.title == 'Block b1 (Thimble Ash, "late"; north): bloom 2 June to 11 June, full 5 June'
    assert entry.text.splitlines() == [
        "Bloom start (10 % of caps off): 2 June, 80 % range 1 June to 2 June; seen.",
        "Full bloom (50 % of caps off): 5 June, 80 % range 4 June to 7 June; expected.",
        "Bloom end (95 % of caps off): 11 June, 80 % range from 9 June on; expected, 93 % chance this season.",
        "",
        caution_words(KeepToLabels()),
    ]


def test_a_window_stands_on_the_medians_that_there_are() -> None:
    unlikely = stage(None, june(28), None, status="unlikely", chance=0.3)
    late = BlockForecast("b1", "thimble-ash", "pooled", {**BLOOM, "bloom_end": unlikely})
    (entry,) = season_entries([late], [], PLANTING, interval=0.8)
    assert (entry.first_day, entry.last_day) == (june(2), june(5))
    assert "Bloom end (95 % of caps off): unlikely this season, 30 % chance." in entry.text
    assert "lean on the other cultivars" in entry.text


def test_a_block_without_a_window_has_no_entry_but_is_named() -> None:
    unknown = BlockForecast("b1", "thimble-ash", "none", {}, "cultivar_not_in_fit")
    never = BlockForecast("b2", "thimble-ash", "own", {"full_bloom": stage(None, status="unlikely")})
    gap = PollenWarning(NAMED, GapBetweenSources(0.3), "act", 0.8)
    assert list(season_entries([unknown, never], [pollinated(gap)], PLANTING, interval=0.8)) == []
    said = without_window([unknown, never, FORECAST], PLANTING)
    assert said == [
        'No bloom forecast for block b1 (Thimble Ash, "late"; north): no bloom of cultivar thimble-ash is in the fit, '
        "nor of another of its species; log a season of it, say which cultivar it blooms like (blooms_like), or import "
        "a fit that has it.",
        'No bloom forecast for block b2 (Thimble Ash, "late"; north): may not bloom this season.',
    ]


def test_a_warning_says_level_chance_and_message_and_one_code_is_one_entry() -> None:
    ends = SourceEndsFirst(NamedBlock("b7", "Hush"), 1, june(6), 5, 0.4)
    early = PollenWarning(NAMED, ends, "act", 0.83, ((june(8), june(13)),))
    one = PollenWarning(NAMED, BloomNotForecast(), "act", 1.0)
    two = PollenWarning(NAMED, BloomUnfinished(), "watch", 0.25)
    block = pollinated(early, one, two)
    _, first, second = season_entries([FORECAST], [block], PLANTING, interval=0.8)
    assert (first.key, first.first_day, first.last_day) == (
        "warning/pollen_ends_early/b1",
        june(8),
        june(13),
    )
    assert first.title == 'Act: block b1 (Thimble Ash, "late"; north), pollen ends early'
    assert first.text == f"{warning_words(early)}\nLevel: act. Chance: 83 %."
    assert (second.key, second.first_day, second.last_day) == ("warning/unknown_bloom/b1", june(2), june(11))
    assert warning_words(one) in second.text
    assert warning_words(two) in second.text


def test_a_frosted_block_says_why_its_window_is_wide() -> None:
    frosted = BlockForecast("b1", "thimble-ash", "own", BLOOM, share_killed=1.0)
    (entry,) = season_entries([frosted], [], PLANTING, interval=0.8)
    assert any(line.startswith("Marked as frosted:") for line in entry.text.splitlines())


def test_a_trip_says_what_to_do_where_and_why() -> None:
    days = Window(june(1), june(4))
    caps = [PlannedTask(key, "thimble-ash", FirstCaps(), days, 0.9) for key in ("b1", "b2")]
    count = PlannedTask("b1", "thimble-ash", SetCount(), Window(june(3), june(3)), 0.6)
    plan = Plan((Trip(june(3), (*caps, count)),), ())
    (entry,) = trip_entries(plan, {june(3): "set_count/b1"}, names_of(PLANTING))
    assert (entry.key, entry.first_day, entry.last_day) == ("trip/set_count/b1", june(3), june(3))
    assert entry.title == "Walk the rows: first caps (b1, b2) and set count (b1)"
    assert entry.text.splitlines() == [
        "First caps",
        '- block b1 (Thimble Ash, "late"; north), good from 1 June to 4 June',
        '- block b2 (Thimble Ash, "late"; north), good from 1 June to 4 June',
        f"Look for: {look_for(FirstCaps())}",
        f"Why: {why_look(FirstCaps())}",
        "",
        "Set count",
        '- block b1 (Thimble Ash, "late"; north), good on 3 June',
        f"Look for: {look_for(SetCount())}",
        f"Why: {why_look(SetCount())}",
    ]


def test_many_blocks_are_counted_in_a_title() -> None:
    keys = [f"b{number}" for number in range(40)]
    names = dict(zip(keys, keys, strict=True))
    days = Window(june(1), june(4))
    tasks = [PlannedTask(key, "thimble-ash", FirstCaps(), days, 0.9) for key in keys]
    (entry,) = trip_entries(Plan((Trip(june(3), tuple(tasks)),), ()), {june(3): "first_caps/b0"}, names)
    assert entry.title == "Walk the rows: first caps (40 blocks)"
    assert all(f"- {key}, " in entry.text for key in keys)


def test_a_task_that_can_still_be_done_is_named_when_no_trip_does_it() -> None:
    days = Window(june(1), june(4))
    berries = CropLoad()
    no_monday = WrongWeekdays(june(2), june(4), (0,))
    open_task = MissedTask(
        block="b1",
        cultivar="thimble-ash",
        look=berries,
        window=days,
        missed=no_monday,
        best_day=june(2),
        best_chance=0.7,
    )
    over = MissedTask(block="b2", cultivar="thimble-ash", look=berries, window=days, missed=TooLate())
    assert missed_tasks(Plan((), (open_task, over)), {"b1": "block b1", "b2": "block b2"}) == [
        f"On no trip: crop load in block b1. {why_missed(open_task)}"
    ]
