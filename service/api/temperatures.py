"""Temperatures of a station, in and out."""

from __future__ import annotations

import math
from dataclasses import asdict, replace
from typing import Annotated, Literal

from fastapi import Depends, Query, Request, Response

from models.errors import BadInput, Problem
from models.units import fahrenheit_from_celsius
from service.api.change_schemas import WriteReceipt
from service.api.part import part
from service.api.responses import UPLOAD, problems, wants_csv
from service.api.schemas import ReplacedRow
from service.api.station_schemas import (
    TemperatureAnswer,
    TemperatureDay,
    TemperatureHistory,
    TemperatureReceipt,
    TemperatureVersionAnswer,
)
from service.ingest.temperature_headers import TemperatureUnit
from service.ingest.temperatures import ReadTemperatures, read_temperatures
from service.store.errors import NotFound
from service.usecases.temperatures import observed_between, store_observed, store_outlook
from service.web.days import IsoDate
from service.web.keys import StationKey
from service.web.records import Reading, Writing
from service.web.units import UnitsQuery
from service.web.uploads import CSV, CsvFile, Options, csv_upload

router = part("/v1/stations/{station}/temperatures", "stations")


Kind = Literal["observed", "outlook"]


def temperature_file(
    content: CsvFile,
    options: Options,
    unit: Annotated[
        TemperatureUnit | None,
        Query(description="Needed unless the headers carry it, as `tmin_f` does; tenths as in GHCN-Daily."),
    ] = None,
    kind: Kind = "observed",
) -> ReadTemperatures:
    """The uploaded table, read before a transaction starts: a long file must not keep others waiting."""
    told = options if kind == "observed" else replace(options, sent_on=None)
    return read_temperatures(content, unit=unit, options=told)


@router.post(
    "",
    summary="Upload temperatures",
    responses=UPLOAD,
    openapi_extra=csv_upload(),
)
def upload_temperatures(
    station: StationKey,
    read: Annotated[ReadTemperatures, Depends(temperature_file)],
    records: Writing,
    options: Options,
    kind: Kind = "observed",
    issued_on: Annotated[IsoDate | None, Query(description="Day of issue; needed for an outlook.")] = None,
) -> TemperatureReceipt:
    """Take a CSV file of daily minima and maxima: columns for date, minimum and maximum, in any order.

    A value for a day that is stored takes the old one's place. A row that cannot be read refuses the file
    unless `on_bad_rows=skip`; codes for missing, blanks and impossible values are stored as missing and
    counted.

    Days that lie far off the station's own record, as in another unit, refuse the file unless `confirm=units`.
    """
    if kind == "observed":
        if issued_on is not None:
            raise BadInput(
                "only an outlook is issued", [Problem("query.issued_on", "leave it out, or say kind=outlook")]
            )
        stored = store_observed(records, station, read, confirm=options.confirm)
    else:
        if issued_on is None:
            raise BadInput(
                "an outlook needs its day of issue", [Problem("query.issued_on", "give it as 2026-05-20")]
            )
        stored = store_outlook(records, station, read, issued_on=issued_on, options=options)
    return TemperatureReceipt.showing(
        read,
        kind=kind,
        issued_on=issued_on,
        warnings=[*read.warnings, *stored.warnings],
        **{f"rows_{name}": count for name, count in stored.counts.numbers().items()},
        replaced=[ReplacedRow.of(each) for each in stored.counts.changed],
    )


@router.get(
    "",
    summary="Show temperatures",
    response_model=TemperatureAnswer,
    responses={200: {"content": {CSV: {"schema": {"type": "string"}}}}, **problems(404)},
)
def get_temperatures(
    request: Request,
    station: StationKey,
    records: Reading,
    first: Annotated[IsoDate | None, Query(alias="from", description="First day.")] = None,
    last: Annotated[IsoDate | None, Query(alias="to", description="Last day.")] = None,
    units: UnitsQuery = "metric",
) -> TemperatureAnswer | Response:
    """Measured days, absent ones as missing; as CSV, which can be uploaded again, with `Accept: text/csv`."""
    record = observed_between(records, station, first=first, last=last)
    us = units == "us"
    days = []
    if record is not None:
        tmin = fahrenheit_from_celsius(record.tmin_c) if us else record.tmin_c
        tmax = fahrenheit_from_celsius(record.tmax_c) if us else record.tmax_c
        days = [
            TemperatureDay(date=date, tmin=_rounded(low), tmax=_rounded(high))
            for date, low, high in zip(record.dates.tolist(), tmin.tolist(), tmax.tolist(), strict=True)
        ]
    if wants_csv(request):
        unit = "f" if us else "c"
        lines = [
            f"date,tmin_{unit},tmax_{unit}",
            *(f"{day.date},{_cell(day.tmin)},{_cell(day.tmax)}" for day in days),
        ]
        return Response("\n".join(lines) + "\n", media_type=CSV, headers={"Vary": "Accept"})
    return TemperatureAnswer(station=station, unit="F" if us else "C", days=days)


@router.delete("", summary="Delete temperatures", responses=problems(404))
def delete_temperatures(
    station: StationKey,
    records: Writing,
    kind: Literal["observed", "outlook"] = "observed",
    first: Annotated[IsoDate | None, Query(alias="from", description="First measured day.")] = None,
    last: Annotated[IsoDate | None, Query(alias="to", description="Last measured day.")] = None,
    issued_on: Annotated[IsoDate | None, Query(description="Day of issue of the outlook.")] = None,
) -> WriteReceipt:
    """Delete measured days, `from` and `to` included, or with `kind=outlook` the outlook that was `issued_on` a day."""
    if kind == "observed":
        needed = {"from": first, "to": last}
        unasked = {"issued_on": issued_on}
    else:
        needed = {"issued_on": issued_on}
        unasked = {"from": first, "to": last}
    faults = [Problem(f"query.{name}", "it is needed") for name, day in needed.items() if day is None]
    faults += [
        Problem(f"query.{name}", f"leave it out with kind={kind}")
        for name, day in unasked.items()
        if day is not None
    ]
    if faults:
        raise BadInput("it is not clear which days are to go", faults)
    if issued_on is not None:
        records.temperatures.delete_outlook(station, issued_on)
    elif first is not None and last is not None:
        records.temperatures.delete(station, first=first, last=last)
    return WriteReceipt.of(records.journal)


@router.get("/{date}/history", summary="Show what a day's temperatures were", responses=problems(404))
def get_day_history(station: StationKey, date: IsoDate, records: Reading) -> TemperatureHistory:
    """Every value that a measured day has had, oldest first; the last is the one that holds, unless it was
    deleted.
    """
    versions = [
        TemperatureVersionAnswer(**asdict(version)) for version in records.temperatures.history(station, date)
    ]
    if not versions:
        raise NotFound("temperature", str(date))
    return TemperatureHistory(station=station, date=date, versions=versions)


def _rounded(temperature: float) -> float | None:
    """Rounded so that a conversion and back gives the tenth that was measured."""
    return None if math.isnan(temperature) else round(temperature, 3)


def _cell(temperature: float | None) -> str:
    return "" if temperature is None else f"{temperature:g}"
