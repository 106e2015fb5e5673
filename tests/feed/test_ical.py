"""The stream keeps the standard, and comes back whole."""

from __future__ import annotations

import datetime as dt

import pytest

from service.feed.ical import to_ical, unique_id
from service.usecases.calendar import Entry, Revision
from tests.feed.reading import assert_rfc_5545, by_both

MOMENT = dt.datetime(2026, 5, 4, 21, 17, 3, tzinfo=dt.UTC)
NAMES = [
    'Ash, Thimble; the "late" one',
    "two\nlines\n\nand an empty one between",
    "back\\slash, \\n that is no line break, and \\; \\, too",
    "X" * 300,
    "é" * 100 + "葡萄🍇" * 50,
    "ends with a blank ",
    "BEGIN:VEVENT\nUID:not-yours\nEND:VEVENT",
    "tab\tand colon: %2C &amp; ^n",
]


def entry(
    title: str = "Bloom", *, kind: str = "bloom", days: tuple[str, str] = ("2026-05-28", "2026-06-09")
) -> Entry:
    first, last = (dt.date.fromisoformat(day) for day in days)
    return Entry(
        kind="trip" if kind == "trip" else "bloom",
        subject="b1",
        first_day=first,
        last_day=last,
        title=title,
        text=f"Text of {title}",
    )


def stream(*entries: Entry, name: str = "Hollow", sequence: int = 0) -> bytes:
    revisions = [Revision(each, sequence, MOMENT) for each in entries]
    return to_ical(
        revisions, grower="local", vineyard="hollow", season=2026, name=name, description=f"All of {name}"
    )


@pytest.mark.parametrize("name", NAMES)
def test_text_comes_back_whole(name: str) -> None:
    made = stream(entry(name), name=name)
    lines = assert_rfc_5545(made)
    (event,) = by_both(made).values()
    assert event.summary == name
    assert event.description == f"Text of {name}"
    escaped = name.replace("\\", "\\\\").replace(",", "\\,").replace(";", "\\;").replace("\n", "\\n")
    assert f"NAME:{escaped}" in lines
    assert f"DESCRIPTION:All of {escaped}" in lines


@pytest.mark.parametrize(
    ("sent", "read"),
    [
        ("a\r\nb\rc", "a\nb\nc"),
        ("a\x85b\u2028c\u2029d", "a\nb\nc\nd"),
        ("bell\x07 escape\x1b delete\x7f", "bell  escape  delete "),
    ],
)
def test_what_the_standard_forbids_is_told_otherwise(sent: str, read: str) -> None:
    made = stream(entry(sent), name=sent)
    assert_rfc_5545(made)
    (event,) = by_both(made).values()
    assert event.summary == read


def test_an_event_lasts_through_its_last_day_and_tells_its_revision() -> None:
    made = stream(entry(), sequence=7)
    (event,) = by_both(made).values()
    assert (event.start, event.end) == (dt.date(2026, 5, 28), dt.date(2026, 6, 10))
    assert (event.sequence, event.stamp, event.last_modified) == (7, MOMENT, MOMENT)
    assert (event.status, event.alarms) == ("CONFIRMED", ())


def test_a_trip_rings_at_18_on_the_evening_before() -> None:
    made = stream(entry("Walk", kind="trip", days=("2026-06-01", "2026-06-01")))
    lines = assert_rfc_5545(made)
    assert "TRIGGER:-PT6H" in lines
    (event,) = by_both(made).values()
    midnight = dt.datetime.combine(event.start, dt.time())  # of no zone: that of the calendar's reader
    assert [f"{midnight + trigger:%d %B %H:%M}" for trigger in event.alarms] == ["31 May 18:00"]


def test_a_cancelled_trip_does_not_ring() -> None:
    walk = entry("Walk", kind="trip")
    dropped = Entry(
        kind=walk.kind,
        subject=walk.subject,
        first_day=walk.first_day,
        last_day=walk.last_day,
        title=walk.title,
        text=walk.text,
        cancelled=True,
    )
    (event,) = by_both(stream(dropped)).values()
    assert (event.status, event.alarms) == ("CANCELLED", ())


def test_the_calendar_says_how_often_to_look_and_nothing_that_is_not_standard() -> None:
    lines = assert_rfc_5545(stream(entry()))
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT6H" in lines
    assert not [line for line in lines if line.startswith(("X-", "METHOD"))]


def test_a_uid_follows_from_what_it_names_and_from_nothing_else() -> None:
    one = unique_id("local", "hollow", 2026, "bloom/b1")
    assert one == unique_id("local", "hollow", 2026, "bloom/b1")
    others = [
        unique_id("ann", "hollow", 2026, "bloom/b1"),
        unique_id("local", "hill", 2026, "bloom/b1"),
        unique_id("local", "hollow", 2027, "bloom/b1"),
        unique_id("local", "hollow", 2026, "bloom/b2"),
        unique_id("local", "hollow", 2026, "trip/1"),
    ]
    assert len({one, *others}) == 6
    later = entry("Otherwise", days=("2026-06-02", "2026-06-12"))
    assert by_both(stream(entry())).keys() == by_both(stream(later)).keys() == {one}
