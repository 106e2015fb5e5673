"""Degree-days of a day from its two temperature extremes.

Every method draws a curve through the day and asks how much heat A(x) lies above a temperature line x: the
area between curve and line. With base temperature L, upper temperature U and the share of the day above U,
the four cutoffs are sums of such areas.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple, get_args

import numpy as np

from models.errors import BadInput, Problem
from models.records import Cutoff, HeatMethod, HeatRule
from models.units import FloatArray

CUTOFFS = ", ".join(get_args(Cutoff))
METHODS = ", ".join(get_args(HeatMethod))
# Of many stations so many values are computed at a time: what is held between the steps stays near the processor.
PIECE = 32_768


def mean_heat_above(tmin_c: FloatArray, tmax_c: FloatArray, line_c: float) -> FloatArray:
    """Heat above a line if the whole day were at its mean temperature. [°C·day]"""
    return np.maximum((tmin_c + tmax_c) * 0.5 - line_c, 0.0)  # halved exactly, and faster than divided


def mean_share_above(tmin_c: FloatArray, tmax_c: FloatArray, line_c: float) -> FloatArray:
    """Share of the day above a line if the whole day were at its mean temperature: 0 or 1."""
    return np.heaviside((tmin_c + tmax_c) / 2 - line_c, 0.0)


def triangle_share_above(tmin_c: FloatArray, tmax_c: FloatArray, line_c: float) -> FloatArray:
    """Share of the day above a line if temperature rises and falls in straight lines."""
    day_range = tmax_c - tmin_c
    share = np.where(tmax_c > line_c, 1.0, 0.0)  # the answer for a day without range
    with np.errstate(over="ignore"):
        np.divide(tmax_c - line_c, day_range, out=share, where=day_range != 0)
    return np.clip(share, 0.0, 1.0)


def triangle_heat_above(tmin_c: FloatArray, tmax_c: FloatArray, line_c: float) -> FloatArray:
    """Heat above a line if temperature rises and falls in straight lines. [°C·day]

    Where the line cuts the day, this is ``(tmax - line)**2 / (2 * (tmax - tmin))``.
    """
    mean_while_above = (tmax_c - line_c + np.maximum(tmin_c - line_c, 0.0)) / 2
    return np.maximum(triangle_share_above(tmin_c, tmax_c, line_c) * mean_while_above, 0.0)


def _sine_height(tmin_c: FloatArray, tmax_c: FloatArray, line_c: float) -> FloatArray:
    """Height of a line within the day's wave: -1 at or below its trough, 1 at or above its crest."""
    mean, half_range = (tmin_c + tmax_c) / 2, (tmax_c - tmin_c) / 2
    height = np.where(mean > line_c, -1.0, 1.0)  # the answer for a day without range
    with np.errstate(over="ignore"):
        np.divide(line_c - mean, half_range, out=height, where=half_range != 0)
    return np.clip(height, -1.0, 1.0)


def sine_share_above(tmin_c: FloatArray, tmax_c: FloatArray, line_c: float) -> FloatArray:
    """Share of the day above a line if temperature follows a sine wave."""
    return np.arccos(_sine_height(tmin_c, tmax_c, line_c)) / np.pi


def sine_heat_above(tmin_c: FloatArray, tmax_c: FloatArray, line_c: float) -> FloatArray:
    """Heat above a line if temperature follows a sine wave. [°C·day]

    With mean m, half range a and t = asin((line - m) / a), this is
    ``((m - line) * (pi/2 - t) + a * cos(t)) / pi``.

    References
    ----------
    .. [1] Baskerville & Emin (1969), Ecology 50:514-517.
    """
    height = _sine_height(tmin_c, tmax_c, line_c)
    mean, half_range = (tmin_c + tmax_c) / 2, (tmax_c - tmin_c) / 2
    heat = ((mean - line_c) * np.arccos(height) + half_range * np.sqrt(1.0 - height**2)) / np.pi
    return np.maximum(heat, 0.0)


class DayCurve(NamedTuple):
    """A course of temperature through the day: its heat above a line [°C·day], its share above it."""

    heat_above: Callable[[FloatArray, FloatArray, float], FloatArray]
    share_above: Callable[[FloatArray, FloatArray, float], FloatArray]


MEAN = DayCurve(mean_heat_above, mean_share_above)
TRIANGLE = DayCurve(triangle_heat_above, triangle_share_above)
SINE = DayCurve(sine_heat_above, sine_share_above)


def curve_degree_days(
    curve: DayCurve,
    tmin_c: FloatArray,
    tmax_c: FloatArray,
    *,
    base_c: float,
    upper_c: float | None = None,
    cutoff: Cutoff = "none",
) -> FloatArray:
    """Daily heat between a base and an upper temperature, under one course of the day. [°C·day]

    Parameters
    ----------
    curve : DayCurve
        ``MEAN``, ``TRIANGLE`` or ``SINE``.
    tmin_c, tmax_c : ndarray, shape (..., day)
        Daily extremes, ``tmin_c <= tmax_c``; NaN in, NaN out. [°C]
    base_c, upper_c : float
        Base temperature L and upper temperature U. [°C]
    cutoff : {'none', 'horizontal', 'intermediate', 'vertical'}
        What temperatures above U do: count in full, A(L); count as U, A(L) - A(U); lose what they exceed U
        by, A(L) - 2 A(U), with a floor at 0 that is our convention; or count nothing,
        A(L) - A(U) - (U - L) x share of the day above U.

    Returns
    -------
    ndarray, shape (..., day)

    Raises
    ------
    BadInput
        If a maximum lies below its minimum, a cutoff has no upper temperature above the base, or is unknown.

    References
    ----------
    .. [1] Zalom et al. (1983), Degree-Days: The Calculation and Use of Heat Units in Pest Management,
       University of California Leaflet 21373.
    """
    _check_extremes(tmin_c, tmax_c)
    heat = curve.heat_above(tmin_c, tmax_c, base_c)
    if cutoff == "none":
        return heat
    if upper_c is None or not upper_c > base_c:
        raise BadInput(
            f"the {cutoff} cutoff needs an upper temperature above the base",
            [Problem("upper_c", f"give one above {base_c:g} °C")],
        )
    excess = curve.heat_above(tmin_c, tmax_c, upper_c)
    if cutoff == "horizontal":
        return np.maximum(heat - excess, 0.0)
    if cutoff == "intermediate":
        return np.maximum(heat - 2 * excess, 0.0)
    if cutoff == "vertical":
        lost = (upper_c - base_c) * curve.share_above(tmin_c, tmax_c, upper_c)
        return np.maximum(heat - excess - lost, 0.0)
    raise BadInput("unknown cutoff", [Problem("cutoff", f"{cutoff!r} is not one of {CUTOFFS}")])


def average_degree_days(
    tmin_c: FloatArray,
    tmax_c: FloatArray,
    *,
    base_c: float,
    upper_c: float | None = None,
    cutoff: Cutoff = "none",
) -> FloatArray:
    """Daily heat by the simple average: what the day's mean exceeds the base by. [°C·day]

    Parameters, cutoffs and errors are those of `curve_degree_days`; a day counts as wholly above the upper
    temperature when its mean is.

    References
    ----------
    .. [1] McMaster & Wilhelm (1997), Agric. For. Meteorol. 87:291-300, method 1.
    """
    return curve_degree_days(MEAN, tmin_c, tmax_c, base_c=base_c, upper_c=upper_c, cutoff=cutoff)


def clamped_average_degree_days(
    tmin_c: FloatArray, tmax_c: FloatArray, *, base_c: float, upper_c: float | None = None
) -> FloatArray:
    """Daily heat by the average of extremes that are first clamped to base and upper temperature. [°C·day]

    Parameters
    ----------
    tmin_c, tmax_c : ndarray, shape (..., day)
        Daily extremes, ``tmin_c <= tmax_c``; NaN in, NaN out. [°C]
    base_c, upper_c : float
        Base and, if there is one, upper temperature. [°C]

    Returns
    -------
    ndarray, shape (..., day)

    Raises
    ------
    BadInput
        If a maximum lies below its minimum.

    References
    ----------
    .. [1] McMaster & Wilhelm (1997), Agric. For. Meteorol. 87:291-300, method 2.
    """
    _check_extremes(tmin_c, tmax_c)
    return (np.clip(tmin_c, base_c, upper_c) + np.clip(tmax_c, base_c, upper_c)) / 2 - base_c


def single_triangle_degree_days(
    tmin_c: FloatArray,
    tmax_c: FloatArray,
    *,
    base_c: float,
    upper_c: float | None = None,
    cutoff: Cutoff = "none",
) -> FloatArray:
    """Daily heat under a triangle from Tmin to Tmax and back. [°C·day]

    Parameters, cutoffs and errors are those of `curve_degree_days`.
    """
    return curve_degree_days(TRIANGLE, tmin_c, tmax_c, base_c=base_c, upper_c=upper_c, cutoff=cutoff)


def single_sine_degree_days(
    tmin_c: FloatArray,
    tmax_c: FloatArray,
    *,
    base_c: float,
    upper_c: float | None = None,
    cutoff: Cutoff = "none",
) -> FloatArray:
    """Daily heat under a sine wave from Tmin to Tmax and back. [°C·day]

    Parameters, cutoffs and errors are those of `curve_degree_days`.
    """
    return curve_degree_days(SINE, tmin_c, tmax_c, base_c=base_c, upper_c=upper_c, cutoff=cutoff)


def double_triangle_degree_days(
    tmin_c: FloatArray,
    tmax_c: FloatArray,
    next_tmin_c: FloatArray,
    *,
    base_c: float,
    upper_c: float | None = None,
    cutoff: Cutoff = "none",
) -> FloatArray:
    """Daily heat under a line from Tmin to Tmax and another down to the next day's Tmin. [°C·day]

    The mean of two half days, each with its own cutoff; for the next day's Tmin see `second_half_tmin`. Other
    parameters, cutoffs and errors are those of `curve_degree_days`.
    """
    evening_c = second_half_tmin(tmin_c, tmax_c, next_tmin_c)
    first = curve_degree_days(TRIANGLE, tmin_c, tmax_c, base_c=base_c, upper_c=upper_c, cutoff=cutoff)
    second = curve_degree_days(TRIANGLE, evening_c, tmax_c, base_c=base_c, upper_c=upper_c, cutoff=cutoff)
    return (first + second) / 2


def double_sine_degree_days(
    tmin_c: FloatArray,
    tmax_c: FloatArray,
    next_tmin_c: FloatArray,
    *,
    base_c: float,
    upper_c: float | None = None,
    cutoff: Cutoff = "none",
) -> FloatArray:
    """Daily heat under half a sine from Tmin to Tmax and half of another to the next day's Tmin. [°C·day]

    The mean of two half days, each with its own cutoff; for the next day's Tmin see `second_half_tmin`. Other
    parameters, cutoffs and errors are those of `curve_degree_days`.
    """
    evening_c = second_half_tmin(tmin_c, tmax_c, next_tmin_c)
    first = curve_degree_days(SINE, tmin_c, tmax_c, base_c=base_c, upper_c=upper_c, cutoff=cutoff)
    second = curve_degree_days(SINE, evening_c, tmax_c, base_c=base_c, upper_c=upper_c, cutoff=cutoff)
    return (first + second) / 2


def second_half_tmin(tmin_c: FloatArray, tmax_c: FloatArray, next_tmin_c: FloatArray) -> FloatArray:
    """Temperature at which the second half of a day ends: the next day's Tmin. [°C]

    Where that is missing the day's own Tmin stands in. Where it lies above the day's Tmax (a warm front at
    midnight) the half day stays at Tmax, since no moment of a day is warmer than its maximum. Both are
    conventions of ours.
    """
    known = np.where(np.isnan(next_tmin_c), tmin_c, next_tmin_c)
    return np.minimum(known, tmax_c)


def daily_degree_days(tmin_c: FloatArray, tmax_c: FloatArray, rule: HeatRule) -> FloatArray:
    """Daily heat by a named rule. [°C·day]

    Parameters
    ----------
    tmin_c, tmax_c : ndarray, shape (..., day)
        Extremes of consecutive days along the last axis, ``tmin_c <= tmax_c``; NaN in, NaN out. [°C]
    rule : HeatRule
        Method, base, upper temperature and cutoff. The double methods take each next day's Tmin from the last
        axis; the last day, whose next Tmin is not known, uses its own, as does a day before a missing one.

    Returns
    -------
    ndarray, shape (..., day)

    Raises
    ------
    BadInput
        If a maximum lies below its minimum, or the method is unknown.
    """
    days = tmin_c.shape[-1] if tmin_c.ndim else 1
    at_once = max(PIECE // max(days, 1), 1)
    if tmin_c.size <= at_once * days or tmin_c.shape != tmax_c.shape:
        return _degree_days(tmin_c, tmax_c, rule)
    low, high = tmin_c.reshape(-1, days), tmax_c.reshape(-1, days)
    heat = np.empty(low.shape)
    for row in range(0, len(low), at_once):
        piece = slice(row, row + at_once)
        heat[piece] = _degree_days(low[piece], high[piece], rule)
    return heat.reshape(tmin_c.shape)


def _degree_days(tmin_c: FloatArray, tmax_c: FloatArray, rule: HeatRule) -> FloatArray:
    base_c, upper_c, cutoff = rule.base_c, rule.upper_c, rule.cutoff
    match rule.method:
        case "average":
            return average_degree_days(tmin_c, tmax_c, base_c=base_c, upper_c=upper_c, cutoff=cutoff)
        case "clamped_average":
            return clamped_average_degree_days(tmin_c, tmax_c, base_c=base_c, upper_c=upper_c)
        case "single_triangle":
            return single_triangle_degree_days(tmin_c, tmax_c, base_c=base_c, upper_c=upper_c, cutoff=cutoff)
        case "single_sine":
            return single_sine_degree_days(tmin_c, tmax_c, base_c=base_c, upper_c=upper_c, cutoff=cutoff)
        case "double_triangle":
            double = double_triangle_degree_days
        case "double_sine":
            double = double_sine_degree_days
        case unknown:
            raise BadInput("unknown method", [Problem("method", f"{unknown!r} is not one of {METHODS}")])
    next_tmin_c = np.concatenate([tmin_c[..., 1:], tmin_c[..., -1:]], axis=-1)
    return double(tmin_c, tmax_c, next_tmin_c, base_c=base_c, upper_c=upper_c, cutoff=cutoff)


def _check_extremes(tmin_c: FloatArray, tmax_c: FloatArray) -> None:
    swapped = int(np.count_nonzero(tmax_c < tmin_c))
    if swapped:
        raise BadInput(f"a daily maximum lies below its minimum ({swapped} days); store such days as missing")
