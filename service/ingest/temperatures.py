"""A daily weather table to temperatures in °C, day by day, with all that was wrong or missing in it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from models.errors import BadInput, Problem
from models.heat.gaps import Gap, find_gaps
from models.records import DailyTemperatures, DateArray
from models.units import FloatArray
from service.ingest.cells import is_blank, number
from service.ingest.dates import TimeOfDay, check_date_format, parse_date
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
from service.ingest.table import Table, read_table
from service.ingest.temperature_headers import TemperatureColumns, TemperatureUnit, find_temperature_columns

# Common practice, no source: numbers and letters that stand for "missing" in weather tables. They are looked
# for before any conversion, and in tenths of °C -99 and -100 are temperatures.
MISSING_LETTERS = frozenset({"m", "t"})
MISSING_CODES: dict[TemperatureUnit, frozenset[float]] = {
    "C": frozenset({-99.0, -99.9, -99.99, -100.0, -999.0, -999.9, -9999.0, 999.0, 999.9, 9999.0}),
    "F": frozenset({-99.0, -99.9, -99.99, -100.0, -999.0, -999.9, -9999.0, 999.0, 999.9, 9999.0}),
    "tenths_C": frozenset({-9999.0, 9999.0}),
}
HOURLY_SHARE, HOURLY_DAYS = 0.5, 3  # days with several readings, from which on a table is taken for hourly

BLANK = "no value"
CODE = "a code for missing"
IMPOSSIBLE = f"a value outside {COLDEST_C:g} to {HOTTEST_C:g} °C"
SWAPPED = "Tmin above Tmax"


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


class _Day(NamedTuple):
    """One row that could be read; ``missing`` says why a value of it is NaN. [unit of the file]"""

    line: int
    date: dt.date
    tmin: float
    tmax: float
    missing: str | None


def read_temperatures(
    data: bytes,
    *,
    unit: TemperatureUnit | None,
    options: ReadOptions = AS_THEY_ARE,
) -> ReadTemperatures:
    """Read daily minimum and maximum temperatures.

    Parameters
    ----------
    data : bytes
        A table with the columns date, minimum and maximum in any order, among others that are ignored.
    unit : "C", "F", "tenths_C" or None
        None: the headers must state it, as tmin_c does.
    options : ReadOptions

    Raises
    ------
    BadInput
        If the table or its columns can't be read, the unit is not stated or can't be right, minimum and
        maximum are swapped, there are several rows a day, or there are bad rows that are not to be skipped.
    """
    check_date_format(options.date_format)
    table = read_table(data)
    columns = find_temperature_columns(table, unit=unit)
    days, bad_rows = _read_rows(table, columns, options.date_format)
    if "dates" not in options.confirm:
        days, strangers = _plausible(days, options.today)
        bad_rows += strangers
    dates = np.array([day.date for day in days], dtype="datetime64[D]")
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
    stored = np.array(ordered, dtype="datetime64[D]")
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
        warnings=(*_missing_warnings(missing), *warnings),
    )


def _read_rows(
    table: Table, columns: TemperatureColumns, date_format: str | None
) -> tuple[list[_Day], list[BadRow]]:
    days: list[_Day] = []
    bad_rows = list(table.bad_rows)
    readings: dict[dt.date, set[tuple[str, ...]]] = {}
    timed = False
    places = (columns.date, columns.tmin, columns.tmax)
    codes = MISSING_CODES[columns.unit]
    for line, cells in table.rows:
        problems: list[str] = []
        date: dt.date | None = None
        try:
            date = parse_date(cells[columns.date], date_format=date_format)
        except TimeOfDay as error:
            timed = True
            readings.setdefault(error.day, set()).add(tuple(cells[place] for place in places))
            problems.append(error.message)
        except BadInput as error:
            problems.append(error.message)
        values: list[float] = []
        missing: str | None = None
        for place in places[1:]:
            try:
                value, why = _reading(cells[place], codes, decimal_comma=table.decimal_comma)
                values.append(value)
                missing = missing or why
            except BadInput as error:
                problems.append(f"{table.columns[place]}: {error.message}")
        if date is None or problems:
            bad_rows += [BadRow(line, problem) for problem in problems]
        else:
            readings.setdefault(date, set()).add(tuple(cells[place] for place in places))
            days.append(_Day(line, date, values[0], values[1], missing))
    _refuse_hourly(readings, timed=timed)
    return days, bad_rows


def _plausible(days: list[_Day], today: dt.date | None) -> tuple[list[_Day], list[BadRow]]:
    """The days that can have been measured, and those that are to come or lie alone in another century."""
    alone = far_from_the_rest([day.date.year for day in days])
    kept: list[_Day] = []
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


def _reading(text: str, codes: frozenset[float], *, decimal_comma: bool) -> tuple[float, str | None]:
    """A temperature as it stands, or NaN and the reason why it is missing."""
    if is_blank(text):
        return np.nan, BLANK
    if text.casefold() in MISSING_LETTERS:
        return np.nan, CODE
    value = number(text, decimal_comma=decimal_comma)
    return (np.nan, CODE) if value in codes else (value, None)


def _refuse_hourly(readings: dict[dt.date, set[tuple[str, ...]]], *, timed: bool) -> None:
    """An hourly table must not pass for a daily one by its midnight rows, so no option skips this."""
    several = sum(len(each) > 1 for each in readings.values())
    if several and several >= HOURLY_SHARE * len(readings) and (timed or several >= HOURLY_DAYS):
        problem = (
            f"{several:,} of {len(readings):,} days have several rows; send one row a day, with its extremes"
        )
        raise BadInput("several rows a day: this looks like an hourly table", [Problem("date", problem)])


def _without_impossible(days: list[_Day], tmin_c: FloatArray, tmax_c: FloatArray) -> list[_Day]:
    """The rows in °C; a day with an impossible value is missing."""
    checked: list[_Day] = []
    for day, low, high in zip(days, tmin_c.tolist(), tmax_c.tolist(), strict=True):
        missing = day.missing
        if any(value < COLDEST_C or value > HOTTEST_C for value in (low, high)):
            missing = IMPOSSIBLE
        elif low > high:
            missing = SWAPPED
        checked.append(_Day(day.line, day.date, low, high, missing))
    return checked


def _missing_warnings(missing: list[_Day]) -> list[str]:
    warnings = []
    for why in (BLANK, CODE, IMPOSSIBLE, SWAPPED):
        lines = [day.line for day in missing if day.missing == why]
        if lines:
            have, are = ("has", "is") if len(lines) == 1 else ("have", "are")
            days = f"{counted(len(lines), 'day')} {have} {why}"
            warnings.append(f"{days} and {are} stored as missing: {lines_text(lines)}")
    return warnings
