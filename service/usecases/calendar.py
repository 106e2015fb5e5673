"""What stands in a vineyard's calendar, and which revision of each entry that is.

A subscribed calendar takes over a change only where an entry's sequence has risen, and drops an entry only when
it is told as cancelled. So the store keeps what was told last.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

from service.store.calendar import KeptEvent
from service.store.repositories import Repositories

Kind = Literal["bloom", "stage", "trip", "warning", "note"]


@dataclass(frozen=True, kw_only=True)
class Entry:
    """All days from ``first_day`` through ``last_day``.

    ``kind`` and ``subject`` say what the entry is about, never when: both stay while its dates move.
    """

    kind: Kind
    subject: str
    first_day: dt.date
    last_day: dt.date
    title: str
    text: str
    cancelled: bool = False

    @property
    def key(self) -> str:
        """What tells the entry from all others of its vineyard and season."""
        return f"{self.kind}/{self.subject}"

    @classmethod
    def of(cls, content: Mapping[str, Any]) -> Entry:
        """The entry that `content` made."""
        days = {name: dt.date.fromisoformat(content[name]) for name in ("first_day", "last_day")}
        return cls(**{**content, **days})

    def content(self) -> dict[str, Any]:
        """The entry as plain JSON."""
        days = {"first_day": self.first_day.isoformat(), "last_day": self.last_day.isoformat()}
        return {**asdict(self), **days}


@dataclass(frozen=True)
class Revision:
    """An entry, how often it has changed, and when it did last. [UTC]"""

    entry: Entry
    sequence: int
    last_modified: dt.datetime

    @classmethod
    def of(cls, kept: KeptEvent) -> Revision:
        """The revision that was told last."""
        return cls(Entry.of(kept.content), kept.sequence, kept.last_modified)


def told_before(records: Repositories, vineyard: str, season: int) -> dict[str, Revision]:
    """What the vineyard's feed has told last, by key. Raises NotFound (vineyard)."""
    return {kept.key: Revision.of(kept) for kept in records.calendar.all(vineyard, season)}


def revise(
    entries: Iterable[Entry], before: Mapping[str, Revision], *, as_of: dt.date, now: dt.datetime
) -> tuple[Revision, ...]:
    """The next revision of every entry; one that says what it said stays as it was.

    An entry that is no longer there is told as cancelled from now on. Only a trip whose day has come stays: it
    was dropped from the plan because it is over.
    """
    revisions = []
    gone = dict(before)
    for entry in entries:
        old = gone.pop(entry.key, None)
        revisions.append(Revision(entry, 0, now) if old is None else _next(old, entry, now))
    for old in gone.values():
        over = old.entry.kind == "trip" and old.entry.last_day <= as_of
        revisions.append(old if over else _next(old, replace(old.entry, cancelled=True), now))
    return _in_order(revisions)


def _next(old: Revision, entry: Entry, now: dt.datetime) -> Revision:
    return old if entry == old.entry else Revision(entry, old.sequence + 1, now)


def suppose(
    entries: Iterable[Entry], before: Mapping[str, Revision], *, as_of: dt.date
) -> tuple[Revision, ...]:
    """Entries of a "what if", with the sequences that the feed has told; nothing is cancelled by them."""
    midnight = dt.datetime.combine(as_of, dt.time(), dt.UTC)
    revisions = []
    for entry in entries:
        old = before.get(entry.key, Revision(entry, 0, midnight))
        revisions.append(old if entry == old.entry else Revision(entry, old.sequence, midnight))
    return _in_order(revisions)


def _in_order(revisions: Iterable[Revision]) -> tuple[Revision, ...]:
    return tuple(sorted(revisions, key=lambda revision: (revision.entry.first_day, revision.entry.key)))


def keep(
    records: Repositories,
    vineyard: str,
    season: int,
    entries: Sequence[Entry],
    *,
    as_of: dt.date,
    now: dt.datetime,
) -> tuple[Revision, ...]:
    """Revise the entries and keep what has changed as told. Raises NotFound (vineyard)."""
    before = told_before(records, vineyard, season)
    revisions = revise(entries, before, as_of=as_of, now=now)
    changed = [new for new in revisions if before.get(new.entry.key) != new]
    records.calendar.put(
        vineyard,
        season,
        [KeptEvent(new.entry.key, new.sequence, new.last_modified, new.entry.content()) for new in changed],
    )
    return revisions


def trip_subjects(
    tasks_on: Mapping[dt.date, Sequence[str]], before: Mapping[str, Revision]
) -> dict[dt.date, str]:
    """What each trip is for: one of its tasks, so that a trip keeps its name when its day moves.

    A task that names a trip which was told goes on to name the trip that it is on now; else it is the first task
    that has named none yet. So a name never passes to a trip that its task is not on.

    Parameters
    ----------
    tasks_on : mapping of date to sequence of str
        The tasks of each trip, none of them on two.
    before : mapping of str to Revision
        What was told last.
    """
    told = {old.entry.subject: old.entry.cancelled for old in before.values() if old.entry.kind == "trip"}
    # of those that stand, those that are new, and those that were cancelled, the first
    rank = {False: 0, None: 1, True: 2}
    return {day: min(tasks, key=lambda task: rank[told.get(task)]) for day, tasks in tasks_on.items()}
