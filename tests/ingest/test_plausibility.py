"""Units that can't be right are refused; honest files of odd places pass. The climates are made up."""

from __future__ import annotations

import numpy as np
import pytest

from models.errors import BadInput
from models.records import DateArray
from models.units import FloatArray, fahrenheit_from_celsius
from service.ingest.plausibility import check_unit
from service.ingest.temperature_headers import TemperatureUnit

# mean of the year, half of winter to summer, night to day [°C]; about right for such places, from memory
CLIMATES = {
    "humid subtropics": (18.0, 9.0, 12.0),
    "cool temperate": (10.0, 9.0, 8.0),
    "continental": (6.0, 18.0, 12.0),
    "desert": (25.0, 12.0, 15.0),
    "hottest desert": (26.0, 13.0, 14.0),
    "tropics": (27.0, 1.0, 7.0),
    "high tropics": (14.0, 1.0, 12.0),
    "southern temperate": (12.0, -7.0, 10.0),
    "arctic coast": (-11.0, 16.0, 6.0),
    "high arctic": (-17.0, 22.0, 6.0),
}
UNITS: tuple[TemperatureUnit, ...] = ("C", "F", "tenths_C")


def weather(climate: str, first: str, last: str) -> tuple[DateArray, FloatArray, FloatArray]:
    """Days of a made-up climate. [°C]"""
    mean, swing, between = CLIMATES[climate]
    dates = np.arange(np.datetime64(first, "D"), np.datetime64(last, "D"))
    day = (dates - dates.astype("datetime64[Y]")).astype(np.int64)
    noise = np.random.default_rng(7).normal(0, 3, (2, dates.size))
    middle = mean - swing * np.cos(2 * np.pi * (day - 15) / 365.25) + noise[0]
    half = np.maximum(between + noise[1], 1) / 2
    return dates, middle - half, middle + half


def written(values_c: FloatArray, unit: TemperatureUnit) -> FloatArray:
    """As a file in that unit holds it: one decimal, or whole tenths."""
    if unit == "F":
        return np.asarray(np.round(fahrenheit_from_celsius(values_c)))
    return np.round(values_c * 10) if unit == "tenths_C" else np.round(values_c, 1)


def check(climate: str, first: str, last: str, *, is_in: TemperatureUnit, sent_as: TemperatureUnit) -> None:
    dates, tmin_c, tmax_c = weather(climate, first, last)
    check_unit(dates, written(tmin_c, is_in), written(tmax_c, is_in), unit=sent_as)


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("climate", CLIMATES)
@pytest.mark.parametrize(
    ("first", "last"),
    [
        ("2020-01-01", "2023-01-01"),
        ("2021-01-05", "2021-01-09"),
        ("2021-12-01", "2022-03-01"),
        ("2021-06-01", "2021-09-01"),
        ("2021-07-10", "2021-07-11"),
    ],
)
def test_honest_files_pass(climate: str, unit: TemperatureUnit, first: str, last: str) -> None:
    check(climate, first, last, is_in=unit, sent_as=unit)


GROWING = [
    "humid subtropics",
    "cool temperate",
    "continental",
    "desert",
    "hottest desert",
    "southern temperate",
]


@pytest.mark.parametrize("climate", GROWING)
@pytest.mark.parametrize(
    ("is_in", "sent_as"), [(is_in, sent_as) for is_in in UNITS for sent_as in UNITS if is_in != sent_as]
)
def test_a_year_in_another_unit_is_refused(
    climate: str, is_in: TemperatureUnit, sent_as: TemperatureUnit
) -> None:
    with pytest.raises(BadInput, match="cannot be in") as caught:
        check(climate, "2020-01-01", "2022-01-01", is_in=is_in, sent_as=sent_as)
    assert caught.value.problems[0].where == "unit"


@pytest.mark.parametrize("climate", ["humid subtropics", "cool temperate", "continental"])
@pytest.mark.parametrize(
    ("is_in", "sent_as"), [(is_in, sent_as) for is_in in UNITS for sent_as in UNITS if is_in != sent_as]
)
def test_a_growing_season_in_another_unit_is_refused(
    climate: str, is_in: TemperatureUnit, sent_as: TemperatureUnit
) -> None:
    with pytest.raises(BadInput, match="cannot be in"):
        check(climate, "2021-03-01", "2021-09-01", is_in=is_in, sent_as=sent_as)


def test_the_reason_names_the_unit_that_it_looks_like() -> None:
    cases: list[tuple[TemperatureUnit, TemperatureUnit, str]] = [
        ("F", "C", "maxima reach .*: too hot; are these °F"),
        ("tenths_C", "C", "maxima reach .*: too hot; are these tenths of °C"),
        ("tenths_C", "F", "too hot; are these tenths of °C"),
        ("C", "F", "too cold for a summer; are these °C"),
        ("C", "tenths_C", "these have decimals; are these whole °C or °F"),
        ("F", "tenths_C", "only .* above its minimum .*are these whole °C or °F"),
    ]
    for is_in, sent_as, reason in cases:
        with pytest.raises(BadInput, match=reason):
            check("humid subtropics", "2020-01-01", "2022-01-01", is_in=is_in, sent_as=sent_as)


def test_a_winter_in_tenths_sent_as_celsius_is_refused() -> None:
    with pytest.raises(BadInput, match="tenths of °C"):
        check("continental", "2021-12-01", "2022-02-01", is_in="tenths_C", sent_as="C")


def test_whole_degrees_sent_as_tenths_are_refused_without_decimals() -> None:
    dates, tmin_c, tmax_c = weather("cool temperate", "2021-03-01", "2021-04-01")
    with pytest.raises(BadInput, match="above its minimum"):
        check_unit(dates, np.round(tmin_c), np.round(tmax_c), unit="tenths_C")


@pytest.mark.parametrize("value", [95.0, 58.0])
def test_a_single_hot_value_is_a_slip_and_not_a_unit(value: float) -> None:
    dates, tmin_c, tmax_c = weather("cool temperate", "2021-06-01", "2021-06-04")
    tmax_c[1] = value
    check_unit(dates, tmin_c, tmax_c, unit="C")


def test_a_repeated_code_is_no_unit() -> None:
    dates, tmin_c, tmax_c = weather("cool temperate", "2021-01-01", "2021-03-01")
    for code in (-88.0, 888.0):
        odd_min, odd_max = tmin_c.copy(), tmax_c.copy()
        odd_min[::4] = odd_max[::4] = code
        check_unit(dates, odd_min, odd_max, unit="C")


def test_all_of_a_short_file_beyond_belief_is_refused() -> None:
    dates = np.array(["2021-07-01"], dtype="datetime64[D]")
    with pytest.raises(BadInput, match="are these °F"):
        check_unit(dates, np.array([71.0]), np.array([95.0]), unit="C")


def test_missing_days_do_not_matter() -> None:
    dates, tmin_c, tmax_c = weather("humid subtropics", "2021-01-01", "2022-01-01")
    tmin_c[::2] = tmax_c[::3] = np.nan
    check_unit(dates, tmin_c, tmax_c, unit="C")
    with pytest.raises(BadInput):
        check_unit(dates, written(tmin_c, "F"), written(tmax_c, "F"), unit="C")
    nothing = np.full(dates.shape, np.nan)
    for unit in UNITS:
        check_unit(dates, nothing, nothing, unit=unit)


@pytest.mark.parametrize(
    ("tmin", "tmax", "reason"),
    [
        (
            [38.0, 40.0, 41.0, 39.0],
            [57.0, 58.0, 60.0, 59.0],
            "maxima reach 60: too hot",
        ),  # a cool spring in °F
        ([45.0, 47.0, 46.0, 45.0], [52.0, 53.0, 54.0, 54.0], "maxima reach 54: too hot"),  # rainy days in °F
        (
            [-222.0, -205.0, -180.0],
            [-200.0, -190.0, -155.0],
            "minima fall to -222: too cold",
        ),  # frost in tenths
        ([-40.0, -25.0, -31.0], [12.0, 35.0, 20.0], "lies 52 above its minimum"),  # a mild winter in tenths
    ],
)
def test_each_rule_of_celsius_stands_alone(tmin: list[float], tmax: list[float], reason: str) -> None:
    dates = np.arange(np.datetime64("2021-02-01", "D"), np.datetime64("2021-02-01", "D") + len(tmin))
    with pytest.raises(BadInput, match=reason):
        check_unit(dates, np.array(tmin), np.array(tmax), unit="C")
