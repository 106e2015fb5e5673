"""Temperatures of a station: what was measured, and the outlooks supplied for the days to come."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from models.errors import BadInput, Problem
from models.records import DailyTemperatures
from service.ingest.against_record import beyond_record, check_against_itself, check_against_record
from service.ingest.hemisphere import check_hemisphere
from service.ingest.options import AS_THEY_ARE, Confirmed, ReadOptions
from service.ingest.plausible_days import check_outlook_days
from service.ingest.report import lines_text
from service.ingest.temperatures import ReadTemperatures
from service.store.records import Counts, Station
from service.store.repositories import Repositories


@dataclass(frozen=True)
class StoredTemperatures:
    """What became of the days, and what was noticed beside the station's record."""

    counts: Counts
    warnings: tuple[str, ...] = ()


def store_observed(
    records: Repositories, station: str, read: ReadTemperatures, *, confirm: Confirmed = ()
) -> StoredTemperatures:
    """Store measured days.

    Raises
    ------
    NotFound
        If there is no such station.
    BadInput
        If they do not belong to what is stored of the station or to its latitude, unless that is confirmed.
    """
    record = records.temperatures.observed(station)
    check_plausible(read, record, latitude=records.stations.get(station).latitude, confirm=confirm)
    counts = records.temperatures.store(station, read.dates, read.tmin_c, read.tmax_c)
    beyond = read.lines[beyond_record(read, record)].tolist()
    if not beyond:
        return StoredTemperatures(counts)
    warning = (
        f"hotter or colder than all that is stored of the station, so perhaps a slip: {lines_text(beyond)}"
    )
    return StoredTemperatures(counts, (warning,))


def check_plausible(
    read: ReadTemperatures, record: DailyTemperatures | None, *, latitude: float | None, confirm: Confirmed
) -> None:
    """Refuse days that do not belong to the record, to their own other years, or to the latitude.

    Raises BadInput.
    """
    if "units" not in confirm:
        if record is None:
            check_against_itself(read)
        else:
            check_against_record(read, record, outlook=False)
    if latitude is not None and "latitude" not in confirm:
        check_hemisphere(read.daily(), latitude)


def store_outlook(
    records: Repositories,
    station: str,
    read: ReadTemperatures,
    *,
    issued_on: dt.date,
    options: ReadOptions = AS_THEY_ARE,
) -> StoredTemperatures:
    """Store an outlook; it takes the place of one issued on the same day.

    Raises
    ------
    NotFound
        If there is no such station.
    BadInput
        If its last day lies before the day of issue: it says nothing of what is to come. If it is far from all that
        the station has seen, was issued on a day to come, or reaches further than a year, unless that is confirmed.
    """
    if "dates" not in options.confirm:
        check_outlook_days(issued_on, read.last_date, today=options.sent_on)
    if read.last_date < issued_on:
        problem = f"the outlook ends on {read.last_date}, before it was issued on {issued_on}"
        raise BadInput("the outlook lies in the past", [Problem("issued_on", problem)])
    if "units" not in options.confirm:
        check_against_record(read, records.temperatures.observed(station), outlook=True)
    return StoredTemperatures(
        records.temperatures.store_outlook(station, issued_on, read.dates, read.tmin_c, read.tmax_c)
    )


def put_station(records: Repositories, station: Station, *, confirm: Confirmed = ()) -> bool:
    """Create or replace a station; True if it is new.

    Raises
    ------
    BadInput
        If its latitude turns the seasons of its record round, unless that is confirmed.
    """
    new = records.stations.put(station)
    record = None if new else records.temperatures.observed(station.key)
    if record is not None and "latitude" not in confirm:
        check_hemisphere(record, station.latitude)
    return new


def observed_between(
    records: Repositories, station: str, *, first: dt.date | None, last: dt.date | None
) -> DailyTemperatures | None:
    """Measured days from ``first`` through ``last``; None without any. Raises NotFound (station)."""
    record = records.temperatures.observed(station)
    if record is None:
        return None
    days = record.dates.tolist()
    asked = [(first is None or first <= day) and (last is None or day <= last) for day in days]
    return DailyTemperatures(record.dates[asked], record.tmin_c[asked], record.tmax_c[asked])
