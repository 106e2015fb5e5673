"""A weather table beside the station's own record: same days, and the same time of other years.

A wrong unit moves days by 10 °C and more, all of them, and in the right unit they fall on the record. Weather moves
some of them by as much, but then no other unit makes them usual. The limits are ours.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from models.errors import BadInput, Problem
from models.records import DailyTemperatures, DateArray
from models.units import FloatArray
from service.ingest.options import overridden_by
from service.ingest.plausibility import UNIT_NAMES, from_celsius, to_celsius
from service.ingest.report import lines_text
from service.ingest.temperature_headers import TemperatureUnit
from service.ingest.temperatures import ReadTemperatures

WINDOW_DAYS = 7  # to each side of a day of the year
FEWEST_VALUES = 10  # in that window of all years, to know what is usual
FAR_OFF_C = 6.0  # from which on another unit is asked for
NEARER = 3.0  # how many times nearer to the record the values must lie in another unit
FEW_DAYS_FAR_OFF_C = 20.0  # from which on so few days are refused, however usual their range is
FEWEST_DAYS, STRANGE_SHARE, STRANGE_MARGIN_C = 5, 0.5, 3.0
FEWEST_RECORD_DAYS, BEYOND_RECORD_C = 300, 5.0
HOT_OUTLOOK_C = 50.0  # where there is no record to compare with

BoolArray = NDArray[np.bool_]


def check_against_record(read: ReadTemperatures, record: DailyTemperatures | None, *, outlook: bool) -> None:
    """Refuse a table whose days do not belong to a station's record.

    Parameters
    ----------
    read : ReadTemperatures
    record : DailyTemperatures or None
        What is stored of the station.
    outlook : bool
        Whether the days are still to come: then single values beyond all that the station has seen are refused too.

    Raises
    ------
    BadInput
        With the lines that show it and the word that overrides it.
    """
    if record is not None:
        _refuse(read, _in_another_unit(read, record), "the station's own record")
        _refuse_strangers(read, record)
    if outlook:
        _refuse_beyond(read, record)


def check_against_itself(read: ReadTemperatures) -> None:
    """Refuse a table some months of which are in another unit than the same months of its other years.

    Raises
    ------
    BadInput
        With the lines that show it and the word that overrides it.
    """
    years = np.unique(read.dates.astype("datetime64[Y]"))
    if years.size >= 3:  # of two years either may be the wrong one
        found = _in_another_unit(read, read.daily(), same_days=False)
        _refuse(read, found, "the same months of other years in this file")


def beyond_record(read: ReadTemperatures, record: DailyTemperatures | None) -> BoolArray:
    """Days that are hotter or colder than all that the station has seen, by more than a new record would be."""
    if record is None or np.isfinite(record.tmin_c).sum() < FEWEST_RECORD_DAYS:
        return np.zeros(read.dates.shape, dtype=bool)
    low, high = np.nanmin(record.tmin_c) - BEYOND_RECORD_C, np.nanmax(record.tmax_c) + BEYOND_RECORD_C
    return (read.tmin_c < low) | (read.tmax_c > high)


def _in_another_unit(
    read: ReadTemperatures, record: DailyTemperatures, *, same_days: bool = True
) -> Iterator[tuple[TemperatureUnit, BoolArray, float, float]]:
    """Each unit in which some months would fit the record: those days, how far off they are, and would be. [°C]"""
    usual_low, usual_high = _usual(record, read.dates, same_days=same_days)
    off = _distance(read.tmin_c, read.tmax_c, usual_low, usual_high)
    known = np.isfinite(off) & (off > 0)
    month = read.dates.astype("datetime64[M]")
    for unit in UNIT_NAMES:
        if unit == read.unit:
            continue
        low, high = (to_celsius(from_celsius(each, read.unit), unit) for each in (read.tmin_c, read.tmax_c))
        would_be_off = _distance(low, high, usual_low, usual_high)
        # A wave of cold moves days as far as a wrong unit does, but leaves them their range from night to day.
        usual_range = usual_high - usual_low
        odd_range = np.abs(read.tmax_c - read.tmin_c - usual_range) - np.abs(high - low - usual_range)
        shown = np.zeros(known.shape, dtype=bool)
        for each in np.unique(month[known]):
            days = known & (month == each)
            median = float(np.median(off[days]))
            if median <= FAR_OFF_C or float(np.median(would_be_off[days])) * NEARER >= median:
                continue
            few = days.sum() < FEWEST_DAYS
            if np.median(odd_range[days]) > 0 or (few and median > FEW_DAYS_FAR_OFF_C):
                shown |= days
        if shown.any():
            yield unit, shown, float(np.median(off[shown])), float(np.median(would_be_off[shown]))


def _refuse(
    read: ReadTemperatures, found: Iterator[tuple[TemperatureUnit, BoolArray, float, float]], beside: str
) -> None:
    nearest = min(found, key=lambda each: each[3], default=None)
    if nearest is None:
        return
    unit, days, off, would_be_off = nearest
    problem = (
        f"these days lie {off:.1f} °C off {beside} (median); read as {UNIT_NAMES[unit]} they would lie "
        f"{would_be_off:.1f} °C off; {overridden_by('units')}"
    )
    message = f"the temperatures do not look like {UNIT_NAMES[read.unit]}: are these {UNIT_NAMES[unit]}?"
    raise BadInput(message, [Problem(lines_text(read.lines[days].tolist()), problem)])


def _refuse_strangers(read: ReadTemperatures, record: DailyTemperatures) -> None:
    (low_min, low_max), (high_min, high_max) = (
        _extremes(values, record.dates, read.dates) for values in (record.tmin_c, record.tmax_c)
    )
    known = np.isfinite(read.tmin_c) & np.isfinite(low_min)
    known &= ~_stored_alike(read, record)
    margin = STRANGE_MARGIN_C
    strange = known & (
        ((read.tmin_c > low_max + margin) & (read.tmax_c > high_max + margin))
        | ((read.tmin_c < low_min - margin) & (read.tmax_c < high_min - margin))
    )
    if known.sum() >= FEWEST_DAYS and strange.sum() >= STRANGE_SHARE * known.sum():
        problem = (
            "at this time of the year the station has seen nothing like it; is this another station, or another "
            f"unit? {overridden_by('units').capitalize()}"
        )
        raise BadInput(
            "the temperatures do not belong to the station's own record",
            [Problem(lines_text(read.lines[strange].tolist()), problem)],
        )


def _refuse_beyond(read: ReadTemperatures, record: DailyTemperatures | None) -> None:
    wrong = beyond_record(read, record)
    if record is None or np.isfinite(record.tmin_c).sum() < FEWEST_RECORD_DAYS:
        wrong = read.tmax_c >= HOT_OUTLOOK_C
    if wrong.any():
        hottest, coldest = np.nanmax(read.tmax_c), np.nanmin(read.tmin_c)
        problem = (
            f"the outlook runs from {coldest:.3g} to {hottest:.3g} °C, beyond all that was measured; "
            f"{overridden_by('units')}"
        )
        raise BadInput(
            "the outlook cannot be right", [Problem(lines_text(read.lines[wrong].tolist()), problem)]
        )


def _stored_alike(read: ReadTemperatures, record: DailyTemperatures) -> BoolArray:
    low, high = _same_days(record, read.dates)
    return np.equal(low, read.tmin_c) & np.equal(high, read.tmax_c)


def _distance(low: FloatArray, high: FloatArray, usual_low: FloatArray, usual_high: FloatArray) -> FloatArray:
    return (np.abs(low - usual_low) + np.abs(high - usual_high)) / 2


def _usual(record: DailyTemperatures, dates: DateArray, *, same_days: bool) -> tuple[FloatArray, FloatArray]:
    """What the record says of each day: its own values, else the median of that time of the year. [°C]"""
    low, high = (
        _by_day_of_year(values, record.dates, dates, 50) for values in (record.tmin_c, record.tmax_c)
    )
    if same_days:
        own_low, own_high = _same_days(record, dates)
        low, high = np.where(np.isnan(own_low), low, own_low), np.where(np.isnan(own_high), high, own_high)
    return low, high


def _same_days(record: DailyTemperatures, dates: DateArray) -> tuple[FloatArray, FloatArray]:
    place = (dates - record.dates[0]).astype(np.int64)
    inside = (place >= 0) & (place < record.dates.size)
    low, high = np.full((2, dates.size), np.nan)
    low[inside], high[inside] = record.tmin_c[place[inside]], record.tmax_c[place[inside]]
    return low, high


def _extremes(values: FloatArray, dates: DateArray, asked: DateArray) -> tuple[FloatArray, FloatArray]:
    return _by_day_of_year(values, dates, asked, 0), _by_day_of_year(values, dates, asked, 100)


def _by_day_of_year(values: FloatArray, dates: DateArray, asked: DateArray, percentile: int) -> FloatArray:
    """A percentile of the values of all years near each asked day of the year; NaN where too few are known."""
    known = np.isfinite(values)
    day, wanted = _day_of_year(dates[known]), _day_of_year(asked)
    round_about = np.concatenate([day - 365, day, day + 365])  # the last days of a year are near its first
    order = np.argsort(round_about, kind="stable")
    in_order, day_of = np.tile(values[known], 3)[order], round_about[order]
    found = np.full(asked.shape, np.nan)
    for each in np.unique(wanted):
        first, end = np.searchsorted(day_of, (each - WINDOW_DAYS, each + WINDOW_DAYS + 1))
        near = in_order[first:end]
        if near.size >= FEWEST_VALUES:
            found[wanted == each] = np.percentile(near, percentile)
    return found


def _day_of_year(dates: DateArray) -> NDArray[np.int64]:
    day: NDArray[np.int64] = (dates - dates.astype("datetime64[Y]")).astype(np.int64)
    return day
