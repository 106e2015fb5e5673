"""A change raises the sequence, nothing else does; what is gone is cancelled; a trip that moves keeps its number."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from service.usecases.calendar import Entry, Revision, revise, suppose, trip_subjects

FIRST = dt.datetime(2026, 5, 4, 21, 17, 3, tzinfo=dt.UTC)
LATER = FIRST + dt.timedelta(days=1)
TODAY = dt.date(2026, 5, 5)
BLOOM = Entry(
    kind="bloom",
    subject="b1",
    first_day=dt.date(2026, 5, 28),
    last_day=dt.date(2026, 6, 9),
    title="Bloom",
    text="Text",
)
WARNING = Entry(
    kind="warning",
    subject="pollen_gap/b1",
    first_day=dt.date(2026, 6, 1),
    last_day=dt.date(2026, 6, 3),
    title="Gap",
    text="Text",
)


def trip(name: str, day: dt.date, *, cancelled: bool = False) -> Entry:
    return Entry(
        kind="trip",
        subject=name,
        first_day=day,
        last_day=day,
        title="Walk",
        text="Text",
        cancelled=cancelled,
    )


def by_key(revisions: tuple[Revision, ...]) -> dict[str, Revision]:
    return {revision.entry.key: revision for revision in revisions}


def told(*entries: Entry) -> dict[str, Revision]:
    return by_key(revise(entries, {}, as_of=TODAY, now=FIRST))


def test_new_entries_start_at_nought() -> None:
    assert told(BLOOM, WARNING) == {
        "bloom/b1": Revision(BLOOM, 0, FIRST),
        "warning/pollen_gap/b1": Revision(WARNING, 0, FIRST),
    }


def test_only_what_changes_is_revised() -> None:
    moved = replace(BLOOM, last_day=dt.date(2026, 6, 10))
    after = by_key(revise([moved, WARNING], told(BLOOM, WARNING), as_of=TODAY, now=LATER))
    assert after == {
        "bloom/b1": Revision(moved, 1, LATER),
        "warning/pollen_gap/b1": Revision(WARNING, 0, FIRST),
    }


def test_what_is_gone_is_cancelled_once_and_can_come_back() -> None:
    gone = by_key(revise([BLOOM], told(BLOOM, WARNING), as_of=TODAY, now=LATER))
    cancelled = Revision(replace(WARNING, cancelled=True), 1, LATER)
    assert gone["warning/pollen_gap/b1"] == cancelled
    still = by_key(revise([BLOOM], gone, as_of=TODAY, now=LATER + dt.timedelta(hours=1)))
    assert still == gone
    back = by_key(revise([BLOOM, WARNING], still, as_of=TODAY, now=LATER + dt.timedelta(hours=2)))
    assert back["warning/pollen_gap/b1"] == Revision(WARNING, 2, LATER + dt.timedelta(hours=2))


def test_a_trip_that_was_made_stays_and_one_that_was_dropped_is_cancelled() -> None:
    made, today, dropped = (trip(str(number), TODAY + dt.timedelta(days=number - 2)) for number in (1, 2, 3))
    after = by_key(revise([], told(made, today, dropped), as_of=TODAY, now=LATER))
    assert [after[key].entry.cancelled for key in ("trip/1", "trip/2", "trip/3")] == [False, False, True]
    assert [after[key].sequence for key in ("trip/1", "trip/2", "trip/3")] == [0, 0, 1]


def test_a_what_if_takes_the_sequences_and_cancels_nothing() -> None:
    moved = replace(BLOOM, last_day=dt.date(2026, 6, 10))
    once = by_key(revise([moved, WARNING], told(BLOOM, WARNING), as_of=TODAY, now=LATER))
    day = dt.date(2026, 4, 1)
    midnight = dt.datetime(2026, 4, 1, tzinfo=dt.UTC)
    added = trip("1", dt.date(2026, 4, 3))
    assert by_key(suppose([moved, added], once, as_of=day)) == {
        "bloom/b1": once["bloom/b1"],
        "trip/1": Revision(added, 0, midnight),
    }
    (supposed,) = suppose([BLOOM], once, as_of=day)
    assert supposed == Revision(BLOOM, 1, midnight)


def test_an_entry_survives_its_json() -> None:
    for entry in (BLOOM, replace(WARNING, cancelled=True), trip("3", TODAY)):
        assert Entry.of(json.loads(json.dumps(entry.content()))) == entry


def day(number: int) -> dt.date:
    return dt.date(2026, 5, number)


def test_a_trip_keeps_its_name_while_its_tasks_move() -> None:
    before = told(trip("a", day(10)), trip("c", day(20)))
    assert trip_subjects({day(12): ["a", "b"], day(23): ["c"]}, before) == {day(12): "a", day(23): "c"}
    assert trip_subjects({day(12): ["a"], day(20): ["b", "c"]}, before) == {day(12): "a", day(20): "c"}


def test_a_date_gives_no_name_to_a_trip_for_something_else() -> None:
    before = told(trip("a", day(10)), trip("c", day(20)))
    assert trip_subjects({day(10): ["d"], day(20): ["a"]}, before) == {day(10): "d", day(20): "a"}


def test_a_cancelled_name_is_used_last() -> None:
    before = told(trip("a", day(10), cancelled=True))
    assert trip_subjects({day(20): ["a", "b"]}, before) == {day(20): "b"}
    assert trip_subjects({day(20): ["a"]}, before) == {day(20): "a"}


TASKS = st.lists(st.sets(st.sampled_from("abcdefgh"), min_size=1), max_size=4)


@given(TASKS, st.sets(st.sampled_from("abcdefgh")), st.sets(st.sampled_from("abcdefgh")))
def test_a_trip_is_named_by_a_task_of_its_own(
    groups: list[set[str]], stand: set[str], gone: set[str]
) -> None:
    on: dict[dt.date, list[str]] = {}
    seen: set[str] = set()
    for place, group in enumerate(groups, start=1):
        if group - seen:
            on[day(place)] = sorted(group - seen)
        seen |= group
    held = told(
        *(trip(name, day(1)) for name in stand),
        *(trip(name, day(1), cancelled=True) for name in gone - stand),
    )
    names = trip_subjects(on, held)
    assert all(names[date] in tasks for date, tasks in on.items())
    again = told(*(trip(name, date) for date, name in names.items()))
    assert trip_subjects(on, again) == names
