"""Date, daily minimum, daily maximum and their unit, out of the header of a weather table."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from models.errors import BadInput, Problem
from service.ingest.headers import columns_found
from service.ingest.table import Row, Table

TemperatureUnit = Literal["C", "F", "tenths_C"]

# Common practice, no source: what weather tables call these columns. Of DATE_NAMES the first
# that is there is used.
DATE_NAMES = ("date", "observation date", "obs date", "datetime", "date time", "timestamp", "day", "time")
_DATE_EXTRAS = frozenset({"yyyy", "mm", "dd", "iso", "local"})
_MIN_WORDS = frozenset({"min", "minimum", "low", "lowest", "tmin", "mintemp", "tempmin", "mint", "tn"})
_MAX_WORDS = frozenset({"max", "maximum", "high", "highest", "tmax", "maxtemp", "tempmax", "maxt", "tx"})
_CELSIUS = frozenset({"c", "degc", "celsius", "centigrade"})
_FAHRENHEIT = frozenset({"f", "degf", "fahrenheit"})
_TENTHS = frozenset({"tenth", "tenths"})
_KELVIN = frozenset({"k", "kelvin"})
# "2 m" is the height of the thermometer, "24 h" the length of the day.
_PLAIN = frozenset(
    {"t", "temp", "temperature", "air", "daily", "day", "of", "the", "in", "at", "2", "m", "24", "h"}
    | {"deg", "degree", "degrees"}
)
_MEASURED = frozenset({"hourly", "outdoor", "measured", "observed", "reading", "sensor", "dry", "bulb"})
_TIMES = (["time"], ["hour"], ["hr"], ["hours"], ["time", "of", "day"], ["local", "time"])
_CELSIUS_ABOVE = re.compile(r"°\s*C\b|\bdeg ?C\b|\bcelsius\b|\bcentigrade\b", re.IGNORECASE)
_FAHRENHEIT_ABOVE = re.compile(r"°\s*F\b|\bdeg ?F\b|\bfahrenheit\b", re.IGNORECASE)
_UNIT_AT_END = re.compile(r"^(tmin|tmax|mintemp|maxtemp|tempmin|tempmax|min|max)([cf])$")


@dataclass(frozen=True)
class TemperatureColumns:
    """Places of the columns, and the unit of the temperatures.

    ``unit_line`` is a line below the header that holds the units, and no day. Readings of single hours may have a
    column of their time of day, and one of the temperature: then minimum and maximum both stand there.
    """

    date: int
    tmin: int
    tmax: int
    unit: TemperatureUnit
    time: int | None = None
    unit_line: int | None = None
    warnings: tuple[str, ...] = ()

    @property
    def one_reading(self) -> bool:
        """Whether there is one temperature a row."""
        return self.tmin == self.tmax


def find_temperature_columns(table: Table, *, unit: TemperatureUnit | None) -> TemperatureColumns:
    """Find the columns of a daily weather table; other columns are ignored.

    Raises
    ------
    BadInput
        If a column is missing or stands twice, or the unit is not stated or stated in two ways.
    """
    where = f"line {table.header_line}"
    words = [_words(header) for header in table.columns]
    problems: list[Problem] = []
    date = _date_place(words)
    if date is None:
        parts = {"year", "month", "day"} <= {" ".join(each) for each in words}
        advice = "join year, month and day in one column" if parts else "name it 'date'"
        problems.append(Problem(where, f"no date column: {advice}; {columns_found(table)}"))
    found: dict[str, list[int]] = {"minimum": [], "maximum": []}
    for place, each in enumerate(words):
        low, high = _looks_like(each)
        if low and high:
            problems.append(
                Problem(where, f"column {table.columns[place]!r} looks like both extremes at once")
            )
        elif low or high:
            found["minimum" if low else "maximum"].append(place)
    time = _time_place(words, date)
    if not found["minimum"] and not found["maximum"]:
        readings = [
            place for place, each in enumerate(words) if _is_reading(each) and place not in (date, time)
        ]
        found = {"minimum": readings, "maximum": readings}
    for extreme, places in found.items():
        if not places:
            advice = f"name it t{extreme[:3]}_c or t{extreme[:3]}_f"
            problems.append(
                Problem(where, f"no column of the daily {extreme}: {advice}; {columns_found(table)}")
            )
        elif len(places) > 1:
            names = " and ".join(repr(table.columns[place]) for place in places)
            problems.append(Problem(where, f"columns {names} all look like the daily {extreme}; keep one"))
    problems = list(dict.fromkeys(problems))
    if date is None or problems:
        raise BadInput("the columns of the weather table cannot be read", problems)
    tmin, tmax = found["minimum"][0], found["maximum"][0]
    below = _unit_line(table, (tmin, tmax))
    if below is not None:
        for place in {tmin, tmax}:
            words[place] = words[place] + _words(below.cells[place])
    stated, warnings = _unit(table, words, (tmin, tmax), unit)
    return TemperatureColumns(date, tmin, tmax, stated, time, below and below.line, warnings)


def is_weather_header(cells: Sequence[str]) -> bool:
    """Whether a line is the header of a weather table: it names the date, and the extremes or a temperature."""
    words = [_words(cell) for cell in cells]
    date = _date_place(words)
    looks = [_looks_like(each) for each in words]
    extremes = any(low for low, _ in looks) and any(high for _, high in looks)
    return date is not None and (extremes or any(_is_reading(each) for each in words))


def _unit_line(table: Table, places: tuple[int, int]) -> Row | None:
    """The row below the header, if it holds units where others have their temperatures."""
    if not table.rows:
        return None
    cells = [table.rows[0].cells[place] for place in places]
    units = all(
        _stated_unit(_words(cell)) and not re.search(r"\d", re.sub("0[.,]1", "", cell)) for cell in cells
    )
    return table.rows[0] if units else None


def header_unit(header: str) -> str | None:
    """The unit that a header states: "C", "F", "tenths_C", "K", or None."""
    return _stated_unit(_words(header))


def _words(header: str) -> list[str]:
    text = unicodedata.normalize("NFKC", header.replace("º", "°"))  # NFKC: one-character °C and °F
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text).casefold()
    text = re.sub(r"0[.,]1(?=\s*°?\s*c\b)", "tenths ", text)
    words = re.findall(r"[a-z]+|\d+", text)
    return [part for word in words for part in _UNIT_AT_END.sub(r"\1 \2", word).split()]


def _date_place(words: list[list[str]]) -> int | None:
    names = [" ".join(word for word in each if word not in _DATE_EXTRAS) for each in words]
    if "date" not in names and {"year", "month"} <= set(names):
        return None  # here "day" is a number within the month
    return next((names.index(name) for name in DATE_NAMES if name in names), None)


def _looks_like(words: list[str]) -> tuple[bool, bool]:
    """Whether a header's words speak of a daily minimum, and of a maximum."""
    rest = set(words) - _CELSIUS - _FAHRENHEIT - _TENTHS - _KELVIN - _PLAIN
    if rest - _MIN_WORDS - _MAX_WORDS:  # "soil", "attributes", "flag", "mean": another quantity
        return False, False
    return bool(rest & _MIN_WORDS), bool(rest & _MAX_WORDS)


def _is_reading(words: list[str]) -> bool:
    """Whether a header speaks of a temperature and of nothing else."""
    said = set(words)
    rest = said - _CELSIUS - _FAHRENHEIT - _TENTHS - _KELVIN - _PLAIN - _MEASURED
    return not rest and bool(said & {"t", "temp", "temperature"})


def _time_place(words: list[list[str]], date: int | None) -> int | None:
    """The column of the time of day, beside one of the date."""
    return next((place for place, each in enumerate(words) if each in _TIMES and place != date), None)


def _units_above(table: Table) -> list[str]:
    """The units that the lines above the header speak of, unmistakably: °C, °F and whole words."""
    found: list[str] = []
    for row in table.above:
        for cell in row.cells:
            for unit, sign in (("C", _CELSIUS_ABOVE), ("F", _FAHRENHEIT_ABOVE)):
                if sign.search(cell.replace("º", "°")):
                    tenths = unit == "C" and re.search(r"\btenths?\b|\b0[.,]1\b", cell, re.IGNORECASE)
                    found.append("tenths_C" if tenths else unit)
    return list(dict.fromkeys(found))


def _stated_unit(words: list[str]) -> str | None:
    said = set(words)
    if said & _KELVIN:
        return "K"
    if said & _TENTHS:
        return "tenths_F" if said & _FAHRENHEIT else "tenths_C"
    if said & _CELSIUS and said & _FAHRENHEIT:
        return "C and F"
    return "C" if said & _CELSIUS else "F" if said & _FAHRENHEIT else None


def _unit(
    table: Table, words: list[list[str]], places: tuple[int, int], unit: TemperatureUnit | None
) -> tuple[TemperatureUnit, tuple[str, ...]]:
    """The unit, from the headers, from what was passed, or from the lines above; and what is to be told of it."""
    where = f"line {table.header_line}"
    stated = {table.columns[place]: said for place in places if (said := _stated_unit(words[place]))}
    said_so = ", ".join(f"{name!r} says {said}" for name, said in stated.items())
    units = set(stated.values()) | ({unit} if unit else set())
    warnings: tuple[str, ...] = ()
    above = _units_above(table)
    if not units and len(above) == 1:
        units = set(above)
        warnings = (f"the unit {above[0]} was taken from the lines above the header",)
    elif units and above and units.isdisjoint(above):
        told = " and ".join(above)
        warnings = (f"the lines above the header speak of {told}, but {units.copy().pop()} was read",)
    if not units:
        raise BadInput(
            "the unit of the temperatures is not stated",
            [Problem("unit", "pass unit=C, F or tenths_C, or name the columns as in tmin_c or tmin_f")],
        )
    if len(units) > 1:
        asked = f", but unit={unit} was passed" if unit else ""
        raise BadInput("the temperatures' unit is stated in two ways", [Problem(where, said_so + asked)])
    match units.pop():
        case "C":
            return "C", warnings
        case "F":
            return "F", warnings
        case "tenths_C":
            return "tenths_C", warnings
    raise BadInput("the unit of the temperatures is not one of C, F and tenths_C", [Problem(where, said_so)])
