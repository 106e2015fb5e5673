"""Can these numbers be daily extremes in the stated unit? The rules and their limits are ours.

They look at shares, quantiles and medians, so that single slips and broken days do not decide, and they
refuse only what no place with plants has. What they can't tell apart passes: a few winter days in °F can be
days in °C, and a desert's summer half-year alone in °C can be a cold one in °F. Missing days are NaN.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.errors import BadInput, Problem
from models.records import DateArray
from models.units import FloatArray, celsius_from_fahrenheit, fahrenheit_from_celsius
from service.ingest.options import overridden_by
from service.ingest.temperature_headers import TemperatureUnit

UNIT_NAMES: dict[TemperatureUnit, str] = {"C": "°C", "F": "°F", "tenths_C": "tenths of °C"}

COLDEST_C, HOTTEST_C = -60.0, 60.0  # beyond: impossible, a single such value is missing

# Limits of ours, set a little beyond the extremes on record (near 57 °C by day, 43 °C by night; memory).
HOT_DAY_C, HOT_NIGHT_C = 55.0, 43.0
WRONG_SHARE = 0.05  # of the days
WRONG_VALUES = 3  # different ones: a code for missing repeats itself, a wrong unit varies
WIDEST_RANGE_C = 30.0  # p25 of the daily ranges; high deserts have about 20
NARROWEST_RANGE_C = 2.5  # median of the daily ranges; foggy islands have about 4
COLD_SUMMER_C = 7.0  # p95 of the maxima of June to August, either hemisphere
COLD_YEAR_C, NO_POLAR_NIGHT_C = 12.0, -25.0  # p95 of the year's maxima; p05 of its minima
FEWEST_SUMMER_DAYS, FEWEST_SEASON_DAYS, FEWEST_RANGE_DAYS = 30, 20, 10
STUCK_DAYS = 5  # both extremes alike on so many days: rare by chance, even in whole °F
SWAPPED_SHARE, FEWEST_SWAPPED_DAYS = 0.8, 5


def to_celsius(values: FloatArray, unit: TemperatureUnit) -> FloatArray:
    """Temperatures in the unit of a file. [unit] -> [°C]"""
    if unit == "F":
        return celsius_from_fahrenheit(values)
    return values / 10.0 if unit == "tenths_C" else values


def from_celsius(values_c: FloatArray, unit: TemperatureUnit) -> FloatArray:
    """The inverse of `to_celsius`. [°C] -> [unit]"""
    if unit == "F":
        return fahrenheit_from_celsius(values_c)
    return values_c * 10.0 if unit == "tenths_C" else values_c


def many(wrong: NDArray[np.bool_], values: FloatArray) -> bool:
    """Whether wrong values are so many and so varied that the whole file is meant, not a slip or a code."""
    count = int(wrong.sum())
    known = int(np.isfinite(values).sum())
    varied = np.unique(values[wrong]).size >= WRONG_VALUES
    return count > 0 and (count == known or (varied and count >= WRONG_SHARE * known))


def too_hot(tmin_c: FloatArray, tmax_c: FloatArray) -> bool:
    """More heat by day or by night than any place has: °F or tenths sent as °C."""
    return many(tmax_c > HOT_DAY_C, tmax_c) or many(tmin_c > HOT_NIGHT_C, tmin_c)


def too_cold(tmin_c: FloatArray, tmax_c: FloatArray) -> bool:
    """More cold than any place with people has: tenths sent as °C or °F, in winter."""
    return many(tmin_c < COLDEST_C, tmin_c) or many(tmax_c < COLDEST_C, tmax_c)


def range_too_wide(tmin_c: FloatArray, tmax_c: FloatArray) -> bool:
    """Night and day lie further apart than anywhere: tenths sent as °C or °F."""
    ranges = _ranges(tmin_c, tmax_c)
    return ranges.size >= WRONG_VALUES and float(np.quantile(ranges, 0.25)) > WIDEST_RANGE_C


def range_too_narrow(tmin_c: FloatArray, tmax_c: FloatArray) -> bool:
    """Night and day hardly differ: whole °C or °F sent as tenths."""
    ranges = _ranges(tmin_c, tmax_c)
    return ranges.size >= FEWEST_RANGE_DAYS and float(np.median(ranges)) < NARROWEST_RANGE_C


def summer_too_cold(dates: DateArray, tmin_c: FloatArray, tmax_c: FloatArray) -> bool:
    """Colder from June to August, or all year, than any place with crops: °C sent as °F, °F as tenths."""
    known = np.isfinite(tmin_c) & np.isfinite(tmax_c)
    month = dates.astype("datetime64[M]").astype(np.int64) % 12 + 1
    mid_year = known & np.isin(month, (6, 7, 8))
    turn_of_year = known & np.isin(month, (12, 1, 2))
    if mid_year.sum() >= FEWEST_SUMMER_DAYS and np.quantile(tmax_c[mid_year], 0.95) < COLD_SUMMER_C:
        return True
    both = min(mid_year.sum(), turn_of_year.sum()) >= FEWEST_SEASON_DAYS
    return bool(
        both
        and np.quantile(tmax_c[known], 0.95) < COLD_YEAR_C
        and np.quantile(tmin_c[known], 0.05) > NO_POLAR_NIGHT_C
    )


def has_decimals(*values: FloatArray) -> bool:
    """Whether numbers have decimals more often than by a slip; whole tenths have none."""
    known = np.concatenate(values)
    known = known[np.isfinite(known)]
    return many(known != np.floor(known), known)


def columns_swapped(tmin: FloatArray, tmax: FloatArray) -> bool:
    """Nearly every minimum lies above its maximum."""
    ranges = _ranges(tmin, tmax)
    return ranges.size >= FEWEST_SWAPPED_DAYS and bool(np.mean(ranges < 0) >= SWAPPED_SHARE)


def longest_alike(dates: DateArray, tmin_c: FloatArray, tmax_c: FloatArray) -> list[tuple[int, int]]:
    """Runs of days whose minimum and maximum never change, as of a sensor that is stuck: first and last place."""
    if dates.size == 0:
        return []
    alike = (np.diff(tmin_c) == 0) & (np.diff(tmax_c) == 0) & (np.diff(dates) == np.timedelta64(1, "D"))
    starts = np.flatnonzero(np.concatenate([[True], ~alike]))
    ends = np.append(starts[1:], dates.size) - 1
    long = ends - starts + 1 >= STUCK_DAYS
    return list(zip(starts[long].tolist(), ends[long].tolist(), strict=True))


def check_unit(dates: DateArray, tmin: FloatArray, tmax: FloatArray, *, unit: TemperatureUnit) -> None:
    """Refuse temperatures that can't be in the unit that was stated.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (day,)
    tmin, tmax : ndarray, shape (day,)
        As they stand in the file; NaN where missing. [unit]

    Raises
    ------
    BadInput
        With what was found and which unit it looks like.
    """
    tmin_c, tmax_c = to_celsius(tmin, unit), to_celsius(tmax, unit)
    reason: str | None = None
    if too_hot(tmin_c, tmax_c):
        reason = f"maxima reach {np.nanmax(tmax):g}: too hot; {_hotter_unit(tmax, unit)}"
    elif too_cold(tmin_c, tmax_c):
        reason = f"minima fall to {np.nanmin(tmin):g}: too cold; are these tenths of °C?"
    elif unit == "tenths_C" and has_decimals(tmin, tmax):
        reason = "tenths of °C are whole numbers, these have decimals; are these whole °C or °F?"
    elif range_too_wide(tmin_c, tmax_c):
        wide = np.median(_ranges(tmin, tmax))
        reason = f"a day's maximum lies {wide:g} above its minimum (median): too far; are these tenths of °C?"
    elif unit == "tenths_C" and range_too_narrow(tmin_c, tmax_c):
        narrow = np.median(_ranges(tmin, tmax))
        reason = f"a day's maximum lies only {narrow:g} above its minimum (median); are these whole °C or °F?"
    elif unit != "C" and summer_too_cold(dates, tmin_c, tmax_c):
        like = "are these °C?" if unit == "F" else "are these whole °C or °F?"
        reason = f"the warmest maxima lie near {np.nanquantile(tmax, 0.95):g}: too cold for a summer; {like}"
    if reason is not None:
        message = f"the temperatures cannot be in {UNIT_NAMES[unit]}: {reason}"
        raise BadInput(message, [Problem("unit", f"{reason} {overridden_by('units').capitalize()}")])


def _ranges(tmin: FloatArray, tmax: FloatArray) -> FloatArray:
    ranges = tmax - tmin
    return ranges[np.isfinite(ranges)]


def _hotter_unit(tmax: FloatArray, unit: TemperatureUnit) -> str:
    middle = float(np.nanmedian(tmax))
    if unit == "C" and middle < 130:  # °F nowhere; the median of tenths lies above it but in cold places
        return "are these °F?"
    return "are these tenths of °C?" if unit != "tenths_C" else "are these hundredths?"
