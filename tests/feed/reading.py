"""A feed read back: by two libraries that know nothing of each other, and as raw lines."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import icalendar
from ical.calendar_stream import IcsCalendarStream


@dataclass(frozen=True)
class ReadEvent:
    """What both libraries make of an event; ``end`` is exclusive."""

    uid: str
    start: dt.date
    end: dt.date
    summary: str
    description: str
    status: str
    sequence: int
    stamp: dt.datetime
    last_modified: dt.datetime
    alarms: tuple[dt.timedelta, ...]


def by_icalendar(stream: bytes) -> dict[str, ReadEvent]:
    """The events by UID, read by the library that writes them."""
    events: list[Any] = list(icalendar.Calendar.from_ical(stream).walk("VEVENT"))
    read = [
        ReadEvent(
            uid=str(event["UID"]),
            start=event["DTSTART"].dt,
            end=event["DTEND"].dt,
            summary=str(event["SUMMARY"]),
            description=str(event["DESCRIPTION"]),
            status=str(event["STATUS"]),
            sequence=int(event["SEQUENCE"]),
            stamp=event["DTSTAMP"].dt,
            last_modified=event["LAST-MODIFIED"].dt,
            alarms=tuple(alarm["TRIGGER"].dt for alarm in event.walk("VALARM")),
        )
        for event in events
    ]
    return _by_uid(read)


def by_ical(stream: bytes) -> dict[str, ReadEvent]:
    """The events by UID, read by a library with a parser of its own."""
    read = []
    for event in IcsCalendarStream.calendar_from_ics(stream.decode()).events:
        made: dict[str, Any] = event.model_dump()
        assert event.status is not None
        assert event.sequence is not None
        read.append(
            ReadEvent(
                uid=event.uid,
                start=made["dtstart"],
                end=made["dtend"],
                summary=event.summary or "",
                description=event.description or "",
                status=event.status.value,
                sequence=event.sequence,
                stamp=made["dtstamp"],
                last_modified=made["last_modified"],
                alarms=tuple(alarm["trigger"] for alarm in made["alarm"]),
            )
        )
    return _by_uid(read)


def by_both(stream: bytes) -> dict[str, ReadEvent]:
    """The events by UID; both libraries must read the same."""
    read = by_icalendar(stream)
    assert read == by_ical(stream)
    return read


def _by_uid(read: list[ReadEvent]) -> dict[str, ReadEvent]:
    events = {event.uid: event for event in read}
    assert len(events) == len(read), "a UID stands twice"
    return events


def assert_rfc_5545(stream: bytes) -> list[str]:
    """What the standard asks of the bytes; returns the unfolded lines.

    RFC 5545: lines end with CRLF and hold at most 75 octets without it, one of more is folded before a space
    (3.1), no control character but HTAB (3.1), VERSION and PRODID (3.6), DTSTAMP and UID (3.6.1), DTEND later
    than DTSTART and of its type (3.8.2.2), ACTION, TRIGGER and DESCRIPTION of a displayed alarm (3.6.6).
    """
    assert stream.endswith(b"\r\n")
    folded = stream.removesuffix(b"\r\n").split(b"\r\n")
    for line in folded:
        assert len(line) <= 75, line
        line.decode()  # a fold within a character would not be UTF-8
        assert not [octet for octet in line if octet == 0x7F or (octet < 0x20 and octet != 0x09)], line
    lines = stream.decode().replace("\r\n ", "").removesuffix("\r\n").split("\r\n")
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-1] == "END:VCALENDAR"
    assert lines.count("VERSION:2.0") == 1
    assert len([line for line in lines if line.startswith("PRODID:")]) == 1
    for event in components(lines, "VEVENT"):
        names = [line.partition(":")[0].partition(";")[0] for line in event]
        for name in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SEQUENCE", "LAST-MODIFIED", "SUMMARY", "STATUS"):
            assert names.count(name) == 1, (name, event)
        (start,) = (line for line in event if line.startswith("DTSTART"))
        (end,) = (line for line in event if line.startswith("DTEND"))
        assert start.startswith("DTSTART;VALUE=DATE:")
        assert end.startswith("DTEND;VALUE=DATE:")
        assert start[-8:] < end[-8:]
    for alarm in components(lines, "VALARM"):
        assert {"ACTION:DISPLAY"} <= set(alarm)
        assert {line.partition(":")[0] for line in alarm} == {"ACTION", "TRIGGER", "DESCRIPTION"}
    return lines


def components(lines: list[str], kind: str) -> list[list[str]]:
    """The own lines of each component of a kind, without those of the components within."""
    found: list[list[str]] = []
    open_kinds: list[str] = []
    for line in lines:
        if line.startswith("BEGIN:"):
            open_kinds.append(line.removeprefix("BEGIN:"))
            if open_kinds[-1] == kind:
                found.append([])
        elif line.startswith("END:"):
            assert open_kinds.pop() == line.removeprefix("END:")
        elif open_kinds[-1] == kind:
            found[-1].append(line)
    return found
