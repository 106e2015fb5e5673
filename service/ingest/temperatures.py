"""A daily weather table to temperatures in °C, day by day, with all that was wrong or missing in it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.errors import BadInput, Problem
from models.heat.gaps import Gap, find_gaps
from models.records import DailyTemperatures, DateArray
from models.units import FloatArray
from service.ingest.dates import DateForm
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
from service.ingest.temperature_rows import (
    BLANK,
    CODE,
    IMPOSSIBLE,
    SWAPPED,
    TOO_FEW_HOURS,
    DayRow,
    read_rows,
)

EPOCH = dt.date(1970, 1, 1).toordinal()


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
    dates = days_of([day.date for day in days])
    tmin = np.array([day.tmin for day in days], dtype=np.float64)
    tmax = np.array([day.tmax for day in days], dtype=np.float64)
    if columns_swapped(tmin, tmax):
        low, high = table.columns[columns.tmin], table.columns[columns.tmax]
        problem = f"nearly every value of {low!r} lies above {high!r}"
        raise BadInput("the columns look swapped", [Problem(f"line {table.header_line}", problem)])
    if "units" not in options.confirm:
        check_unit(dates, tmin, tmax, unit=columns.unit)
    checked = _without_impossible(days, to_celsius(tmin, columns.unit), to_celsius(tmax, columns.unit))
    entries = [(day.line, day.date, (day.tmin, day.tmax)) for day in checked if day.missing is None]
    kept, conflicts, warnings = settle_repeats(entries, what="the date {}")
    bad = settle_bad_rows([*bad_rows, *conflicts], rows_read=table.rows_read, on_bad_rows=options.on_bad_rows)
    valued = {date for _, date, _ in entries}  # a blank row beside a value says nothing
    missing = [day for day in checked if day.missing is not None and day.date not in valued]
    values = {date: (line, *pair) for line, date, pair in kept}
    values |= {day.date: (day.line, np.nan, np.nan) for day in missing}
    ordered = sorted(values)
    if not ordered:
        raise BadInput(
            "no day of the file can be used", [Problem(f"line {row.line}", row.problem) for row in bad]
        )
    lines, lows, highs = zip(*(values[date] for date in ordered), strict=True)
    stored = days_of(ordered)
    tmin_c, tmax_c = np.array(lows, dtype=np.float64), np.array(highs, dtype=np.float64)
    if not kept:
        warnings.append("no day of the file has both a minimum and a maximum")
    warnings += [
        f"from {ordered[first]} to {ordered[last]} minimum and maximum never change ({tmin_c[first]:.4g} and "
        f"{tmax_c[first]:.4g} °C): was the sensor stuck?"
        for first, last in longest_alike(stored, tmin_c, tmax_c)
    ]
    return ReadTemperatures(
        unit=columns.unit,
        dates=stored,
        lines=np.array(lines, dtype=np.int64),
        tmin_c=tmin_c,
        tmax_c=tmax_c,
        rows_read=table.rows_read,
        missing_values=len({day.date for day in missing}),
        bad_rows=bad,
        first_date=ordered[0],
        last_date=ordered[-1],
        warnings=(*columns.warnings, *told, *_missing_warnings(missing), *warnings),
    )


def days_of(dates: Sequence[dt.date]) -> DateArray:
    """The same as an array; NumPy by itself takes several times as long."""
    since_epoch = np.fromiter((day.toordinal() for day in dates), np.int64, len(dates)) - EPOCH
    return since_epoch.astype("datetime64[D]")


def _plausible(days: list[DayRow], today: dt.date | None) -> tuple[list[DayRow], list[BadRow]]:
    """The days that can have been measured, and those that are to come or lie alone in another century."""
    alone = far_from_the_rest([day.date.year for day in days])
    if not alone and all(today is None or day.date <= today for day in days):
        return days, []
    kept: list[DayRow] = []
    bad_rows: list[BadRow] = []
    for day in days:
        try:
            if day.date.year in alone:
                raise BadInput(too_far(day.date))
            if today is not None:
                check_not_to_come(day.date, today=today)
            kept.append(day)
        except BadInput as error:
            bad_rows.append(BadRow(day.line, error.message))
    return kept, bad_rows


def _without_impossible(days: list[DayRow], tmin_c: FloatArray, tmax_c: FloatArray) -> list[DayRow]:
    """The rows in °C; a day with an impossible value is missing."""
    checked: list[DayRow] = []
    for day, low, high in zip(days, tmin_c.tolist(), tmax_c.tolist(), strict=True):
        missing = day.missing
        if low < COLDEST_C or low > HOTTEST_C or high < COLDEST_C or high > HOTTEST_C:
            missing = IMPOSSIBLE
        elif low > high:
            missing = SWAPPED
        checked.append(DayRow(day.line, day.date, low, high, missing))
    return checked


def _missing_warnings(missing: list[DayRow]) -> list[str]:
    warnings = []
    for why in (BLANK, CODE, IMPOSSIBLE, SWAPPED, TOO_FEW_HOURS):
        lines = [day.line for day in missing if day.missing == why]
        if lines:
            have, are = ("has", "is") if len(lines) == 1 else ("have", "are")
            days = f"{counted(len(lines), 'day')} {have} {why}"
            warnings.append(f"{days} and {are} stored as missing: {lines_text(lines)}")
    return warnings
