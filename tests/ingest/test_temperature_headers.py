"""Columns of a weather table by the names people give them, and the unit they state."""

from __future__ import annotations

from typing import get_args

import pytest

from models.errors import BadInput
from service.ingest.table import read_table
from service.ingest.temperature_headers import (
    TemperatureColumns,
    TemperatureUnit,
    find_temperature_columns,
    header_unit,
)


def find(header: str, unit: TemperatureUnit | None = "C") -> TemperatureColumns:
    data = f"{header}\n{','.join('1' * (header.count(',') + 1))}\n"
    return find_temperature_columns(read_table(data.encode()), unit=unit)


def problems(header: str, unit: TemperatureUnit | None = "C") -> str:
    with pytest.raises(BadInput) as caught:
        find(header, unit)
    assert caught.value.problems
    return (
        caught.value.message
        + ": "
        + "; ".join(f"{each.where}: {each.problem}" for each in caught.value.problems)
    )


@pytest.mark.parametrize(
    "header",
    [
        "date,tmin,tmax",
        "DATE,TMIN,TMAX",
        "Date,T_min,T_max",
        "day,Low,High",
        "Date,min_temp,max_temp",
        "observation date,Minimum temperature (°C),Maximum temperature (°C)",
        "Date (YYYY-MM-DD),Daily min. air temp. [degC],Daily max. air temp. [degC]",
        "time,temperature_2m_min (°C),temperature_2m_max (°C)",
        "date,MinTemp,MaxTemp",
        "date,TN,TX",
        "date,tminC,tmaxC",
        "date,mint,maxt",
        "date,Tmin ℃,Tmax º C",
    ],
)
def test_trade_synonyms(header: str) -> None:
    assert find(header) == TemperatureColumns(date=0, tmin=1, tmax=2, unit="C")


def test_any_order_among_other_columns() -> None:
    header = "STATION,DATE,NAME,PRCP,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES,TAVG,min soil temp"
    assert find(header, "tenths_C") == TemperatureColumns(date=1, tmin=6, tmax=4, unit="tenths_C")


def test_date_wins_over_the_number_of_the_day() -> None:
    assert find("day,date,tmin,tmax").date == 1


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("tmin_f", "F"),
        ("Tmin (°F)", "F"),
        ("min temp [F]", "F"),
        ("Low, deg F", "F"),
        ("Minimum temperature in degrees Fahrenheit", "F"),
        ("tmin_c", "C"),
        ("Tmin ℃", "C"),
        ("minimum Celsius", "C"),
        ("tmin tenths C", "tenths_C"),
        ("Tmin (0.1 °C)", "tenths_C"),
        ("tmin_k", "K"),
        ("tmin", None),
    ],
)
def test_unit_of_a_header(header: str, unit: str | None) -> None:
    assert header_unit(header) == unit


@pytest.mark.parametrize("unit", get_args(TemperatureUnit))
def test_a_unit_is_taken_from_the_query_or_the_headers(unit: TemperatureUnit) -> None:
    suffix = {"C": "c", "F": "f", "tenths_C": "tenths_c"}[unit]
    assert find("date,tmin,tmax", unit).unit == unit
    assert find(f"date,tmin_{suffix},tmax_{suffix}", None).unit == unit
    assert find(f"date,tmin_{suffix},tmax_{suffix}", unit).unit == unit


def test_no_unit_is_refused() -> None:
    assert "pass unit=C, F or tenths_C" in problems("date,tmin,tmax", None)


def test_units_that_contradict_each_other_are_refused() -> None:
    assert "two ways: line 1: 'tmin_c' says C, 'tmax_f' says F" in problems("date,tmin_c,tmax_f", None)
    assert "but unit=C was passed" in problems("date,tmin_f,tmax_f", "C")
    assert "not one of" in problems("date,tmin_k,tmax_k", None)


def test_missing_columns_are_named_with_what_was_found() -> None:
    text = problems("station,tmin_c,tmax_c")
    assert "line 1: no date column" in text
    assert "'station', 'tmin_c', 'tmax_c'" in text
    assert "no column of the daily minimum: name it tmin_c or tmin_f" in problems("date,tmax")
    assert "no column of the daily maximum: name it tmax_c or tmax_f" in problems("date,tmin,tavg")
    assert "join year, month and day" in problems("Year,Month,Day,Tmin,Tmax")


def test_columns_that_could_be_either_are_refused() -> None:
    assert "looks like both extremes" in problems("date,min/max temp,tmax")
    assert "'tmin_c' and 'Low'" in problems("date,tmin_c,Low,tmax_c")
