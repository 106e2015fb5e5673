"""Units at the edge. Inside, temperatures are °C, heat is °C·day and lengths are metres."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
FloatLike = TypeVar("FloatLike", float, FloatArray)

FEET_PER_METRE = 1 / 0.3048


def celsius_from_fahrenheit(temperature_f: FloatLike) -> FloatLike:
    """Temperature. [°F] -> [°C]"""
    return (temperature_f - 32.0) / 1.8


def fahrenheit_from_celsius(temperature_c: FloatLike) -> FloatLike:
    """Temperature. [°C] -> [°F]"""
    return temperature_c * 1.8 + 32.0


def fahrenheit_steps_from_celsius_steps(step_c: FloatLike) -> FloatLike:
    """Difference of two temperatures, so there is no offset. [°C] -> [°F]"""
    return step_c * 1.8


def fahrenheit_days_from_celsius_days(heat_c_day: FloatLike) -> FloatLike:
    """Degree-days: a sum of differences, so there is no offset. [°C·day] -> [°F·day]"""
    return heat_c_day * 1.8


def feet_from_metres(length_m: FloatLike) -> FloatLike:
    """Length. [m] -> [ft], the international foot of 0.3048 m"""
    return length_m * FEET_PER_METRE
