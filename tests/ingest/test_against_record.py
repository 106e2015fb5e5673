"""A weather table beside the station's record: another unit, another station, a turned hemisphere, a stuck sensor."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from models.errors import BadInput
from models.records import DailyTemperatures
from models.units import fahrenheit_from_celsius
from service.ingest.against_record import beyond_record, check_against_itself, check_against_record
from service.ingest.hemisphere import check_hemisphere
from service.ingest.options import ReadOptions
from service.ingest.plausibility import longest_alike
from service.ingest.temperature_headers import TemperatureUnit
from service.ingest.temperatures import ReadTemperatures, read_temperatures


def weather(first: str, last: str, *, seed: int = 1, mean_c: float = 16.0) -> DailyTemperatures:
    """Invented days: a yearly course of 11 °C to each side, and weather of 4 °C that lasts for some days."""
    dates = np.arange(np.datetime64(first), np.datetime64(last) + 1)
    random = np.random.default_rng(seed)
    noise = np.zeros(dates.size)
    for day in range(1, dates.size):
        noise[day] = 0.7 * noise[day - 1] + random.normal(0, 2.9)
    day = (dates - dates.astype("datetime64[Y]")).astype(float)
    middle = mean_c + 11 * np.cos((day - 200) * 2 * np.pi / 365.25) + noise
    width = random.uniform(4, 8, dates.size)
    return DailyTemperatures(dates, np.round(middle - width, 1), np.round(middle + width, 1))


def table(record: DailyTemperatures, unit: TemperatureUnit, *, said: TemperatureUnit) -> ReadTemperatures:
    """The days written in one unit and read as another, though a table by itself may show it."""
    low, high = record.tmin_c, record.tmax_c
    if unit == "F":
        low, high = np.round(fahrenheit_from_celsius(low), 1), np.round(fahrenheit_from_celsius(high), 1)
    if unit == "tenths_C":
        low, high = low * 10, high * 10
    rows = "".join(f"{day},{a:g},{b:g}\n" for day, a, b in zip(record.dates.tolist(), low, high, strict=True))
    return read_temperatures(
        f"date,tmin,tmax\n{rows}".encode(), unit=said, options=ReadOptions(confirm=["units"])
    )


RECORD = weather("2015-01-01", "2026-04-30")


@pytest.mark.parametrize(("first", "last"), [("2026-01-01", "2026-04-30"), ("2026-05-01", "2026-05-20")])
@pytest.mark.parametrize(
    ("unit", "said"), [("C", "F"), ("F", "C"), ("C", "tenths_C"), ("tenths_C", "C"), ("F", "tenths_C")]
)
def test_another_unit_is_refused_over_stored_days_and_after_them(
    first: str, last: str, unit: TemperatureUnit, said: TemperatureUnit
) -> None:
    truth = weather("2015-01-01", "2026-05-20")
    days = (truth.dates >= np.datetime64(first)) & (truth.dates <= np.datetime64(last))
    sent = DailyTemperatures(truth.dates[days], truth.tmin_c[days], truth.tmax_c[days])
    read = table(sent, unit, said=said)
    if np.isnan(read.tmin_c).all():
        return  # all of it is impossible, and missing
    with pytest.raises(BadInput, match=r"do not (look like|belong)") as caught:
        check_against_record(read, RECORD, outlook=False)
    assert "confirm=units" in caught.value.problems[0].problem
    assert caught.value.problems[0].where.startswith("line")


@pytest.mark.parametrize("seed", range(2, 22))
def test_other_weather_in_the_right_unit_is_taken(seed: int) -> None:
    for last in ("2026-05-01", "2026-05-20"):
        read = table(weather("2026-05-01", last, seed=seed), "F", said="F")
        check_against_record(read, RECORD, outlook=False)
        check_against_record(read, RECORD, outlook=True)


def test_eleven_other_years_in_the_right_unit_are_taken() -> None:
    read = table(weather("2015-01-01", "2026-05-20", seed=2), "F", said="F")
    check_against_record(read, RECORD, outlook=False)
    check_against_itself(read)


def test_one_corrected_day_and_a_heat_wave_are_taken() -> None:
    days = RECORD.dates >= np.datetime64("2026-04-01")
    hot = DailyTemperatures(RECORD.dates[days], RECORD.tmin_c[days] + 7, RECORD.tmax_c[days] + 9)
    check_against_record(table(hot, "C", said="C"), RECORD, outlook=False)
    one = DailyTemperatures(RECORD.dates[:1], RECORD.tmin_c[:1], RECORD.tmax_c[:1] + 12)
    check_against_record(table(one, "C", said="C"), RECORD, outlook=False)


@pytest.mark.parametrize("count", [1, 4, 12])
def test_a_wave_of_cold_in_fahrenheit_is_taken(count: int) -> None:
    # usual for these days: about 1 to 13 °C; read as °C the values would be usual, but not their range
    start = dt.date(2026, 2, 10)
    rows = "".join(f"{start + dt.timedelta(days=day)},{2 + day % 2},{19 + day % 2}\n" for day in range(count))
    read = read_temperatures(f"date,tmin_f,tmax_f\n{rows}".encode(), unit=None)
    record = weather("2015-01-01", "2026-02-09")
    colder = record.tmin_c - 8 * (np.arange(record.dates.size) % 30 == 0)  # it has been as cold before
    check_against_record(read, DailyTemperatures(record.dates, colder, record.tmax_c), outlook=False)


@pytest.mark.parametrize("seed", range(30, 38))
def test_a_single_summer_day_in_the_other_unit_is_refused(seed: int) -> None:
    for unit, said in (("C", "F"), ("F", "C")):
        read = table(weather("2026-05-20", "2026-05-20", seed=seed), unit, said=said)  # type: ignore[arg-type]
        if np.isfinite(read.tmax_c).any():
            with pytest.raises(BadInput, match="do not look like"):
                check_against_record(read, RECORD, outlook=False)


def test_another_station_is_refused() -> None:
    far = weather("2026-05-01", "2026-05-20", mean_c=40)
    with pytest.raises(BadInput, match="station's own record"):
        check_against_record(table(far, "C", said="C"), RECORD, outlook=False)


def test_one_month_of_a_first_file_in_another_unit() -> None:
    low, high = RECORD.tmin_c.copy(), RECORD.tmax_c.copy()
    wrong = (RECORD.dates >= np.datetime64("2020-01-01")) & (RECORD.dates < np.datetime64("2020-02-01"))
    low[wrong] = fahrenheit_from_celsius(low[wrong])
    high[wrong] = fahrenheit_from_celsius(high[wrong])
    mixed = table(DailyTemperatures(RECORD.dates, low, high), "C", said="C")
    with pytest.raises(BadInput, match="are these °F") as caught:
        check_against_itself(mixed)
    assert caught.value.problems[0].where.startswith("lines 1828, ")


def test_a_single_value_beyond_the_record_is_named_and_refuses_an_outlook() -> None:
    days = weather("2026-05-01", "2026-05-07")
    high = days.tmax_c.copy()
    high[3] = 54.0
    read = table(DailyTemperatures(days.dates, days.tmin_c, high), "C", said="C")
    check_against_record(read, RECORD, outlook=False)
    assert read.lines[beyond_record(read, RECORD)].tolist() == [5]
    for record in (RECORD, None):
        with pytest.raises(BadInput, match="the outlook cannot be right") as caught:
            check_against_record(read, record, outlook=True)
        assert caught.value.problems[0].where == "line 5"


@pytest.mark.parametrize("months", [("2025-01-01", "2025-06-15"), ("2020-01-01", "2025-12-31")])
def test_a_latitude_of_the_other_half_is_refused(months: tuple[str, str]) -> None:
    days = weather(*months)
    check_hemisphere(days, 33.5)
    with pytest.raises(BadInput, match="latitude") as caught:
        check_hemisphere(days, -33.5)
    assert "confirm=latitude" in caught.value.problems[0].problem


def test_the_tropics_and_a_few_weeks_tell_no_hemisphere() -> None:
    flat = weather("2020-01-01", "2025-12-31")
    check_hemisphere(
        DailyTemperatures(flat.dates, np.full(flat.dates.size, 22.0), np.full(flat.dates.size, 31.0)), -3
    )
    check_hemisphere(weather("2025-03-01", "2025-05-30"), -33.5)


def test_a_run_of_one_value() -> None:
    dates = np.arange(np.datetime64("2025-05-01"), np.datetime64("2025-05-11"))
    low = np.array([5, 5, 5, 5, 5, 6, 6, 6, 6, 7], dtype=float)
    high = low + 10
    assert longest_alike(dates, low, high) == [(0, 4)]
    high[2] = 11
    assert longest_alike(dates, low, high) == []
    text = "date,tmin_c,tmax_c\n" + "".join(f"2025-05-0{day},9,20\n" for day in range(1, 6))
    (warning,) = read_temperatures(text.encode(), unit=None).warnings
    assert "from 2025-05-01 to 2025-05-05" in warning
    assert dt.date(2025, 5, 5).isoformat() in warning
