"""The rows of a weather table to one entry a day: daily rows as they stand, hourly ones as their extremes."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from models.errors import BadInput, Problem
from service.ingest.cells import is_blank, number, shown, without_mark
from service.ingest.dates import DateForm, TimeOfDay, parse_date
from service.ingest.hourly import FEWEST_HOURS, HourReading, daily_extremes
from service.ingest.plausibility import COLDEST_C, HOTTEST_C, from_celsius
from service.ingest.report import BadRow, counted, lines_text
from service.ingest.table import Table
from service.ingest.temperature_headers import TemperatureColumns, TemperatureUnit

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
TOO_FEW_HOURS = f"readings in fewer than {FEWEST_HOURS} hours"

_HOUR = re.compile(r"(\d{1,2})(?::?(\d{2}))?(?::(\d{2}))?(?:\.\d+)?\s*(?:([AaPp])\.?[Mm]\.?)?", re.ASCII)
_PLAIN = re.compile(r"-?\d{1,4}(\.\d{1,6})?", re.ASCII)
_UTC = re.compile(r"(Z|[+-]00:?00)$")


class DayRow(NamedTuple):
    """One day of a table; ``missing`` says why a value of it is NaN. [unit of the file]"""

    line: int
    date: dt.date
    tmin: float
    tmax: float
    missing: str | None


class RowsRead(NamedTuple):
    """Days, rows that can't be read, and what is to be told."""

    days: list[DayRow]
    bad_rows: list[BadRow]
    warnings: list[str]


class _Read(NamedTuple):
    """One row that could be read; a time of day in a column of its own does not make a daily row a bad one."""

    row: HourReading
    timed: str | None


def read_rows(table: Table, columns: TemperatureColumns, form: DateForm) -> RowsRead:
    """Read all rows.

    Raises
    ------
    BadInput
        If several rows a day have no time of day, or hourly ones are too far apart, or there is one temperature a day.
    """
    read: list[_Read] = []
    bad_rows = list(table.bad_rows)
    marked: list[int] = []
    utc = False
    codes = MISSING_CODES[columns.unit]
    places = dict.fromkeys((columns.tmin, columns.tmax))
    for line, cells in table.rows:
        if line == columns.unit_line:
            continue
        problems: list[str] = []
        timed: str | None = None
        date, hour = dt.date.min, 0
        text = cells[columns.date]
        try:
            date = parse_date(text, form)
        except TimeOfDay as error:
            date, hour, timed = error.day, error.time.hour, error.message
            utc = utc or _UTC.search(text) is not None
        except BadInput as error:
            problems.append(error.message)
        if columns.time is not None and not is_blank(cells[columns.time]):
            try:
                hour = _hour(cells[columns.time])
            except BadInput as error:
                problems.append(f"{table.columns[columns.time]}: {error.message}")
        values: list[float] = []
        missing: str | None = None
        for place in places:
            cell = cells[place]
            if _PLAIN.fullmatch(cell):  # as most are, and there are many
                value = float(cell)
                values.append(np.nan if value in codes else value)
                missing = missing or (CODE if value in codes else None)
                continue
            plain, mark = without_mark(cell)
            if mark:
                marked.append(line)
            try:
                value, why = _reading(plain, codes, decimal_comma=table.decimal_comma)
                values.append(value)
                missing = missing or why
            except BadInput as error:
                problems.append(f"{table.columns[place]}: {error.message}")
        if problems:
            bad_rows += [BadRow(line, problem) for problem in problems]
        else:
            read.append(_Read(HourReading(line, date, hour, values[0], values[-1], missing), timed))
    warnings = []
    if marked:
        warnings.append(
            f"{counted(len(marked), 'value')} with a mark behind, as in '25*', read without it: {lines_text(marked)}"
        )
    if _are_hourly(read, columns):
        if utc:
            warnings.append(
                "the times are in UTC, and so are the days: where that is far from local time, the extremes of one "
                "day may be those of its neighbour"
            )
        days = _from_hours([each.row for each in read], columns.unit)
        lacking = sum(day.missing == TOO_FEW_HOURS for day in days)
        rule = f"hourly rows were read as daily extremes: lowest and highest reading of days with {FEWEST_HOURS} hours"
        return RowsRead(days, bad_rows, [*warnings, f"{rule}; {counted(lacking, 'day')} had fewer"])
    if columns.one_reading:
        name = table.columns[columns.tmin]
        problem = (
            f"{name!r} has one value a day; the daily minimum and maximum are needed, or hourly readings"
        )
        raise BadInput("the table has no daily extremes", [Problem(f"line {table.header_line}", problem)])
    bad_rows += [BadRow(each.row.line, each.timed) for each in read if each.timed is not None]
    days = [
        DayRow(row.line, row.date, row.low, row.high, row.missing) for row, timed in read if timed is None
    ]
    return RowsRead(days, bad_rows, warnings)


def _are_hourly(read: Sequence[_Read], columns: TemperatureColumns) -> bool:
    """Whether most days have several different rows. An hourly table without times must not pass for a daily one."""
    if len({row.date for row, _ in read}) == len(read):
        return False
    by_day: dict[dt.date, set[tuple[int, float, float]]] = {}
    for row, _ in read:
        by_day.setdefault(row.date, set()).add((row.hour, row.low, row.high))
    several = sum(len(each) > 1 for each in by_day.values())
    if not several or several < HOURLY_SHARE * len(by_day):
        return False
    if columns.time is not None or any(timed is not None for _, timed in read):
        return True
    if several >= HOURLY_DAYS:
        problem = (
            f"{several:,} of {len(by_day):,} days have several rows; send one row a day with its extremes, or hourly "
            "rows with their time of day"
        )
        raise BadInput(
            "several rows a day without a time: this looks like an hourly table", [Problem("date", problem)]
        )
    return False


def _from_hours(readings: Sequence[HourReading], unit: TemperatureUnit) -> list[DayRow]:
    coldest, hottest = from_celsius(np.array([COLDEST_C, HOTTEST_C]), unit).tolist()
    possible = [
        reading
        if reading.missing is not None or (coldest <= reading.low and reading.high <= hottest)
        else reading._replace(missing=IMPOSSIBLE)
        for reading in readings
    ]
    return [
        DayRow(day.line, day.date, day.low, day.high, None if day.hours >= FEWEST_HOURS else TOO_FEW_HOURS)
        for day in daily_extremes(possible)
    ]


def _hour(text: str) -> int:
    """The hour of a time of day; 24 is one, too, where hours are counted from 1 on."""
    found = _HOUR.fullmatch(text)
    hour = int(found[1]) if found else 25
    if found and found[4]:
        hour = hour % 12 + (12 if found[4].casefold() == "p" else 0)
    if not 0 <= hour <= 24:
        raise BadInput(f"{shown(text)} is not a time of day")
    return hour


def _reading(text: str, codes: frozenset[float], *, decimal_comma: bool) -> tuple[float, str | None]:
    """A temperature as it stands, or NaN and the reason why it is missing."""
    if is_blank(text):
        return np.nan, BLANK
    if text.casefold() in MISSING_LETTERS:
        return np.nan, CODE
    value = number(text, decimal_comma=decimal_comma)
    return (np.nan, CODE) if value in codes else (value, None)
