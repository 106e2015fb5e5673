"""What the store takes in and gives out beside the records of ``models``."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any, Literal

from models.records import BloomLogRow, Visit

JobState = Literal["waiting", "running", "done", "failed"]


@dataclass(frozen=True)
class Station:
    """A weather station. [degrees north, degrees east, m above sea level]"""

    key: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float | None = None


@dataclass(frozen=True)
class Vineyard:
    """A vineyard. None for ``receptive_days`` or ``pollen_days`` is the model's default. [m, day]

    ``scouting_weekdays`` ("mon" to "sun") are those on which the rows can be walked; None for every day.
    ``timezone`` is an IANA name; None for that of the machine that the service runs on.
    """

    key: str
    name: str
    station: str | None = None
    reach_m: float = 15.0
    receptive_days: float | None = None
    pollen_days: float | None = None
    scouting_weekdays: tuple[str, ...] | None = None
    timezone: str | None = None


@dataclass(frozen=True)
class Counts:
    """What became of the rows that were given; the three add up to their number.

    ``stored`` were new, ``replaced`` put another value in the place of an old one (a history keeps it), and
    ``unchanged`` were there before, value for value.
    """

    stored: int = 0
    replaced: int = 0
    unchanged: int = 0


@dataclass(frozen=True)
class TemperatureVersion:
    """One value that a station's day has had; ``superseded_at`` is None for the one that holds. [°C, UTC]"""

    tmin_c: float | None
    tmax_c: float | None
    stored_at: dt.datetime
    superseded_at: dt.datetime | None


@dataclass(frozen=True)
class VisitVersion:
    """One form that a visit has had; ``superseded_at`` is None for the one that holds. [UTC]"""

    visit: Visit
    stored_at: dt.datetime
    superseded_at: dt.datetime | None


@dataclass(frozen=True)
class BloomLogVersion:
    """One date (``row.dates`` has one) that a bloom log has had; ``superseded_at`` None: it holds. [UTC]"""

    row: BloomLogRow
    stored_at: dt.datetime
    superseded_at: dt.datetime | None


@dataclass(frozen=True)
class FitSummary:
    """A saved fit without its document. [UTC]"""

    id: str
    created_at: dt.datetime


@dataclass(frozen=True, kw_only=True)
class Job:
    """Long work: what it works on, how far it is (0 to 1), and what came out. [UTC]"""

    id: str
    kind: str
    subject: str | None
    state: JobState
    progress: float
    message: str
    result: dict[str, Any] | None
    created_at: dt.datetime
    updated_at: dt.datetime
