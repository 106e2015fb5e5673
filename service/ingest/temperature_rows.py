"""The rows of a weather table to one entry a day: daily rows as they stand, hourly ones as their extremes."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from models.errors import BadInput, Problem
from models.records import DateArray
from service.ingest.cells import is_blank, number, shown, without_mark
from service.ingest.dates import DateForm, TimeOfDay, parse_date, plain_days
from service.ingest.day_rows import (
    BLANK,
    CODE,
    FEWEST_HOURS,
    IMPOSSIBLE,
    KNOWN,
    TOO_FEW_HOURS,
    DayRows,
    IntArray,
)
from service.ingest.hourly import daily_extremes
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

EPOCH = dt.date(1970, 1, 1).toordinal()

_HOUR = re.compile(r"(\d{1,2})(?::?(\d{2}))?(?::(\d{2}))?(?:\.\d+)?\s*(?:([AaPp])\.?[Mm]\.?)?", re.ASCII)
_UTC = re.compile(r"(Z|[+-]00:?00)$")


class RowsRead(NamedTuple):
    """Days, rows that can't be read, and what is to be told."""

    days: DayRows
    bad_rows: list[BadRow]
    warnings: list[str]


class _Said(NamedTuple):
    """What a cell says: a temperature or the number of a day, an hour, or what is wrong with it.

    A time of day beside a date (``timed``) makes its row a bad one only if the table is a daily one.
    """

    value: float = np.nan
    missing: int = KNOWN
    marked: bool = False
    hour: int = -1
    timed: str | None = None
    utc: bool = False
    problem: str | None = None


class _Column:
    """What the cells of a column say. The same text is read once: rows are many, and different texts few."""

    def __init__(self, cells: Sequence[str], read: Callable[[str], _Said]) -> None:
        place = {text: number for number, text in enumerate(dict.fromkeys(cells))}
        self._said = [read(text) for text in place]
        self._which = np.fromiter(map(place.__getitem__, cells), np.intp, len(cells))

    def each(self, part: str) -> NDArray[Any]:
        """A part of what the cells say, row by row."""
        kind = type(getattr(_Said(), part))
        return np.array([getattr(said, part) for said in self._said], dtype=kind)[self._which]

    def told(self, part: str) -> Iterator[tuple[int, str]]:
        """A part that few of them have, with the rows that do."""
        texts = [getattr(said, part) for said in self._said]
        if any(texts):
            yield from (
                (row, text) for row, which in enumerate(self._which.tolist()) if (text := texts[which])
            )


def read_rows(table: Table, columns: TemperatureColumns, form: DateForm) -> RowsRead:
    """Read all rows.

    Raises
    ------
    BadInput
        If several rows a day have no time of day, or hourly ones are too far apart, or there is one temperature a day.
    """
    rows = table.rows if columns.unit_line is None else table.rows[1:]
    line = np.array([row.line for row in rows], dtype=np.int64)

    def column(place: int, read: Callable[[str], _Said]) -> _Column:
        return _Column([row.cells[place] for row in rows], read)

    reading = partial(_reading, codes=MISSING_CODES[columns.unit], decimal_comma=table.decimal_comma)
    temperatures = {place: column(place, reading) for place in {columns.tmin, columns.tmax}}
    named = dict(temperatures)
    date, dates = _dates([row.cells[columns.date] for row in rows], form)
    hour = dates.each("hour")
    if columns.time is not None:
        named[columns.time] = column(columns.time, _hour)
        stated = named[columns.time].each("hour")
        hour = np.where(stated < 0, hour, stated)
    problems = list(dates.told("problem"))
    for place, each in named.items():
        problems += [(row, f"{table.columns[place]}: {problem}") for row, problem in each.told("problem")]
    bad_rows = [*table.bad_rows, *(BadRow(int(line[row]), problem) for row, problem in problems)]
    readable = np.ones(line.size, dtype=bool)
    readable[[row for row, _ in problems]] = False
    timed = columns.time is not None or any(readable[row] for row, _ in dates.told("timed"))
    warnings = []
    marked = np.concatenate([line[each.each("marked")] for each in temperatures.values()]).tolist()
    if marked:
        warnings.append(
            f"{counted(len(marked), 'value')} with a mark behind, as in '25*', read without it: {lines_text(marked)}"
        )
    low, high = temperatures[columns.tmin], temperatures[columns.tmax]
    missing = np.where(low.each("missing") == KNOWN, high.each("missing"), low.each("missing"))
    read = DayRows(line, date, low.each("value"), high.each("value"), missing)
    if _are_hourly(read.chosen(readable), hour[readable], timed=timed):
        if dates.each("utc").any():
            warnings.append(
                "the times are in UTC, and so are the days: where that is far from local time, the extremes of one "
                "day may be those of its neighbour"
            )
        days = _from_hours(read.chosen(readable), hour[readable], columns.unit)
        lacking = int(np.sum(days.missing == TOO_FEW_HOURS))
        rule = f"hourly rows were read as daily extremes: lowest and highest reading of days with {FEWEST_HOURS} hours"
        return RowsRead(days, bad_rows, [*warnings, f"{rule}; {counted(lacking, 'day')} had fewer"])
    if columns.one_reading:
        name = table.columns[columns.tmin]
        problem = (
            f"{name!r} has one value a day; the daily minimum and maximum are needed, or hourly readings"
        )
        raise BadInput("the table has no daily extremes", [Problem(f"line {table.header_line}", problem)])
    for row, problem in dates.told("timed"):
        if readable[row]:
            bad_rows.append(BadRow(int(line[row]), problem))
            readable[row] = False
    return RowsRead(read.chosen(readable), bad_rows, warnings)


def _dates(cells: Sequence[str], form: DateForm) -> tuple[DateArray, _Column]:
    """The day of each row, and what else the dates say: nothing where all are plain, as they mostly are."""
    plain = plain_days(cells, form)
    if plain is not None:
        return plain, _Column([""] * len(cells), lambda _: _Said(hour=0))
    dates = _Column(cells, partial(_date, form=form))
    return dates.each("value").astype(np.int64).astype("datetime64[D]"), dates


def _are_hourly(read: DayRows, hour: IntArray, *, timed: bool) -> bool:
    """Whether most days have several different rows. An hourly table without times must not pass for a daily one."""
    days, first, day = np.unique(read.date, return_index=True, return_inverse=True)
    if days.size == read.date.size:
        return False
    whole = np.column_stack(
        [hour, np.nan_to_num(read.tmin, nan=np.inf), np.nan_to_num(read.tmax, nan=np.inf)]
    )
    several = np.unique(day[np.any(whole != whole[first][day], axis=1)]).size
    if not several or several < HOURLY_SHARE * days.size:
        return False
    if timed:
        return True
    if several >= HOURLY_DAYS:
        problem = (
            f"{several:,} of {days.size:,} days have several rows; send one row a day with its extremes, or hourly "
            "rows with their time of day"
        )
        raise BadInput(
            "several rows a day without a time: this looks like an hourly table", [Problem("date", problem)]
        )
    return False


def _from_hours(readings: DayRows, hour: IntArray, unit: TemperatureUnit) -> DayRows:
    coldest, hottest = from_celsius(np.array([COLDEST_C, HOTTEST_C]), unit).tolist()
    impossible = (readings.tmin < coldest) | (readings.tmax > hottest)
    missing = np.where((readings.missing == KNOWN) & impossible, IMPOSSIBLE, readings.missing)
    return daily_extremes(readings._replace(missing=missing), hour)


def _date(text: str, *, form: DateForm) -> _Said:
    try:
        return _Said(parse_date(text, form).toordinal() - EPOCH, hour=0)
    except TimeOfDay as error:
        day, utc = error.day.toordinal() - EPOCH, _UTC.search(text) is not None
        return _Said(day, hour=error.time.hour, timed=error.message, utc=utc)
    except BadInput as error:
        return _Said(0, hour=0, problem=error.message)


def _hour(text: str) -> _Said:
    """The hour of a time of day; 24 is one, too, where hours are counted from 1 on."""
    if is_blank(text):
        return _Said()
    found = _HOUR.fullmatch(text)
    hour = int(found[1]) if found else 25
    if found and found[4]:
        hour = hour % 12 + (12 if found[4].casefold() == "p" else 0)
    if not 0 <= hour <= 24:
        return _Said(problem=f"{shown(text)} is not a time of day")
    return _Said(hour=hour)


def _reading(text: str, *, codes: frozenset[float], decimal_comma: bool) -> _Said:
    """A temperature as it stands, or NaN and the reason why it is missing."""
    plain, mark = without_mark(text)
    marked = bool(mark)
    if is_blank(plain):
        return _Said(missing=BLANK, marked=marked)
    if plain.casefold() in MISSING_LETTERS:
        return _Said(missing=CODE, marked=marked)
    try:
        value = number(plain, decimal_comma=decimal_comma)
    except BadInput as error:
        return _Said(marked=marked, problem=error.message)
    return _Said(missing=CODE, marked=marked) if value in codes else _Said(value, marked=marked)
