"""A weather table beside the station's own record: same days, and the same time of other years.

A wrong unit moves days by 10 °C and more, all of them, and in the right unit they fall on the record. Weather moves
some of them by as much, but then no other unit makes them usual. The limits are ours.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

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
        stored = _same_days(record, read.dates)
        new = np.any(stored != (read.tmin_c, read.tmax_c), axis=0)
        days = replace(
            read,
            dates=read.dates[new],
            lines=read.lines[new],
            tmin_c=read.tmin_c[new],
            tmax_c=read.tmax_c[new],
        )
        of_season = _of_season(record, days.dates)
        usual = np.where(np.isnan(stored[:, new]), of_season[:, 1], stored[:, new])
        _refuse(days, _in_another_unit(days, *usual), "the station's own record")
        _refuse_strangers(days, *of_season)
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
        usual = _of_season(read.daily(), read.dates)[:, 1]
        _refuse(read, _in_another_unit(read, *usual), "the same months of other years in this file")


def beyond_record(read: ReadTemperatures, record: DailyTemperatures | None) -> BoolArray:
    """Days that are hotter or colder than all that the station has seen, by more than a new record would be."""
    if record is None or np.isfinite(record.tmin_c).sum() < FEWEST_RECORD_DAYS:
        return np.zeros(read.dates.shape, dtype=bool)
    low, high = np.nanmin(record.tmin_c) - BEYOND_RECORD_C, np.nanmax(record.tmax_c) + BEYOND_RECORD_C
    return (read.tmin_c < low) | (read.tmax_c > high)


def _in_another_unit(
    read: ReadTemperatures, usual_low: FloatArray, usual_high: FloatArray
) -> Iterator[tuple[TemperatureUnit, BoolArray, float, float]]:
    """Each unit in which some months would be as usual: those days, how far off they are, and would be. [°C]"""
    off = _distance(read.tmin_c, read.tmax_c, usual_low, usual_high)
    known = np.isfinite(off) & (off > 0)
    _, month = np.unique(read.dates[known].astype("datetime64[M]"), return_inverse=True)
    median = _medians(off[known], month)
    if not np.any(median > FAR_OFF_C):
        return
    few = np.bincount(month) < FEWEST_DAYS
    for unit in UNIT_NAMES:
        if unit == read.unit:
            continue
        low, high = (to_celsius(from_celsius(each, read.unit), unit) for each in (read.tmin_c, read.tmax_c))
        would_be_off = _distance(low, high, usual_low, usual_high)
        # A wave of cold moves days as far as a wrong unit does, but leaves them their range from night to day.
        usual_range = usual_high - usual_low
        odd_range = np.abs(read.tmax_c - read.tmin_c - usual_range) - np.abs(high - low - usual_range)
        nearer = (median > FAR_OFF_C) & (_medians(would_be_off[known], month) * NEARER < median)
        odd = (_medians(odd_range[known], month) > 0) | (few & (median > FEW_DAYS_FAR_OFF_C))
        shown = known.copy()
        shown[known] = (nearer & odd)[month]
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


def _refuse_strangers(read: ReadTemperatures, lows: FloatArray, highs: FloatArray) -> None:
    (low_min, _, low_max), (high_min, _, high_max) = lows, highs
    known = np.isfinite(read.tmin_c) & np.isfinite(low_min)
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


def _distance(low: FloatArray, high: FloatArray, usual_low: FloatArray, usual_high: FloatArray) -> FloatArray:
    return (np.abs(low - usual_low) + np.abs(high - usual_high)) / 2


def _medians(values: FloatArray, group: NDArray[np.intp]) -> FloatArray:
    """The median of each group; they are numbered from 0 on."""
    in_order = values[np.lexsort((values, group))]
    size = np.bincount(group)
    first = np.cumsum(size) - size
    median: FloatArray = (in_order[first + (size - 1) // 2] + in_order[first + size // 2]) / 2
    return median


def _same_days(record: DailyTemperatures, dates: DateArray) -> FloatArray:
    """Lows and highs of the record on these days; NaN where there are none. [°C]"""
    place = (dates - record.dates[0]).astype(np.int64)
    inside = (place >= 0) & (place < record.dates.size)
    found = np.full((2, dates.size), np.nan)
    found[:, inside] = record.tmin_c[place[inside]], record.tmax_c[place[inside]]
    return found


def _of_season(record: DailyTemperatures, asked: DateArray) -> FloatArray:
    """Least, median and largest low and high of all years near each asked day of the year. [°C]

    Shape (2, 3, day); NaN where too few are known.
    """
    days, place = np.unique(_day_of_year(asked), return_inverse=True)
    found = np.full((2, 3, days.size), np.nan)
    for of_extreme, values in zip(found, (record.tmin_c, record.tmax_c), strict=True):
        known = np.isfinite(values)
        day = _day_of_year(record.dates[known])
        round_about = np.concatenate(
            [day - 365, day, day + 365]
        )  # the last days of a year are near its first
        order = np.argsort(round_about, kind="stable")
        in_order, day_of = np.tile(values[known], 3)[order], round_about[order]
        bounds = np.searchsorted(day_of, (days - WINDOW_DAYS, days + WINDOW_DAYS + 1))
        for number, (first, end) in enumerate(bounds.T.tolist()):
            if end - first >= FEWEST_VALUES:
                near = np.sort(in_order[first:end])
                lower, upper = near[(near.size - 1) // 2], near[near.size // 2]
                of_extreme[:, number] = near[0], upper - (upper - lower) / 2, near[-1]
    return found[:, :, place]


def _day_of_year(dates: DateArray) -> NDArray[np.int64]:
    day: NDArray[np.int64] = (dates - dates.astype("datetime64[Y]")).astype(np.int64)
    return day
