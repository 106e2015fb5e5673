"""What bloom logs and visits say of the day of each stage."""

import datetime as dt
import itertools
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.bloom.looks import contradictions, looks_by_place, stage_intervals
from models.bloom.site import Site
from models.records import BloomLogRow, StageInterval, Visit
from models.stages import STAGES, Stage
from tests.bloom.simulated import weather

NORTH, SOUTH = 31.0, -34.0
WEATHER = weather("2024-01-01", "2024-12-31")


def may(day: int) -> dt.date:
    return dt.date(2024, 5, day)


def percents(seen: dict[int, float], *, observer: str | None = None) -> list[Visit]:
    return [Visit(may(day), "alder", "b1", percent, None, observer) for day, percent in seen.items()]


def codes(seen: dict[int, int]) -> list[Visit]:
    return [Visit(may(day), "alder", "b1", None, code) for day, code in seen.items()]


def log(dates: dict[str, dt.date], *, checked_every_days: int = 1, season: int = 2024) -> BloomLogRow:
    return BloomLogRow(season, "alder", "b1", dates, checked_every_days)


def days(found: tuple[StageInterval, ...]) -> dict[str, tuple[int | None, int | None]]:
    """Days of May by stage, for observations of one block in one season."""
    assert len({(seen.season, seen.cultivar, seen.block) for seen in found}) == 1
    return {seen.stage: (day_of_may(seen.after), day_of_may(seen.by)) for seen in found}


def day_of_may(date: dt.date | None) -> int | None:
    return None if date is None else (date - may(1)).days + 1


def from_visits(*visits: list[Visit]) -> dict[str, tuple[int | None, int | None]]:
    return days(stage_intervals([], list(itertools.chain(*visits)), latitude=NORTH))


def test_a_log_date_reaches_back_to_the_check_before() -> None:
    found = stage_intervals([log({"full_bloom": may(20)}, checked_every_days=3)], [], latitude=NORTH)
    assert found == (StageInterval(2024, "alder", "b1", "full_bloom", may(17), may(20)),)


def test_a_log_says_nothing_before_its_day_not_even_not_yet() -> None:
    row = log({"bloom_start": may(10), "full_bloom": may(20)}, checked_every_days=7)
    site = Site("here", NORTH, WEATHER, (row,))
    assert days(site.known_on(may(19)).seen) == {"bloom_start": (3, 10)}
    assert days(site.known_on(may(20)).seen)["full_bloom"] == (13, 20)


def test_the_later_of_two_log_rows_counts_stage_by_stage() -> None:
    rows = [log({"bloom_start": may(8), "full_bloom": may(14)}), log({"full_bloom": may(15)})]
    found = days(stage_intervals(rows, [], latitude=NORTH))
    assert found == {"bloom_start": (7, 8), "full_bloom": (14, 15)}


def test_visits_hold_each_stage_between_two_looks() -> None:
    assert from_visits(percents({1: 0, 8: 10, 15: 49.9, 22: 95})) == {
        "bloom_start": (1, 8),
        "full_bloom": (15, 22),
        "bloom_end": (15, 22),
    }


def test_seen_at_the_first_look_has_no_after_and_never_seen_no_by() -> None:
    assert from_visits(percents({8: 30, 15: 70})) == {
        "bloom_start": (None, 8),
        "full_bloom": (8, 15),
        "bloom_end": (15, None),
    }


@pytest.mark.parametrize("stage", STAGES, ids=lambda stage: stage.key)
def test_a_bbch_code_reaches_its_own_stage_and_no_later_one(stage: Stage) -> None:
    place = STAGES.index(stage)
    code = stage.bbch
    found = from_visits(codes({5: code - 1, 9: code}))
    assert found[stage.key] == (5, 9)
    assert all(found[earlier.key] == (None, 5) for earlier in STAGES[:place])
    assert all(found[later.key] == (9, None) for later in STAGES[place + 1 :])


def test_codes_of_vines_going_dormant_say_nothing() -> None:
    """January's 97 belongs to the leaves of the season before."""
    january = Visit(dt.date(2024, 1, 9), "alder", "b1", None, 97)
    assert stage_intervals([], [january], latitude=NORTH) == ()
    assert from_visits([january], codes({5: 60, 9: 61}))["bloom_start"] == (5, 9)


def test_caps_off_decide_on_bloom_and_codes_on_the_rest() -> None:
    both = [Visit(may(8), "alder", "b1", 8.0, 61)]
    found = from_visits(codes({1: 57}), both)
    assert found["bloom_start"] == (8, None)
    assert found["budbreak"] == (None, 1)


def test_percentages_alone_say_nothing_of_stages_outside_bloom() -> None:
    assert set(from_visits(percents({1: 0, 8: 60, 15: 100}))) == {"bloom_start", "full_bloom", "bloom_end"}


def test_caps_off_close_a_budbreak_that_a_code_left_open() -> None:
    assert from_visits(codes({1: 3}), percents({8: 0, 15: 2}))["budbreak"] == (1, 15)
    assert from_visits(codes({1: 3}), percents({8: 0}))["budbreak"] == (1, None)


def test_observers_of_one_day_are_averaged() -> None:
    seen = percents({8: 8}, observer="first") + percents({8: 14}, observer="second")
    assert from_visits(percents({1: 0}), seen)["full_bloom"] == (8, None)
    (look,) = looks_by_place(seen, latitude=NORTH)[2024, "alder", "b1"]
    assert look.percent_open == 11


def test_a_day_on_which_observers_disagree_on_a_stage_says_nothing_of_it() -> None:
    seen = percents({8: 8}, observer="first") + percents({8: 14}, observer="second")
    around = percents({1: 0, 15: 60})
    assert from_visits(around, seen)["bloom_start"] == (1, 15)
    (found,) = contradictions([*around, *seen], latitude=NORTH)
    assert list(found.visits) == seen


def test_visits_that_contradict_each_other_are_named() -> None:
    falling = percents({4: 60, 8: 5, 12: 0})
    assert from_visits(falling)["full_bloom"] == (8, None)  # one look wider than the two that agree
    (found,) = contradictions(falling, latitude=NORTH)
    assert (found.season, found.block, list(found.visits)) == (2024, "b1", falling)
    assert contradictions(percents({4: 60, 8: 55, 12: 100, 15: 96}), latitude=NORTH) == ()


def test_of_an_even_number_of_codes_the_lower_middle_counts() -> None:
    """Codes are ordinal: 57 and 65 do not make 61."""
    (look,) = looks_by_place(codes({8: 57}) + codes({8: 65}), latitude=NORTH)[2024, "alder", "b1"]
    assert look.bbch == 57


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        ({1: 0, 4: 80, 6: 0, 9: 5, 12: 40}, (6, 12)),  # a slip among those that have not come: one look wider
        ({1: 0, 4: 20, 6: 50, 9: 0, 12: 100}, (1, 6)),  # a slip among those that have
        ({1: 0, 30: 0, 8: 20, 15: 60, 22: 100}, (1, 15)),  # "nothing open" after the end
        ({1: 8, 2: 12, 3: 9, 4: 15}, (1, 4)),  # to and fro about the stage: both changes fit
        ({1: 0, 4: 80, 6: 0}, (1, None)),  # one of two erred, no one knows which
        ({1: 12, 2: 9, 3: 15}, (None, 3)),
    ],
)
def test_contradicting_looks(seen: dict[int, float], expected: tuple[int | None, int | None]) -> None:
    assert from_visits(percents(seen))["bloom_start"] == expected


def test_two_looks_that_exclude_each_other_say_nothing() -> None:
    assert "bloom_start" not in from_visits(percents({1: 12, 2: 9}))


@pytest.mark.parametrize(
    ("logged", "every", "seen", "expected"),
    [
        (6, 3, {1: 0, 8: 20}, (3, 6)),  # both hold
        (6, 9, {1: 0, 8: 20}, (1, 6)),
        (9, 4, {1: 0, 8: 20}, (5, 8)),
        (8, 1, {1: 0, 8: 20}, (1, 8)),  # the log repeats the visit
        (8, 1, {8: 20}, (7, 8)),  # which had no look before it
        (20, 1, {1: 0, 8: 20}, (1, 8)),  # two looks against one date
        (6, 1, {8: 2}, (5, 6)),  # one look against one date
        (6, 3, {6: 0, 9: 20}, (6, 9)),
        (15, 2, {8: 20}, (13, 15)),
        (15, 2, {14: 5}, (14, 15)),
    ],
)
def test_log_and_visits_together(
    logged: int, every: int, seen: dict[int, float], expected: tuple[int | None, int | None]
) -> None:
    row = log({"bloom_start": may(logged)}, checked_every_days=every)
    assert days(stage_intervals([row], percents(seen), latitude=NORTH))["bloom_start"] == expected


def test_seasons_cultivars_and_blocks_stay_apart_and_in_order() -> None:
    visits = [
        Visit(dt.date(2023, 11, 20), "birch", "b2", 20.0),
        Visit(dt.date(2024, 1, 2), "birch", "b2", 100.0),
        Visit(dt.date(2023, 11, 20), "alder", None, 60.0),
        Visit(dt.date(2023, 4, 1), "birch", "b2", 100.0),
    ]
    row = BloomLogRow(2024, "birch", None, {"full_bloom": dt.date(2023, 12, 1)})
    found = stage_intervals([row], visits, latitude=SOUTH)
    assert [(seen.season, seen.cultivar, seen.block, seen.stage) for seen in found] == [
        *((2023, "birch", "b2", stage) for stage in ("bloom_start", "full_bloom", "bloom_end")),
        *((2024, "alder", None, stage) for stage in ("bloom_start", "full_bloom", "bloom_end")),
        (2024, "birch", None, "full_bloom"),
        *((2024, "birch", "b2", stage) for stage in ("bloom_start", "full_bloom", "bloom_end")),
    ]
    by_key = {(seen.season, seen.block, seen.stage): seen for seen in found}
    assert by_key[2024, "b2", "full_bloom"].after == dt.date(2023, 11, 20)
    assert by_key[2024, "b2", "full_bloom"].by == dt.date(2024, 1, 2)


VISITS = st.builds(
    Visit,
    date=st.dates(dt.date(2024, 4, 1), dt.date(2024, 8, 1)),
    cultivar=st.sampled_from(["alder", "birch"]),
    block=st.sampled_from(["b1", None]),
    percent_open=st.none() | st.floats(0, 100),
    bbch=st.none() | st.integers(0, 99),
    observer=st.sampled_from(["first", "second"]),
)
ROWS = st.builds(
    BloomLogRow,
    season=st.just(2024),
    cultivar=st.sampled_from(["alder", "birch"]),
    block=st.sampled_from(["b1", None]),
    dates=st.dictionaries(
        st.sampled_from([stage.key for stage in STAGES]), st.dates(dt.date(2024, 3, 1), dt.date(2024, 9, 1))
    ),
    checked_every_days=st.integers(1, 14),
)


@given(st.lists(ROWS, max_size=3), st.lists(VISITS, max_size=12), st.randoms(use_true_random=False))
def test_any_records_give_one_interval_a_stage_whatever_the_order_of_visits(
    rows: list[BloomLogRow], visits: list[Visit], shuffler: Random
) -> None:
    found = stage_intervals(rows, visits, latitude=NORTH)
    keys = [(seen.season, seen.cultivar, seen.block, seen.stage) for seen in found]
    assert len(keys) == len(set(keys))
    mixed = list(visits)
    shuffler.shuffle(mixed)
    assert stage_intervals(rows, mixed, latitude=NORTH) == found


@given(st.dictionaries(st.integers(1, 31), st.floats(0, 100), min_size=1))
def test_looks_that_never_fall_bracket_every_stage_exactly(seen: dict[int, float]) -> None:
    """Against the definition: last day below the stage's percentage, first at or above it."""
    rising = dict(zip(sorted(seen), sorted(seen.values()), strict=True))
    found = from_visits(percents(rising))
    for stage in STAGES:
        if stage.percent_open is not None:
            below = [day for day, percent in rising.items() if percent < stage.percent_open]
            above = [day for day, percent in rising.items() if percent >= stage.percent_open]
            assert found[stage.key] == (max(below, default=None), min(above, default=None))
