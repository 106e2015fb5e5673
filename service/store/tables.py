"""The tables. Every row belongs to a grower, and what it refers to belongs to the same one; keys alone are of several.

Identifiers are the growers' own, so they are keys together with the grower: no row can point across. All
tables are journaled, unless their class says otherwise: what a row was before a write is kept in ``change_rows``.
A column that is added to a journaled table needs a default, for rows that come back from before it was there.
"""

from __future__ import annotations

import datetime as dt
from typing import Any, ClassVar

from sqlalchemy import (
    JSON,
    Boolean,
    Date,
    DateTime,
    Dialect,
    Double,
    ForeignKeyConstraint,
    Index,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column
from sqlalchemy.types import TypeDecorator

GROWERS_KEY = "growers.key"
NOT_JOURNALED = {"info": {"journaled": False}}


class UtcDateTime(TypeDecorator[dt.datetime]):
    """A moment in UTC, on databases without time zones too."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:  # noqa: ARG002
        """UTC before it is stored."""
        return None if value is None else value.astimezone(dt.UTC)

    def process_result_value(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:  # noqa: ARG002
        """SQLite forgets the zone, PostgreSQL answers in the session's."""
        if value is None:
            return None
        return value.replace(tzinfo=dt.UTC) if value.tzinfo is None else value.astimezone(dt.UTC)


class Base(DeclarativeBase):
    """Constraints have names that can be told from the tables, so that a migration can drop them anywhere."""

    metadata = MetaData(
        naming_convention={
            "pk": "pk_%(table_name)s",
            "fk": "fk_%(table_name)s_%(referred_table_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
        }
    )
    type_annotation_map: ClassVar[dict[Any, Any]] = {
        str: String(),
        float: Double(),
        bool: Boolean(),
        dt.date: Date(),
        dt.datetime: UtcDateTime(),
        dict[str, Any]: JSON(none_as_null=True),
        list[str]: JSON(none_as_null=True),
        list[Any]: JSON(none_as_null=True),
    }


def of_grower() -> ForeignKeyConstraint:
    """The row's grower exists."""
    return ForeignKeyConstraint(["grower"], [GROWERS_KEY])


def of_same_grower(column: str, table: str) -> ForeignKeyConstraint:
    """What ``column`` names exists among the things of the row's grower; an empty column names nothing."""
    return ForeignKeyConstraint(["grower", column], [f"{table}.grower", f"{table}.key"])


def block_of_vineyard() -> ForeignKeyConstraint:
    """The row's block, where it has one, stands in the row's vineyard."""
    return ForeignKeyConstraint(
        ["grower", "vineyard", "block"], ["blocks.grower", "blocks.vineyard", "blocks.key"]
    )


class GrowerRow(Base):
    __tablename__ = "growers"
    __table_args__ = NOT_JOURNALED
    key: Mapped[str] = mapped_column(primary_key=True)
    created_at: Mapped[dt.datetime]


class KeyRow(Base):
    """A secret that lets somebody in, known by its digest. ``vineyard`` is the one that a calendar link shows."""

    __tablename__ = "keys"
    __table_args__ = (UniqueConstraint("digest"), NOT_JOURNALED)
    id: Mapped[str] = mapped_column(primary_key=True)
    name: Mapped[str]
    role: Mapped[str]
    digest: Mapped[str]
    vineyard: Mapped[str | None]
    made_by: Mapped[str | None]
    created_at: Mapped[dt.datetime]
    expires_at: Mapped[dt.datetime | None]


class SessionRow(Base):
    """A browser that has signed in with a key, known by the digest of its token; it goes with the key."""

    __tablename__ = "sessions"
    __table_args__ = (ForeignKeyConstraint(["key"], ["keys.id"], ondelete="CASCADE"), NOT_JOURNALED)
    digest: Mapped[str] = mapped_column(primary_key=True)
    key: Mapped[str]
    expires_at: Mapped[dt.datetime]


class KeyGrowerRow(Base):
    """A grower whom a key lets in to."""

    __tablename__ = "key_growers"
    __table_args__ = (of_grower(), ForeignKeyConstraint(["key"], ["keys.id"]), NOT_JOURNALED)
    grower: Mapped[str] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(primary_key=True)


class Owned:
    """A thing of a grower, known by the key that the grower chose."""

    grower: Mapped[str] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(primary_key=True)


class StationRow(Owned, Base):
    __tablename__ = "stations"
    __table_args__ = (of_grower(),)
    name: Mapped[str]
    latitude: Mapped[float]
    longitude: Mapped[float]
    elevation_m: Mapped[float | None]
    changed_on: Mapped[list[str] | None]


class CultivarRow(Owned, Base):
    __tablename__ = "cultivars"
    __table_args__ = (of_grower(),)
    name: Mapped[str]
    flower_type: Mapped[str]
    viable_pollen: Mapped[bool]
    species: Mapped[str | None]
    berry_mass_g: Mapped[float | None]
    receptive_days: Mapped[int | None]
    pollen_days: Mapped[int | None]
    blooms_like: Mapped[str | None]
    days_later: Mapped[float | None]
    pollen_quality: Mapped[float | None]
    flowers_a_vine: Mapped[float | None]
    pollen_notes: Mapped[list[Any] | None]


class VineyardRow(Owned, Base):
    __tablename__ = "vineyards"
    __table_args__ = (of_grower(), of_same_grower("station", "stations"))
    name: Mapped[str]
    station: Mapped[str | None]
    reach_m: Mapped[float]
    receptive_days: Mapped[float | None]
    pollen_days: Mapped[float | None]
    scouting_weekdays: Mapped[list[str] | None]
    timezone: Mapped[str | None]
    wild_males: Mapped[str | None]
    colder_than_station_c: Mapped[float | None]
    frost_limits: Mapped[dict[str, Any] | None]


class BlockRow(Base):
    """``removed`` blocks stand no more; their past still teaches the fits."""

    __tablename__ = "blocks"
    __table_args__ = (of_same_grower("vineyard", "vineyards"), of_same_grower("cultivar", "cultivars"))
    grower: Mapped[str] = mapped_column(primary_key=True)
    vineyard: Mapped[str] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(primary_key=True)
    cultivar: Mapped[str]
    x_m: Mapped[float]
    y_m: Mapped[float]
    vines: Mapped[int]
    neighbours: Mapped[list[str] | None]
    x2_m: Mapped[float | None]
    y2_m: Mapped[float | None]
    colder_than_station_c: Mapped[float | None]
    removed: Mapped[bool] = mapped_column(default=False)


class FrostedBlockRow(Base):
    """A block whose shoots froze in a season; in which night, and which share of them, where that is known."""

    __tablename__ = "frosted_blocks"
    __table_args__ = (block_of_vineyard(),)
    grower: Mapped[str] = mapped_column(primary_key=True)
    vineyard: Mapped[str] = mapped_column(primary_key=True)
    block: Mapped[str] = mapped_column(primary_key=True)
    season: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    night: Mapped[dt.date | None]
    share_killed: Mapped[float | None]


class DayValues:
    """One day's extremes; both empty where missing. [°C]"""

    tmin_c: Mapped[float | None]
    tmax_c: Mapped[float | None]
    stored_at: Mapped[dt.datetime]


class TemperatureRow(DayValues, Base):
    __tablename__ = "temperatures"
    __table_args__ = (of_same_grower("station", "stations"),)
    grower: Mapped[str] = mapped_column(primary_key=True)
    station: Mapped[str] = mapped_column(primary_key=True)
    date: Mapped[dt.date] = mapped_column(primary_key=True)


class OutlookRow(DayValues, Base):
    __tablename__ = "outlooks"
    __table_args__ = (of_same_grower("station", "stations"),)
    grower: Mapped[str] = mapped_column(primary_key=True)
    station: Mapped[str] = mapped_column(primary_key=True)
    issued_on: Mapped[dt.date] = mapped_column(primary_key=True)
    date: Mapped[dt.date] = mapped_column(primary_key=True)


class BloomDateRow(Base):
    """``subject`` is ``block:KEY`` or ``cultivar:KEY``: ``block`` can be empty, a part of the key cannot."""

    __tablename__ = "bloom_dates"
    __table_args__ = (
        of_same_grower("vineyard", "vineyards"),
        of_same_grower("cultivar", "cultivars"),
        block_of_vineyard(),
    )
    grower: Mapped[str] = mapped_column(primary_key=True)
    vineyard: Mapped[str] = mapped_column(primary_key=True)
    season: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    subject: Mapped[str] = mapped_column(primary_key=True)
    stage: Mapped[str] = mapped_column(primary_key=True)
    cultivar: Mapped[str]
    block: Mapped[str | None]
    date: Mapped[dt.date]
    checked_every_days: Mapped[int]
    stored_at: Mapped[dt.datetime]


class VisitRow(Base):
    """``subject`` as in the bloom dates; an observer who is not named is ``""``; ``id`` stays in a rename."""

    __tablename__ = "visits"
    __table_args__ = (
        of_same_grower("vineyard", "vineyards"),
        of_same_grower("cultivar", "cultivars"),
        block_of_vineyard(),
    )
    grower: Mapped[str] = mapped_column(primary_key=True)
    vineyard: Mapped[str] = mapped_column(primary_key=True)
    date: Mapped[dt.date] = mapped_column(primary_key=True)
    subject: Mapped[str] = mapped_column(primary_key=True)
    observer: Mapped[str] = mapped_column(primary_key=True)
    id: Mapped[str]
    cultivar: Mapped[str]
    block: Mapped[str | None]
    percent_open: Mapped[float | None]
    bbch: Mapped[int | None]
    note: Mapped[str | None] = mapped_column(Text)
    stored_at: Mapped[dt.datetime]


class SetCountRow(Base):
    """What was counted on one marked cluster on one day; ``id`` stays while its numbers change."""

    __tablename__ = "set_counts"
    __table_args__ = (block_of_vineyard(),)
    grower: Mapped[str] = mapped_column(primary_key=True)
    vineyard: Mapped[str] = mapped_column(primary_key=True)
    date: Mapped[dt.date] = mapped_column(primary_key=True)
    block: Mapped[str] = mapped_column(primary_key=True)
    cluster: Mapped[str] = mapped_column(primary_key=True)
    id: Mapped[str]
    flowers: Mapped[int | None]
    berries: Mapped[int | None]
    stored_at: Mapped[dt.datetime]


class CropCountRow(Base):
    """Clusters counted on one cane on one day; ``id`` stays while the number changes."""

    __tablename__ = "crop_counts"
    __table_args__ = (block_of_vineyard(),)
    grower: Mapped[str] = mapped_column(primary_key=True)
    vineyard: Mapped[str] = mapped_column(primary_key=True)
    date: Mapped[dt.date] = mapped_column(primary_key=True)
    block: Mapped[str] = mapped_column(primary_key=True)
    cane: Mapped[str] = mapped_column(primary_key=True)
    id: Mapped[str]
    clusters: Mapped[int]
    stored_at: Mapped[dt.datetime]


class FitRow(Base):
    """``knows_change`` is the last change of the data that it was made from; empty where that is not known."""

    __tablename__ = "fits"
    __table_args__ = (of_grower(),)
    grower: Mapped[str] = mapped_column(primary_key=True)
    id: Mapped[str] = mapped_column(primary_key=True)
    created_at: Mapped[dt.datetime]
    document: Mapped[dict[str, Any]]
    knows_change: Mapped[int | None]


class FitInUseRow(Base):
    """The fit that a vineyard's answers rest on."""

    __tablename__ = "fit_in_use"
    __table_args__ = (
        of_same_grower("vineyard", "vineyards"),
        ForeignKeyConstraint(["grower", "fit"], ["fits.grower", "fits.id"]),
    )
    grower: Mapped[str] = mapped_column(primary_key=True)
    vineyard: Mapped[str] = mapped_column(primary_key=True)
    fit: Mapped[str]
    since: Mapped[dt.datetime]


class JobRow(Base):
    """``subject`` is the identifier of what the job works on; ``asked`` is what its kind of work needs to know.

    While it runs, ``worker`` has claimed it and says so again and again (``seen_at``).
    """

    __tablename__ = "jobs"
    __table_args__ = (of_grower(), NOT_JOURNALED)
    grower: Mapped[str] = mapped_column(primary_key=True)
    id: Mapped[str] = mapped_column(primary_key=True)
    kind: Mapped[str]
    subject: Mapped[str | None]
    state: Mapped[str]
    progress: Mapped[float]
    message: Mapped[str] = mapped_column(Text)
    result: Mapped[dict[str, Any] | None]
    created_at: Mapped[dt.datetime]
    updated_at: Mapped[dt.datetime]
    asked: Mapped[dict[str, Any] | None]
    worker: Mapped[str | None]
    seen_at: Mapped[dt.datetime | None]


class CalendarEventRow(Base):
    """What the calendar feed has told of an event last; ``event`` is its key within vineyard and season.

    What was told stays told when its vineyard is deleted: should it come back, revisions count on.
    """

    __tablename__ = "calendar_events"
    __table_args__ = (of_grower(), NOT_JOURNALED)
    grower: Mapped[str] = mapped_column(primary_key=True)
    vineyard: Mapped[str] = mapped_column(primary_key=True)
    season: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    event: Mapped[str] = mapped_column(primary_key=True)
    sequence: Mapped[int]
    last_modified: Mapped[dt.datetime]
    content: Mapped[dict[str, Any]]


class ToldDayRow(Base):
    """What a day's forecast said of a vineyard, in short. What was told stays told, whatever is undone later."""

    __tablename__ = "told_days"
    __table_args__ = (of_grower(), NOT_JOURNALED)
    grower: Mapped[str] = mapped_column(primary_key=True)
    vineyard: Mapped[str] = mapped_column(primary_key=True)
    day: Mapped[dt.date] = mapped_column(primary_key=True)
    season: Mapped[int]
    told_at: Mapped[dt.datetime]
    content: Mapped[dict[str, Any]]


class NewsReaderRow(Base):
    """An address to which a vineyard's news are mailed."""

    __tablename__ = "news_readers"
    __table_args__ = (of_same_grower("vineyard", "vineyards"),)
    grower: Mapped[str] = mapped_column(primary_key=True)
    vineyard: Mapped[str] = mapped_column(primary_key=True)
    address: Mapped[str] = mapped_column(primary_key=True)
    since: Mapped[dt.datetime]


class ChangeRow(Base):
    """What one request wrote: who, when, and why (a code and its parameters)."""

    __tablename__ = "changes"
    __table_args__ = (of_grower(), NOT_JOURNALED)
    grower: Mapped[str] = mapped_column(primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[dt.datetime]
    by: Mapped[str]
    code: Mapped[str]
    params: Mapped[dict[str, Any]]
    rows: Mapped[int]
    undoes: Mapped[int | None]
    undone_by: Mapped[int | None]


class ChangedRows(Base):
    """What rows of one table and one owner were before a change.

    ``owner`` is the first part of their keys: a vineyard, a station, or the thing itself. ``keys`` are the
    other parts. ``before`` is empty where the change made the rows. Both as `service.store.images` writes them.
    """

    __tablename__ = "change_rows"
    __table_args__ = (
        ForeignKeyConstraint(["grower", "change"], ["changes.grower", "changes.number"]),
        Index(None, "grower", "of_table", "owner"),
        NOT_JOURNALED,
    )
    grower: Mapped[str] = mapped_column(primary_key=True)
    change: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    place: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    of_table: Mapped[str]
    owner: Mapped[str]
    keys: Mapped[list[Any]]
    before: Mapped[dict[str, Any] | None]


def table_of(row: type[Base]) -> Table:
    """The table that a row class describes."""
    table = row.__table__
    if not isinstance(table, Table):
        raise TypeError(f"{row.__name__} describes no table")
    return table
