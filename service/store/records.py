"""What the store takes in and gives out beside the records of ``models``."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from models.records import REACH_M, BloomLogRow, CropCount, SetCount, Visit
from models.vineyard.cautions import WildMales
from models.vineyard.frost import FrostLimits

JobState = Literal["waiting", "running", "done", "failed", "cancelled"]


@dataclass(frozen=True)
class Station:
    """A weather station. [degrees north, degrees east, m above sea level]

    ``changed_on`` are the days on which it was moved or its thermometer changed, in order.
    """

    key: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float | None = None
    changed_on: tuple[dt.date, ...] = ()


@dataclass(frozen=True)
class Vineyard:
    """A vineyard. None for ``receptive_days`` or ``pollen_days`` is the model's default. [m, day]

    ``scouting_weekdays`` ("mon" to "sun") are those on which the rows can be walked; None for every day.
    ``wild_males``: how many wild vines that shed pollen are said to stand nearby; None where nobody said.
    ``timezone`` is an IANA name; None for that of the machine that the service runs on. ``colder_than_station_c``: by
    how much cordons are colder than the station on a night of frost, where a block does not say. [°C]
    """

    key: str
    name: str
    station: str | None = None
    reach_m: float = REACH_M
    receptive_days: float | None = None
    pollen_days: float | None = None
    scouting_weekdays: tuple[str, ...] | None = None
    timezone: str | None = None
    wild_males: WildMales | None = None
    colder_than_station_c: float | None = None
    frost_limits: FrostLimits | None = None


@dataclass(frozen=True)
class Replaced:
    """One row whose values were replaced: its key without the owner, and what differs."""

    key: tuple[Any, ...]
    old: Mapping[str, Any]
    new: Mapping[str, Any]


@dataclass(frozen=True)
class Written:
    """How many rows of a table a change wrote that belong to one owner: a vineyard, a station, or itself.

    ``only`` names the row, where it is one within its owner.
    """

    table: str
    kind: str
    owner: str
    added: int
    replaced: int
    deleted: int
    only: str | None = None


@dataclass(frozen=True)
class Change:
    """What one request wrote. ``code`` and ``params`` say what it was about; others undid it, or it them. [UTC]"""

    number: int
    at: dt.datetime
    by: str
    code: str
    params: Mapping[str, Any]
    rows: int
    undoes: int | None
    undone_by: int | None


@dataclass(frozen=True)
class Counts:
    """What became of the rows that were given; the three add up to their number.

    ``stored`` were new, ``replaced`` put another value in the place of an old one (the journal keeps it), and
    ``unchanged`` were there before, value for value. ``changed`` tells the first of those replaced.
    """

    stored: int = 0
    replaced: int = 0
    unchanged: int = 0
    changed: tuple[Replaced, ...] = field(default=(), compare=False)

    def numbers(self) -> dict[str, int]:
        """How many went each way, by name."""
        return {"stored": self.stored, "replaced": self.replaced, "unchanged": self.unchanged}


@dataclass(frozen=True)
class TemperatureVersion:
    """One value that a station's day has had; ``superseded_at`` is None for the one that holds. [°C, UTC]"""

    tmin_c: float | None
    tmax_c: float | None
    stored_at: dt.datetime
    superseded_at: dt.datetime | None
    superseded_by: str | None = None


@dataclass(frozen=True)
class Place:
    """What was looked at: a block, or a whole cultivar. Their keys are two name spaces."""

    kind: Literal["block", "cultivar"]
    key: str

    @property
    def subject(self) -> str:
        """The place as a part of a row's key."""
        return f"{self.kind}:{self.key}"


@dataclass(frozen=True)
class KeptVisit:
    """A visit and its identifier."""

    id: str
    visit: Visit

    @property
    def order(self) -> tuple[str, ...]:
        """What visits are sorted by."""
        visit = self.visit
        return visit.date.isoformat(), visit.cultivar, visit.block or "", visit.observer or ""


@dataclass(frozen=True)
class KeptSetCount:
    """A set count and its identifier."""

    id: str
    count: SetCount

    @property
    def order(self) -> tuple[str, ...]:
        """What set counts are sorted by."""
        return self.count.date.isoformat(), self.count.block, self.count.cluster


@dataclass(frozen=True)
class KeptCropCount:
    """A crop count and its identifier."""

    id: str
    count: CropCount

    @property
    def order(self) -> tuple[str, ...]:
        """What crop counts are sorted by."""
        return self.count.date.isoformat(), self.count.block, self.count.cane


@dataclass(frozen=True)
class ToldDay:
    """What a day's forecast said of a vineyard, in short; and when it was told. [UTC]"""

    day: dt.date
    season: int
    told_at: dt.datetime
    content: dict[str, Any]


@dataclass(frozen=True)
class VisitVersion:
    """One form that a visit has had; ``superseded_at`` is None for the one that holds. [UTC]"""

    visit: Visit
    stored_at: dt.datetime
    superseded_at: dt.datetime | None
    superseded_by: str | None = None


@dataclass(frozen=True)
class BloomLogVersion:
    """One date (``row.dates`` has one) that a bloom log has had; ``superseded_at`` None: it holds. [UTC]"""

    row: BloomLogRow
    stored_at: dt.datetime
    superseded_at: dt.datetime | None
    superseded_by: str | None = None


@dataclass(frozen=True)
class FitSummary:
    """A saved fit without its document. [UTC]

    ``knows_change`` is the number of the last change that it was made with; None where that is not known, as of
    fits that came from elsewhere, or from before changes were kept.
    """

    id: str
    created_at: dt.datetime
    knows_change: int | None = None


@dataclass(frozen=True)
class FitInUse:
    """The fit that a vineyard's answers rest on, and since when. [UTC]"""

    vineyard: str
    fit: str
    since: dt.datetime


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
    asked: dict[str, Any] | None = None
