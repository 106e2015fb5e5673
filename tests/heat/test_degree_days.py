"""Degree-days of a day: published examples, integration of the curves, and what must always hold."""

import math
from collections.abc import Callable
from itertools import pairwise
from typing import get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from models.errors import BadInput
from models.heat.degree_days import (
    average_degree_days,
    clamped_average_degree_days,
    daily_degree_days,
    double_sine_degree_days,
    double_triangle_degree_days,
    single_sine_degree_days,
    single_triangle_degree_days,
)
from models.records import Cutoff, HeatMethod, HeatRule
from models.units import FloatArray, celsius_from_fahrenheit, fahrenheit_days_from_celsius_days

METHODS: tuple[HeatMethod, ...] = get_args(HeatMethod)
CURVE_METHODS = tuple(method for method in METHODS if method != "clamped_average")
CUTOFFS: tuple[Cutoff, ...] = get_args(Cutoff)


def rule(
    method: HeatMethod, base_c: float, upper_c: float | None = None, cutoff: Cutoff = "none"
) -> HeatRule:
    """A heat rule in which an upper temperature that the cutoff has no use for is left out."""
    unused = cutoff == "none" and method != "clamped_average"
    return HeatRule(method=method, base_c=base_c, upper_c=None if unused else upper_c, cutoff=cutoff)


def heat_of_day(tmin_c: float, tmax_c: float, heat_rule: HeatRule) -> float:
    return float(daily_degree_days(np.array([tmin_c]), np.array([tmax_c]), heat_rule)[0])


def heat_of_day_f(tmin_f: float, tmax_f: float, heat_rule_f: HeatRule) -> float:
    """The same sum for temperatures in °F, through °C and back. [°F·day]"""
    upper_f = heat_rule_f.upper_c
    heat_rule = HeatRule(
        method=heat_rule_f.method,
        base_c=celsius_from_fahrenheit(heat_rule_f.base_c),
        upper_c=None if upper_f is None else celsius_from_fahrenheit(upper_f),
        cutoff=heat_rule_f.cutoff,
    )
    heat_c_day = heat_of_day(celsius_from_fahrenheit(tmin_f), celsius_from_fahrenheit(tmax_f), heat_rule)
    return fahrenheit_days_from_celsius_days(heat_c_day)


# --- Published worked examples, in °F ---


@pytest.mark.parametrize(
    ("tmin_f", "tmax_f", "base_f", "expected"),
    [
        # Nugent, Michigan State University Extension, "Calculating Growing Degree Days".
        (40, 65, 50, 2.5),
        (35, 60, 50, 0.0),
        # Iowa State University, Agron 541.
        (50, 70, 50, 10.0),
        # Western Regional Climate Center.
        (51, 95, 60, 13.0),
    ],
)
def test_average_published(tmin_f: float, tmax_f: float, base_f: float, expected: float) -> None:
    assert heat_of_day_f(tmin_f, tmax_f, rule("average", base_f)) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("tmin_f", "tmax_f", "expected"),
    [
        # University of Wisconsin Extension column, Waushara Argus, 25 April 2018.
        (65, 90, 25.5),
        (46, 72, 11.0),
        (42, 63, 6.5),
        # Karhoff, Ohio State University Extension, 12 June 2023.
        (63, 87, 24.5),
    ],
)
def test_clamped_average_published(tmin_f: float, tmax_f: float, expected: float) -> None:
    assert heat_of_day_f(tmin_f, tmax_f, rule("clamped_average", 50, 86)) == pytest.approx(expected, abs=1e-9)


def test_clamped_average_published_three_days() -> None:
    # University of Wisconsin Extension column, Waushara Argus, 25 April 2018: the three days sum to 43.
    tmin, tmax = np.array([65.0, 46.0, 42.0]), np.array([90.0, 72.0, 63.0])
    assert clamped_average_degree_days(tmin, tmax, base_c=50, upper_c=86).sum() == pytest.approx(
        43, abs=1e-12
    )


# --- Values computed for this project by numerical integration of the curve, good to 1e-4 ---


@pytest.mark.parametrize(
    ("tmin", "tmax", "base", "upper", "sine", "triangle"),
    [
        (5, 25, 10, 20, (6.0900, 5.0000, 3.9100, 1.6667), (5.6250, 5.0000, 4.3750, 2.5000)),
        (45, 95, 50, 88, (20.6780, 19.5501, 18.4222, 10.2727), (20.2500, 19.7600, 19.2700, 14.4400)),
        (2, 34, 10, 30, (9.7440, 9.1359, 8.5279, 4.5349), (9.0000, 8.7500, 8.5000, 6.2500)),
    ],
)
def test_cutoffs_derived(
    tmin: float,
    tmax: float,
    base: float,
    upper: float,
    sine: tuple[float, ...],
    triangle: tuple[float, ...],
) -> None:
    for cutoff, by_sine, by_triangle in zip(CUTOFFS, sine, triangle, strict=True):
        sine_heat = heat_of_day(tmin, tmax, rule("single_sine", base, upper, cutoff))
        triangle_heat = heat_of_day(tmin, tmax, rule("single_triangle", base, upper, cutoff))
        assert sine_heat == pytest.approx(by_sine, abs=1e-4), cutoff
        assert triangle_heat == pytest.approx(by_triangle, abs=1e-4), cutoff


def test_two_readings_of_the_average_derived() -> None:
    assert heat_of_day(2, 34, rule("average", 10)) == pytest.approx(8)
    assert heat_of_day(2, 34, rule("clamped_average", 10, 30)) == pytest.approx(10)


def test_cold_day_and_double_methods_derived() -> None:
    assert heat_of_day(35, 60, rule("single_sine", 50)) == pytest.approx(2.8087, abs=1e-4)
    assert heat_of_day(35, 60, rule("single_triangle", 50)) == pytest.approx(2.0, abs=1e-12)
    day = np.array([35.0]), np.array([60.0]), np.array([45.0])
    assert double_sine_degree_days(*day, base_c=50)[0] == pytest.approx(3.2900, abs=1e-4)
    assert double_triangle_degree_days(*day, base_c=50)[0] == pytest.approx(8 / 3, abs=1e-12)


@pytest.mark.parametrize(
    ("cutoff", "warm", "hot"),
    [
        # By hand: means of 15 and 25 °C over a base of 10 and an upper temperature of 20 °C.
        ("none", 5, 15),
        ("horizontal", 5, 15 - 5),
        ("intermediate", 5, 15 - 2 * 5),
        ("vertical", 5, 15 - 5 - 10 * 1),
    ],
)
def test_average_under_each_cutoff(cutoff: Cutoff, warm: float, hot: float) -> None:
    tmin_c, tmax_c = np.array([10.0, 20.0]), np.array([20.0, 30.0])
    heat = daily_degree_days(tmin_c, tmax_c, rule("average", 10, 20, cutoff))
    np.testing.assert_allclose(heat, [warm, hot], rtol=0, atol=1e-12)


def test_intermediate_cutoff_stops_at_nothing() -> None:
    # By hand: 40 °C all day, A(10) - 2 A(20) = 30 - 40.
    assert heat_of_day(40, 40, rule("single_sine", 10, 20, "intermediate")) == 0


# --- Integration of the curve itself ---

DayShape = Callable[[float], float]
"""How far a half day has climbed from Tmin to Tmax (0 to 1) when a share of it (0 to 1) is over."""


def straight(share: float) -> float:
    return share


def half_sine(share: float) -> float:
    return (1 - math.cos(math.pi * share)) / 2


def integrated_half_day(
    shape: DayShape, low: float, high: float, base: float, upper: float, cutoff: Cutoff
) -> float:
    """Heat of the half day between two extremes by quadrature of what each moment counts."""

    def temperature(share: float) -> float:
        return low + (high - low) * shape(share)

    def counted(share: float) -> float:
        moment = temperature(share)
        if cutoff == "horizontal":
            moment = min(moment, upper)
        elif cutoff == "intermediate" and moment > upper:
            return (moment - base) - 2 * (moment - upper)
        elif cutoff == "vertical" and moment > upper:
            return 0.0
        return max(moment - base, 0.0)

    def crossing(line: float) -> float:
        return float(brentq(lambda share: temperature(share) - line, 0.0, 1.0, xtol=1e-13))

    edges = [0.0, *(crossing(line) for line in (base, upper) if low < line < high), 1.0]
    return max(sum(quad(counted, start, end, epsabs=1e-10)[0] for start, end in pairwise(edges)), 0.0)


@settings(max_examples=150, deadline=None)
@given(
    tmin_c=st.floats(-30, 40),
    day_range=st.floats(0.01, 40),
    next_drop=st.floats(0.01, 40),
    base_c=st.floats(-5, 25),
    band=st.floats(0.5, 30),
    cutoff=st.sampled_from(CUTOFFS),
)
def test_methods_equal_the_area_under_their_curve(
    tmin_c: float, day_range: float, next_drop: float, base_c: float, band: float, cutoff: Cutoff
) -> None:
    tmax_c, upper_c = tmin_c + day_range, base_c + band
    next_tmin_c = tmax_c - next_drop
    day = np.array([tmin_c]), np.array([tmax_c])
    for single, double, shape in (
        (single_sine_degree_days, double_sine_degree_days, half_sine),
        (single_triangle_degree_days, double_triangle_degree_days, straight),
    ):
        morning = integrated_half_day(shape, tmin_c, tmax_c, base_c, upper_c, cutoff)
        evening = integrated_half_day(shape, next_tmin_c, tmax_c, base_c, upper_c, cutoff)
        by_single = single(*day, base_c=base_c, upper_c=upper_c, cutoff=cutoff)[0]
        by_double = double(*day, np.array([next_tmin_c]), base_c=base_c, upper_c=upper_c, cutoff=cutoff)[0]
        assert by_single == pytest.approx(morning, abs=1e-6)
        assert by_double == pytest.approx((morning + evening) / 2, abs=1e-6)


# --- What must always hold ---

DAY = {"tmin_c": st.floats(-60, 60), "day_range": st.floats(0, 60)}
RULE = {"method": st.sampled_from(METHODS), "base_c": st.floats(-10, 30), "band": st.floats(0.1, 40)}


@given(**DAY, **RULE, warmer_min=st.floats(0, 20), warmer_max=st.floats(0, 20), horizontal=st.booleans())
def test_a_warmer_day_never_has_less_heat(
    tmin_c: float,
    day_range: float,
    method: HeatMethod,
    base_c: float,
    band: float,
    warmer_min: float,
    warmer_max: float,
    horizontal: bool,
) -> None:
    cutoff: Cutoff = "horizontal" if horizontal and method != "clamped_average" else "none"
    heat_rule = rule(method, base_c, base_c + band, cutoff)
    tmax_c = tmin_c + day_range
    warmer_tmin_c, warmer_tmax_c = tmin_c + warmer_min, tmax_c + warmer_min + warmer_max
    heat, warmer = (
        heat_of_day(tmin_c, tmax_c, heat_rule),
        heat_of_day(warmer_tmin_c, warmer_tmax_c, heat_rule),
    )
    assert warmer >= heat - 1e-9


@given(**DAY, base_c=st.floats(-10, 30), band=st.floats(0.1, 40))
def test_cutoffs_only_take_away(tmin_c: float, day_range: float, base_c: float, band: float) -> None:
    for method in CURVE_METHODS:
        full, level, back, none = (
            heat_of_day(tmin_c, tmin_c + day_range, rule(method, base_c, base_c + band, cutoff))
            for cutoff in CUTOFFS
        )
        assert 0 <= level <= full
        assert level <= band + 1e-9
        assert 0 <= back <= level + 1e-9
        assert 0 <= none <= level + 1e-9


@given(**DAY, base_c=st.floats(-10, 30))
def test_curves_find_at_least_the_heat_of_the_average(tmin_c: float, day_range: float, base_c: float) -> None:
    """Heat above the base is convex in temperature, so a curve finds no less than its mean does.""" ""
    average = heat_of_day(tmin_c, tmin_c + day_range, rule("average", base_c))
    for method in ("single_sine", "single_triangle", "clamped_average"):
        assert heat_of_day(tmin_c, tmin_c + day_range, rule(method, base_c)) >= average - 1e-9


@given(**DAY, **RULE, cutoff=st.sampled_from(CUTOFFS))
def test_fahrenheit_degree_days_are_1_8_times_celsius(
    tmin_c: float, day_range: float, method: HeatMethod, base_c: float, band: float, cutoff: Cutoff
) -> None:
    """The formulas know no unit: fed with °F they give °F·day, 1.8 times the °C·day, with no offset."""
    if method == "clamped_average":
        cutoff = "none"
    # Keep the mean off the upper temperature: a last bit would put it on either side of a vertical cutoff.
    tmin_c, day_range, base_c, band = (round(value, 3) for value in (tmin_c, day_range, base_c, band))
    base_c, band = base_c + 1e-4, band + 0.1
    tmin_f, tmax_f, base_f, upper_f = (
        value * 1.8 + 32 for value in (tmin_c, tmin_c + day_range, base_c, base_c + band)
    )
    in_c_day = heat_of_day(tmin_c, tmin_c + day_range, rule(method, base_c, base_c + band, cutoff))
    in_f_day = heat_of_day(tmin_f, tmax_f, rule(method, base_f, upper_f, cutoff))
    assert in_f_day == pytest.approx(1.8 * in_c_day, abs=1e-6)


@pytest.mark.parametrize(
    ("method", "cutoff"),
    [("clamped_average", "none"), *((method, cutoff) for method in CURVE_METHODS for cutoff in CUTOFFS)],
)
def test_missing_days_stay_missing(method: HeatMethod, cutoff: Cutoff) -> None:
    tmin_c, tmax_c = np.array([8.0, np.nan, 12.0, 14.0]), np.array([22.0, np.nan, 31.0, 14.0])
    heat = daily_degree_days(tmin_c, tmax_c, rule(method, 10, 25, cutoff))
    np.testing.assert_array_equal(np.isnan(heat), [False, True, False, False])


@pytest.mark.parametrize("method", METHODS)
def test_leading_axes_are_days_of_other_places(method: HeatMethod) -> None:
    random = np.random.default_rng(4)
    tmin_c = random.uniform(-5, 20, (2, 3, 10))
    tmax_c = tmin_c + random.uniform(0, 20, tmin_c.shape)
    heat_rule = rule(method, 10, 30, "none" if method == "clamped_average" else "vertical")
    heat = daily_degree_days(tmin_c, tmax_c, heat_rule)
    one_by_one = [
        [daily_degree_days(tmin_c[i, j], tmax_c[i, j], heat_rule) for j in range(3)] for i in range(2)
    ]
    np.testing.assert_array_equal(heat, one_by_one)


@pytest.mark.parametrize("method", ["average", "single_sine", "single_triangle"])
def test_a_day_without_range(method: HeatMethod) -> None:
    """By hand: 4 degrees above the base all day, on it, or above the upper temperature."""
    flat = np.array([14.0, 10.0, 6.0, 20.0, 21.0])
    heat = daily_degree_days(flat, flat, rule(method, 10))
    np.testing.assert_allclose(heat, [4, 0, 0, 10, 11], rtol=0, atol=1e-12)
    vertical = daily_degree_days(flat, flat, rule(method, 10, 20, "vertical"))
    np.testing.assert_allclose(vertical, [4, 0, 0, 10, 0], rtol=0, atol=1e-12)


# --- The next day's Tmin ---


@pytest.mark.parametrize(
    ("method", "double"),
    [("double_sine", double_sine_degree_days), ("double_triangle", double_triangle_degree_days)],
)
def test_double_methods_look_at_the_next_day(method: HeatMethod, double: Callable[..., FloatArray]) -> None:
    tmin_c, tmax_c = np.array([5.0, 11.0, np.nan, 8.0, 4.0]), np.array([20.0, 25.0, np.nan, 21.0, 19.0])
    # The day before a missing one and the last day use their own Tmin.
    next_tmin_c = np.array([11.0, 11.0, 8.0, 4.0, 4.0])
    heat = daily_degree_days(tmin_c, tmax_c, rule(method, 10, 18, "horizontal"))
    expected = double(tmin_c, tmax_c, next_tmin_c, base_c=10, upper_c=18, cutoff="horizontal")
    np.testing.assert_array_equal(heat, expected)
    single: HeatMethod = "single_sine" if method == "double_sine" else "single_triangle"
    by_single = daily_degree_days(tmin_c, tmax_c, rule(single, 10, 18, "horizontal"))
    np.testing.assert_array_equal(np.isclose(heat, by_single, rtol=0, atol=1e-9)[[0, 1, 3, 4]], [0, 1, 0, 1])


@pytest.mark.parametrize("double", [double_sine_degree_days, double_triangle_degree_days])
def test_a_warmer_night_than_the_day_before(double: Callable[..., FloatArray]) -> None:
    """By hand: the morning climbs from 10 to 14 °C, 2 above the base on average; the evening stays at 14."""
    heat = double(np.array([10.0]), np.array([14.0]), np.array([19.0]), base_c=10)
    np.testing.assert_allclose(heat, [(2 + 4) / 2], rtol=0, atol=1e-12)


# --- Bad input ---


@pytest.mark.parametrize("method", METHODS)
def test_maximum_below_minimum_is_refused(method: HeatMethod) -> None:
    with pytest.raises(BadInput, match=r"maximum lies below its minimum \(1 days\)"):
        daily_degree_days(np.array([9.0, 12.0]), np.array([15.0, 11.0]), rule(method, 10))


@pytest.mark.parametrize("upper_c", [None, 10.0, 8.0])
def test_cutoff_needs_an_upper_temperature_above_the_base(upper_c: float | None) -> None:
    with pytest.raises(BadInput, match="horizontal cutoff needs an upper temperature"):
        average_degree_days(
            np.array([9.0]), np.array([15.0]), base_c=10, upper_c=upper_c, cutoff="horizontal"
        )


def test_unknown_names_are_refused_with_the_known_ones() -> None:
    day = np.array([9.0]), np.array([15.0])
    with pytest.raises(BadInput) as unknown_cutoff:
        single_sine_degree_days(*day, base_c=10, upper_c=20, cutoff="diagonal")  # type: ignore[arg-type]
    assert "horizontal, intermediate, vertical" in unknown_cutoff.value.problems[0].problem
    with pytest.raises(BadInput) as unknown_method:
        daily_degree_days(*day, HeatRule(method="cosine"))  # type: ignore[arg-type]
    assert "double_sine" in unknown_method.value.problems[0].problem
