"""A change raises the sequence, nothing else does; what is gone is cancelled; a trip that moves keeps its number."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from service.usecases.calendar import Entry, Revision, number_trips, revise, suppose

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


def trip(number: int, day: dt.date, *, cancelled: bool = False) -> Entry:
    return Entry(
        kind="trip",
        subject=str(number),
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
    made, today, dropped = (trip(number, TODAY + dt.timedelta(days=number - 2)) for number in (1, 2, 3))
    after = by_key(revise([], told(made, today, dropped), as_of=TODAY, now=LATER))
    assert [after[key].entry.cancelled for key in ("trip/1", "trip/2", "trip/3")] == [False, False, True]
    assert [after[key].sequence for key in ("trip/1", "trip/2", "trip/3")] == [0, 0, 1]


def test_a_what_if_takes_the_sequences_and_cancels_nothing() -> None:
    moved = replace(BLOOM, last_day=dt.date(2026, 6, 10))
    once = by_key(revise([moved, WARNING], told(BLOOM, WARNING), as_of=TODAY, now=LATER))
    day = dt.date(2026, 4, 1)
    midnight = dt.datetime(2026, 4, 1, tzinfo=dt.UTC)
    added = trip(1, dt.date(2026, 4, 3))
    assert by_key(suppose([moved, added], once, as_of=day)) == {
        "bloom/b1": once["bloom/b1"],
        "trip/1": Revision(added, 0, midnight),
    }
    (supposed,) = suppose([BLOOM], once, as_of=day)
    assert supposed == Revision(BLOOM, 1, midnight)


def test_an_entry_survives_its_json() -> None:
    for entry in (BLOOM, replace(WARNING, cancelled=True), trip(3, TODAY)):
        assert Entry.of(json.loads(json.dumps(entry.content()))) == entry


def day(number: int) -> dt.date:
    return dt.date(2026, 5, number)


def test_a_trip_that_is_put_off_keeps_its_number() -> None:
    before = told(trip(1, day(10)), trip(2, day(20)))
    assert number_trips([day(12), day(20)], before, as_of=TODAY) == {day(12): 1, day(20): 2}
    assert number_trips([day(10), day(23)], before, as_of=TODAY) == {day(10): 1, day(23): 2}


def test_a_trip_that_comes_between_gets_a_number_of_its_own() -> None:
    before = told(trip(1, day(10)), trip(2, day(20)))
    assert number_trips([day(10), day(15), day(20)], before, as_of=TODAY) == {
        day(10): 1,
        day(15): 3,
        day(20): 2,
    }


def test_a_trip_that_was_made_gives_its_number_to_no_other() -> None:
    before = told(trip(1, day(4)), trip(2, day(20)))
    assert number_trips([day(6), day(20)], before, as_of=TODAY) == {day(6): 3, day(20): 2}


def test_a_dropped_trip_gives_its_number_to_the_next_new_one() -> None:
    before = told(trip(1, day(10)), trip(2, day(20), cancelled=True))
    assert number_trips([day(10), day(25)], before, as_of=TODAY) == {day(10): 1, day(25): 2}


DAYS = st.dates(dt.date(2026, 5, 1), dt.date(2026, 5, 12))


@given(st.lists(st.tuples(DAYS, st.booleans()), max_size=6), st.lists(DAYS, max_size=6, unique=True), DAYS)
def test_every_trip_day_has_a_number_and_none_that_is_taken(
    before: list[tuple[dt.date, bool]], days: list[dt.date], as_of: dt.date
) -> None:
    days = [each for each in days if each >= as_of]
    held = told(*(trip(number, each, cancelled=gone) for number, (each, gone) in enumerate(before, start=1)))
    numbers = number_trips(days, held, as_of=as_of)
    assert sorted(numbers) == sorted(days)
    assert len(set(numbers.values())) == len(days)
    past = {number for number, (each, _) in enumerate(before, start=1) if each < as_of}
    assert not past & set(numbers.values())
    again = told(*(trip(number, each) for each, number in numbers.items()))
    assert number_trips(days, again, as_of=as_of) == numbers
