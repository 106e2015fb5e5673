"""Temperatures of a station: what was measured, and the outlooks supplied for the days to come."""

from __future__ import annotations

import datetime as dt

from models.errors import BadInput, Problem
from models.records import DailyTemperatures
from service.ingest.temperatures import ReadTemperatures
from service.store.records import Counts
from service.store.repositories import Repositories


def store_observed(records: Repositories, station: str, read: ReadTemperatures) -> Counts:
    """Store measured days. Raises NotFound (station)."""
    return records.temperatures.store(station, read.dates, read.tmin_c, read.tmax_c)


def store_outlook(
    records: Repositories, station: str, read: ReadTemperatures, *, issued_on: dt.date
) -> Counts:
    """Store an outlook; it takes the place of one issued on the same day.

    Raises
    ------
    NotFound
        If there is no such station.
    BadInput
        If its last day lies before the day of issue: it says nothing of what is to come.
    """
    if read.last_date < issued_on:
        problem = f"the outlook ends on {read.last_date}, before it was issued on {issued_on}"
        raise BadInput("the outlook lies in the past", [Problem("issued_on", problem)])
    return records.temperatures.store_outlook(station, issued_on, read.dates, read.tmin_c, read.tmax_c)


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
