"""The bodies that travel over HTTP. Unknown fields are refused; units stand in the names."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from functools import partial
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
)

from service.clock import check_timezone
from service.ingest.dates import FIRST_YEAR, LAST_YEAR
from service.store.records import Replaced
from service.web.days import IsoDate

# NUL is the one character that a PostgreSQL text cannot hold.
Text = Annotated[str, StringConstraints(pattern=r"^[^\x00]*$")]
Name = Annotated[str, StringConstraints(pattern=r"^[^\x00]+$", min_length=1, strip_whitespace=True)]
TimeZone = Annotated[str, AfterValidator(check_timezone)]
WholeDays = Annotated[int, BeforeValidator(round)]
OneDigit = Annotated[float, AfterValidator(partial(round, ndigits=1))]
TwoDigits = Annotated[float, AfterValidator(partial(round, ndigits=2))]
ThreeDigits = Annotated[float, AfterValidator(partial(round, ndigits=3))]
FourDigits = Annotated[float, AfterValidator(partial(round, ndigits=4))]
Day = Annotated[IsoDate, Field(ge=dt.date(FIRST_YEAR, 1, 1), le=dt.date(LAST_YEAR, 12, 31))]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]


class Body(BaseModel):
    """What every body has in common."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True, from_attributes=True)

    @classmethod
    def showing(cls, *sources: object, **more: object) -> Self:
        """Each field from the first source that has it by name; ``more`` is what none has, or has otherwise."""
        found = {
            name: getattr(source, name)
            for name in cls.model_fields.keys() - more.keys()
            for source in reversed(sources)
            if hasattr(source, name)
        }
        return cls.model_validate({**found, **more})


class Located(Body):
    """One thing that is wrong: where it stands, and what would be right."""

    where: str
    problem: str


class ProblemDetails(Body):
    """What went wrong (RFC 9457)."""

    type: str
    title: str
    status: int
    detail: str
    instance: str
    errors: list[Located]


class ReplacedRow(Body):
    """One row that had other values: where it stands, and what differs."""

    where: str
    old: dict[str, Any]
    new: dict[str, Any]

    @classmethod
    def of(cls, replaced: Replaced) -> Self:
        """For the client; a subject (``block:b1``) is told by its key."""
        parts = [str(part).removeprefix("block:").removeprefix("cultivar:") for part in replaced.key]
        return cls(where=" ".join(filter(None, parts)), old=_told(replaced.old), new=_told(replaced.new))


def _told(values: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: value.isoformat() if isinstance(value, dt.date) else value for name, value in values.items()
    }


class Health(Body):
    """The service is up and its store answers."""

    status: Literal["ok"]


class BadRowAnswer(Body):
    """A row that could not be read."""

    line: int
    problem: str


class GapAnswer(Body):
    """A run of missing days, both ends included."""

    first: dt.date = Field(serialization_alias="from")
    last: dt.date = Field(serialization_alias="to")
    days: int


class Version(Body):
    """A value, when it was stored, and when and by whom another was put in its place (null: it holds)."""

    stored_at: dt.datetime
    superseded_at: dt.datetime | None
    superseded_by: str | None
