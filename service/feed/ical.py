"""Calendar entries as an iCalendar stream.

References
----------
.. [1] RFC 5545, Internet Calendaring and Scheduling Core Object Specification (iCalendar).
.. [2] RFC 7986, New Properties for iCalendar: NAME, DESCRIPTION, UID and REFRESH-INTERVAL of a calendar.
"""

from __future__ import annotations

import datetime as dt
import json
import re
import uuid
from collections.abc import Iterable

from icalendar import Alarm, Calendar, Event, vText

from service.usecases.calendar import Kind, Revision

MEDIA_TYPE = "text/calendar"
PRODID = "-//Capfall//Vineyard calendar//EN"
REFRESH_EVERY = dt.timedelta(hours=6)
EVENING_BEFORE = dt.timedelta(hours=-6)  # an all-day event starts at midnight: 18:00 on the day before
CATEGORY: dict[Kind, str] = {
    "bloom": "Bloom",
    "stage": "Ripening",
    "trip": "Scouting",
    "warning": "Pollen",
    "note": "Note",
}
_NAMESPACE = uuid.UUID("8d0f5f0e-6a53-4c0b-9d4e-5d6b1d1c7a52")


def to_ical(
    revisions: Iterable[Revision], *, grower: str, vineyard: str, season: int, name: str, description: str
) -> bytes:
    """The stream of a vineyard's calendar; the same for the same entries.

    It carries no METHOD: it is there to be read, and DTSTAMP is the time of an event's last revision.
    """
    calendar = Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", PRODID)
    calendar.add("uid", unique_id(grower, vineyard))
    calendar.add("name", _text(name))
    calendar.add("description", _text(description))
    calendar.add("refresh-interval", REFRESH_EVERY, {"VALUE": "DURATION"})
    for revision in revisions:
        calendar.add_component(_event(revision, unique_id(grower, vineyard, season, revision.entry.key)))
    stream: bytes = calendar.to_ical()
    return stream


def unique_id(*parts: str | int) -> str:
    """The same UID for the same parts, and for no others."""
    return str(uuid.uuid5(_NAMESPACE, json.dumps(parts)))


def _event(revision: Revision, uid: str) -> Event:
    entry = revision.entry
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", revision.last_modified)
    event.add("last-modified", revision.last_modified)
    event.add("sequence", revision.sequence)
    event.add("dtstart", entry.first_day)
    event.add("dtend", entry.last_day + dt.timedelta(days=1))  # exclusive
    event.add("summary", _text(entry.title))
    event.add("description", _text(entry.text))
    event.add("categories", [CATEGORY[entry.kind]])
    event.add("status", "CANCELLED" if entry.cancelled else "CONFIRMED")
    event.add("transp", "TRANSPARENT")  # nobody is busy all day
    if entry.kind == "trip" and not entry.cancelled:
        event.add_component(_alarm(entry.title))
    return event


def _alarm(title: str) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", _text(title))
    alarm.add("trigger", EVENING_BEFORE)
    return alarm


def _text(text: str) -> vText:
    """Text as RFC 5545 allows it: every line break is one, and other control characters become spaces."""
    return vText(re.sub(r"[\x00-\x08\x0b-\x1f\x7f]", " ", "\n".join(text.splitlines())))
