"""A daily weather table to temperatures in °C, day by day, with all that was wrong or missing in it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.errors import BadInput, Problem
from models.heat.gaps import Gap, find_gaps
from models.records import DailyTemperatures, DateArray
from models.units import FloatArray
from service.ingest.dates import DateForm
from service.ingest.day_rows import IMPOSSIBLE, KNOWN, SWAPPED, WHY_MISSING, DayRows
from service.ingest.options import AS_THEY_ARE, ReadOptions
from service.ingest.plausibility import (
    COLDEST_C,
    HOTTEST_C,
    check_unit,
    columns_swapped,
    longest_alike,
    to_celsius,
)
from service.ingest.plausible_days import check_not_to_come, far_from_the_rest, too_far
from service.ingest.report import (
    BadRow,
    counted,
    lines_text,
    settle_bad_rows,
    settle_repeats,
)
from service.ingest.table import Content, read_table
from service.ingest.temperature_headers import TemperatureUnit, find_temperature_columns, is_weather_header
from service.ingest.temperature_rows import read_rows


@dataclass(frozen=True, eq=False)
class ReadTemperatures:
    """What a weather table holds.

    Attributes
    ----------
    unit : "C", "F" or "tenths_C"
        Of the file.
    dates : ndarray of datetime64[D], shape (day,)
        The days of the file, sorted, each once; days that are absent from it are not here.
    lines : ndarray of int, shape (day,)
        The first line of each day.
    tmin_c, tmax_c : ndarray, shape (day,)
        NaN together where a day is missing. [°C]
    rows_read : int
        Rows of the file, bad ones too.
    missing_values : int
        Days of the file that are blank, hold a code for missing, or are impossible.
    bad_rows : tuple of BadRow
        Rows that were skipped.
    first_date, last_date : date
    warnings : tuple of str
    """

    unit: TemperatureUnit
    dates: DateArray
    lines: NDArray[np.int64]
    tmin_c: FloatArray
    tmax_c: FloatArray
    rows_read: int
    missing_values: int
    bad_rows: tuple[BadRow, ...]
    first_date: dt.date
    last_date: dt.date
    warnings: tuple[str, ...]

    def daily(self) -> DailyTemperatures:
        """Every day from first to last, absent ones as missing."""
        days = np.arange(self.dates[0], self.dates[-1] + np.timedelta64(1, "D"))
        place = (self.dates - self.dates[0]).astype(np.int64)
        tmin_c, tmax_c = np.full(days.size, np.nan), np.full(days.size, np.nan)
        tmin_c[place], tmax_c[place] = self.tmin_c, self.tmax_c
        return DailyTemperatures(days, tmin_c, tmax_c)

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Runs of days between first and last date that are missing or absent."""
        return find_gaps(self.daily())


def read_temperatures(
    data: Content,
    *,
    unit: TemperatureUnit | None,
    options: ReadOptions = AS_THEY_ARE,
) -> ReadTemperatures:
    """Read daily minimum and maximum temperatures.

    Parameters
    ----------
    data : bytes, or a sheet of a workbook
        A table with the columns date, minimum and maximum in any order, among others that are ignored. Or hourly rows,
        with a time of day and one temperature, or the extremes of the hour.
    unit : "C", "F", "tenths_C" or None
        None: the headers must state it, as tmin_c does.
    options : ReadOptions

    Raises
    ------
    BadInput
        If the table or its columns can't be read, the unit is not stated or can't be right, minimum and
        maximum are swapped, there are several rows a day, or there are bad rows that are not to be skipped.
    """
    table = read_table(data, is_header=is_weather_header)
    columns = find_temperature_columns(table, unit=unit)
    form = DateForm(options.date_format, iso_too=table.workbook)
    days, bad_rows, told = read_rows(table, columns, form)
    if "dates" not in options.confirm:
        days, strangers = _plausible(days, options.sent_on)
        bad_rows += strangers
    if columns_swapped(days.tmin, days.tmax):
        low, high = table.columns[columns.tmin], table.columns[columns.tmax]
        problem = f"nearly every value of {low!r} lies above {high!r}"
        raise BadInput("the columns look swapped", [Problem(f"line {table.header_line}", problem)])
    if "units" not in options.confirm:
        check_unit(days.date, days.tmin, days.tmax, unit=columns.unit)
    days = _possible(days, columns.unit)
    valued = days.chosen(days.missing == KNOWN)
    kept, conflicts, warnings = _without_repeats(valued)
    bad = settle_bad_rows([*bad_rows, *conflicts], rows_read=table.rows_read, on_bad_rows=options.on_bad_rows)
    # A blank row beside a value says nothing; of several without one the last stands.
    missing = days.chosen((days.missing != KNOWN) & ~np.isin(days.date, valued.date))
    _, last = np.unique(missing.date[::-1], return_index=True)
    gone = missing.chosen(missing.line.size - 1 - last)
    nothing = np.full(last.shape, np.nan)
    stored = kept.by_date(gone._replace(tmin=nothing, tmax=nothing))
    if not stored.date.size:
        raise BadInput(
            "no day of the file can be used", [Problem(f"line {row.line}", row.problem) for row in bad]
        )
    if not kept.date.size:
        warnings.append("no day of the file has both a minimum and a maximum")
    warnings += [
        f"from {stored.date[first]} to {stored.date[last]} minimum and maximum never change "
        f"({stored.tmin[first]:.4g} and {stored.tmax[first]:.4g} °C): was the sensor stuck?"
        for first, last in longest_alike(stored.date, stored.tmin, stored.tmax)
    ]
    return ReadTemperatures(
        unit=columns.unit,
        dates=stored.date,
        lines=stored.line,
        tmin_c=stored.tmin,
        tmax_c=stored.tmax,
        rows_read=table.rows_read,
        missing_values=last.size,
        bad_rows=bad,
        first_date=stored.date[0].item(),
        last_date=stored.date[-1].item(),
        warnings=(*columns.warnings, *told, *_missing_warnings(missing), *warnings),
    )


def _plausible(days: DayRows, today: dt.date | None) -> tuple[DayRows, list[BadRow]]:
    """The days that can have been measured, and those that are to come or lie alone in another century."""
    years = days.date.astype("datetime64[Y]").astype(np.int64) + 1970
    alone = np.isin(years, list(far_from_the_rest(years)))
    doubtful = alone if today is None else alone | (days.date > np.datetime64(today))
    bad_rows: dict[int, BadRow] = {}
    for row in np.flatnonzero(doubtful).tolist():
        day = days.date[row].item()
        try:
            if alone[row]:
                raise BadInput(too_far(day))
            if today is not None:
                check_not_to_come(day, today=today)
        except BadInput as error:
            bad_rows[row] = BadRow(int(days.line[row]), error.message)
    kept = np.isin(np.arange(years.size), list(bad_rows), invert=True)
    return days.chosen(kept), list(bad_rows.values())


def _possible(days: DayRows, unit: TemperatureUnit) -> DayRows:
    """The rows in °C; a day with an impossible value is missing."""
    low, high = to_celsius(days.tmin, unit), to_celsius(days.tmax, unit)
    impossible = (np.fmin(low, high) < COLDEST_C) | (np.fmax(low, high) > HOTTEST_C)
    missing = np.select([impossible, low > high], [IMPOSSIBLE, SWAPPED], days.missing)
    return days._replace(tmin=low, tmax=high, missing=missing)


def _without_repeats(days: DayRows) -> tuple[DayRows, list[BadRow], list[str]]:
    """One row a day, the bad rows of days with different values, and warnings."""
    dates, count = np.unique(days.date, return_counts=True)
    repeated = np.isin(days.date, dates[count > 1])
    again = zip(*(column[repeated].tolist() for column in days), strict=True)
    entries = [(line, date, (low, high)) for line, date, low, high, _ in again]
    kept, conflicts, warnings = settle_repeats(entries, what="the date {}")
    chosen = ~repeated | np.isin(days.line, [line for line, _, _ in kept])
    return days.chosen(chosen), conflicts, warnings


def _missing_warnings(missing: DayRows) -> list[str]:
    warnings = []
    for why, text in WHY_MISSING.items():
        lines = missing.line[missing.missing == why].tolist()
        if lines:
            have, are = ("has", "is") if len(lines) == 1 else ("have", "are")
            days = f"{counted(len(lines), 'day')} {have} {text}"
            warnings.append(f"{days} and {are} stored as missing: {lines_text(lines)}")
    return warnings
