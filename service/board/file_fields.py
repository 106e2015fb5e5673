"""The fields beside files that two forms share: as they were typed, and what they mean."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Annotated, NamedTuple

from fastapi import Depends, Form

from models.errors import BadInput, Problem
from models.units import FEET_PER_METRE
from service.board.fields import DATES, UNITS
from service.ingest.any_planting import GridSpacing, spacing_of
from service.ingest.bloom_log import LONGEST_CHECK_DAYS
from service.ingest.cells import number, whole_number
from service.ingest.options import Confirm, FileName, ReadOptions
from service.ingest.temperature_headers import TemperatureUnit
from service.words.language import _

LENGTHS = {"m": 1.0, "ft": FEET_PER_METRE}


@dataclass(frozen=True, kw_only=True)
class FileFields:
    """What stands in the fields, as it was typed."""

    unit: str = "headers"
    temperatures_dates: str = "iso"
    bloom_log_dates: str = "iso"
    visits_dates: str = "iso"
    checked_every_days: str = ""
    row_spacing: str = ""
    vine_spacing: str = ""
    spacing_unit: str = "m"
    confirm: tuple[Confirm, ...] = ()


class HowToRead(NamedTuple):
    """What the fields mean: unit of temperatures, spacing of a planting's rows and vines, and options of each file."""

    unit: TemperatureUnit | None
    spacing: GridSpacing | None
    options: dict[FileName, ReadOptions]


def _sent(
    unit: Annotated[str, Form(max_length=10)] = "headers",
    temperatures_dates: Annotated[str, Form(max_length=20)] = "iso",
    bloom_log_dates: Annotated[str, Form(max_length=20)] = "iso",
    visits_dates: Annotated[str, Form(max_length=20)] = "iso",
    checked_every_days: Annotated[str, Form(max_length=10)] = "",
    row_spacing: Annotated[str, Form(max_length=40)] = "",
    vine_spacing: Annotated[str, Form(max_length=40)] = "",
    spacing_unit: Annotated[str, Form(max_length=2)] = "m",
    confirm: Annotated[list[Confirm] | None, Form()] = None,
) -> FileFields:
    return FileFields(
        unit=unit,
        temperatures_dates=temperatures_dates,
        bloom_log_dates=bloom_log_dates,
        visits_dates=visits_dates,
        checked_every_days=checked_every_days,
        row_spacing=row_spacing,
        vine_spacing=vine_spacing,
        spacing_unit=spacing_unit,
        confirm=tuple(confirm or ()),
    )


SentFields = Annotated[FileFields, Depends(_sent)]


def faults_of(told: FileFields) -> list[Problem]:
    """What is wrong in the fields."""
    found = []
    if (
        told.unit not in UNITS
        or told.spacing_unit not in LENGTHS
        or not set(_dates(told).values()) <= DATES.keys()
    ):
        found.append(Problem("form", _("choose units and a way to write dates from the lists")))
    try:
        _every(told)
    except BadInput as error:
        found.append(Problem("checked_every_days", error.message))
    try:
        _spacing(told)
    except BadInput as error:
        found += error.problems
    return found


def how_to_read(told: FileFields, today: dt.date) -> HowToRead:
    """What the fields mean; no observation may lie after today. ``told`` is without faults."""

    def options(format_name: str, sent_on: dt.date | None) -> ReadOptions:
        return ReadOptions(
            date_format=DATES[format_name],
            confirm=told.confirm,
            sent_on=sent_on,
            checked_every_days=_every(told),
        )

    dates = _dates(told)
    dated = {name: options(format_name, today) for name, format_name in dates.items()}
    return HowToRead(
        UNITS[told.unit], _spacing(told), {**dated, "outlook": options(dates["temperatures"], None)}
    )


def _dates(told: FileFields) -> dict[FileName, str]:
    return {
        "temperatures": told.temperatures_dates,
        "bloom_log": told.bloom_log_dates,
        "visits": told.visits_dates,
    }


def _every(told: FileFields) -> int | None:
    every = told.checked_every_days.strip()
    return whole_number(every, low=1, high=LONGEST_CHECK_DAYS) if every else None


def _spacing(told: FileFields) -> GridSpacing | None:
    problems: list[Problem] = []
    row_m, vine_m = (
        _length(name, typed, LENGTHS.get(told.spacing_unit, 1.0), problems)
        for name, typed in (("row_spacing", told.row_spacing), ("vine_spacing", told.vine_spacing))
    )
    if problems:
        raise BadInput(_("rows of vines need their spacings"), problems)
    return spacing_of(row_m, vine_m)


def _length(where: str, typed: str, in_a_metre: float, problems: list[Problem]) -> float | None:
    if not typed.strip():
        return None
    try:
        return number(typed.strip()) / in_a_metre
    except BadInput as error:
        problems.append(Problem(where, error.message))
        return None
