"""The bodies that tell what was changed."""

from __future__ import annotations

import datetime as dt
from typing import Self

from pydantic import Field

from service.api.schemas import Body
from service.store.journal import Journal
from service.store.records import Change
from service.words.changes import rows_told, what_changed


class ChangeAnswer(Body):
    """What one request wrote."""

    change: int
    at: dt.datetime
    by: str
    what: str = Field(description="In words.")
    rows: int = Field(description="Rows that were added, replaced or deleted.")
    undone: bool = Field(description="Whether it has been undone, and holds no more.")
    undone_by: int | None = Field(description="The change that undid it.")
    undoes: int | None = Field(description="The change that it undid itself.")

    @classmethod
    def of(cls, change: Change) -> Self:
        """For the client."""
        return cls(
            change=change.number,
            at=change.at,
            by=change.by,
            what=what_changed(change.code, change.params),
            rows=change.rows,
            undone=change.undone_by is not None,
            undone_by=change.undone_by,
            undoes=change.undoes,
        )


class ChangeList(Body):
    """Changes, newest first."""

    changes: list[ChangeAnswer]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")


class WriteReceipt(Body):
    """What a request wrote, or would write."""

    what: str = Field(description="In words.")
    rows: int = Field(description="Rows that were added, replaced or deleted.")
    written: dict[str, int] = Field(description="How many rows of what, as in `visits deleted`.")

    @classmethod
    def of(cls, journal: Journal) -> Self:
        """What has been written so far."""
        written = [vars(each) for each in journal.written()]
        told = rows_told(written)
        return cls(
            what=what_changed(journal.code, {**journal.params, "written": written}),
            rows=sum(told.values()),
            written=told,
        )
