"""Bodies of stations and their temperatures."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from service.api.schemas import BadRowAnswer, Body, Day, GapAnswer, Name, ReplacedRow, Version
from service.usecases.documents import Slug


class StationBody(Body):
    """A weather station."""

    name: Name
    latitude: float = Field(ge=-90, le=90, description="Degrees, north positive.")
    longitude: float = Field(ge=-180, le=180, description="Degrees, east positive.")
    elevation_m: float | None = Field(default=None, ge=-500, le=9000)
    changed_on: Annotated[list[Day], AfterValidator(lambda days: sorted(set(days)))] = Field(
        default=[],
        max_length=100,
        description="Days on which it was moved or its thermometer changed. What lasts from season to season of "
        "what a vineyard shares (drift) ends there; the temperatures all stay.",
    )


class StationAnswer(StationBody):
    """A weather station and its identifier."""

    station: Slug


class StationList(Body):
    """All stations, by identifier."""

    stations: list[StationAnswer]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")


class TemperatureReceipt(Body):
    """What was read from a temperature file, and what became of it."""

    kind: Literal["observed", "outlook"]
    issued_on: dt.date | None
    rows_read: int
    rows_stored: int = Field(description="New days.")
    rows_replaced: int = Field(description="Days that had another value, which is kept as history.")
    replaced: list[ReplacedRow] = Field(description="The first 20 of them. [°C]")
    rows_unchanged: int
    missing_values: int = Field(description="Sentinels, blanks and impossible values; stored as missing.")
    bad_rows: list[BadRowAnswer]
    first_date: dt.date | None
    last_date: dt.date | None
    gaps: list[GapAnswer] = Field(
        description="Runs of missing days between the first and the last of the file."
    )
    warnings: list[str]


class TemperatureDay(Body):
    """One day's extremes, null where missing, in the unit of the answer."""

    date: dt.date
    tmin: float | None
    tmax: float | None


class TemperatureVersionAnswer(Version):
    """One value that a day has had. [°C]"""

    tmin_c: float | None
    tmax_c: float | None


class TemperatureHistory(Body):
    """Every value that a day has had, oldest first."""

    station: Slug
    date: dt.date
    versions: list[TemperatureVersionAnswer]


class TemperatureAnswer(Body):
    """Observed daily extremes."""

    station: Slug
    unit: Literal["C", "F"]
    days: list[TemperatureDay]
