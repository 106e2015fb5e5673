"""Bodies of bloom logs and visits."""

from __future__ import annotations

import datetime as dt
from typing import Self

from pydantic import Field, model_validator

from service.api.schemas import BadRowAnswer, Body, Day, ReplacedRow, Text, Version
from service.usecases.documents import Slug
from service.usecases.observations import StoredObservations
from service.words.cautions import caution_texts


class BloomLogEntry(Body):
    """One season's dates of one block; of a whole cultivar where ``block`` is null."""

    season: int
    cultivar: Slug
    block: Slug | None
    dates: dict[str, dt.date] = Field(description="By stage key.")
    checked_every_days: int


class BloomDateVersion(Version):
    """One date that a stage has had in a season's log."""

    stage: str
    date: dt.date
    checked_every_days: int


class BloomLogHistory(Body):
    """Every date that a season's log of one block or cultivar has had, by stage, oldest first."""

    vineyard: Slug
    season: int
    versions: list[BloomDateVersion]


class BloomLogAnswer(Body):
    """All dates that were logged in a vineyard."""

    vineyard: Slug
    rows: list[BloomLogEntry]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")


class ObservationReceipt(Body):
    """What was read from a file of observations, and what became of it."""

    vineyard: Slug
    rows_read: int
    rows_stored: int
    rows_replaced: int = Field(description="Rows that stood with other values, which are kept as history.")
    replaced: list[ReplacedRow] = Field(description="The first 20 values that were replaced.")
    rows_unchanged: int
    bad_rows: list[BadRowAnswer]
    warnings: list[str]

    @classmethod
    def of(cls, vineyard: str, stored: StoredObservations) -> Self:
        """What a use case stored, for the client."""
        counts = {f"rows_{name}": count for name, count in stored.counts.numbers().items()}
        replaced = [ReplacedRow.of(each) for each in stored.counts.changed]
        warnings = [*stored.warnings, *caution_texts(stored.doubts)]
        return cls.showing(stored, vineyard=vineyard, replaced=replaced, warnings=warnings, **counts)


class VisitBody(Body):
    """One look at one block, or at a whole cultivar where no block is named."""

    date: Day
    block: Slug | None = None
    cultivar: Slug | None = None
    percent_open: float | None = Field(default=None, ge=0, le=100, description="Caps off, in per cent.")
    bbch: int | None = Field(default=None, ge=0, le=99)
    observer: Text | None = None
    note: Text | None = None

    @model_validator(mode="after")
    def says_where_and_what(self) -> Self:
        """A visit without a place, or without anything seen, says nothing."""
        if self.block is None and self.cultivar is None:
            raise ValueError("a visit needs a block or a cultivar")
        if self.percent_open is None and self.bbch is None:
            raise ValueError("a visit needs percent_open or bbch")
        return self


class VisitAnswer(Body):
    """One look, as it is kept. ``visit`` is its identifier."""

    visit: str
    date: dt.date
    block: Slug | None
    cultivar: Slug
    percent_open: float | None
    bbch: int | None
    observer: str | None
    note: str | None


class VisitVersionAnswer(Version):
    """One form that a visit has had."""

    date: dt.date
    block: Slug | None
    cultivar: Slug
    percent_open: float | None
    bbch: int | None
    observer: str | None
    note: str | None


class VisitHistory(Body):
    """Every form that a visit has had, oldest first."""

    vineyard: Slug
    visit: str
    versions: list[VisitVersionAnswer]


class VisitsAnswer(Body):
    """All visits to a vineyard, by date."""

    vineyard: Slug
    visits: list[VisitAnswer]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")
