"""Daily weather tables: what is read, what becomes missing, and what refuses the file."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import BadInput
from models.heat.gaps import Gap
from service.ingest.options import ReadOptions
from service.ingest.temperature_headers import TemperatureUnit
from service.ingest.temperatures import ReadTemperatures, read_temperatures


def read(*rows: str, header: str = "date,tmin_c,tmax_c", skip: bool = False) -> ReadTemperatures:
    data = "\n".join((header, *rows)).encode()
    return read_temperatures(data, unit=None, options=ReadOptions(on_bad_rows="skip" if skip else "reject"))


def refusal(*rows: str, header: str = "date,tmin_c,tmax_c", skip: bool = False) -> BadInput:
    with pytest.raises(BadInput) as caught:
        read(*rows, header=header, skip=skip)
    return caught.value


def test_rows_come_back_sorted_in_celsius() -> None:
    got = read("2024-05-02,50,68", "2024-05-01,41,59", header="date,tmin_f,tmax_f")
    assert got.dates.tolist() == [dt.date(2024, 5, 1), dt.date(2024, 5, 2)]
    np.testing.assert_allclose(got.tmin_c, [5.0, 10.0], rtol=0, atol=1e-12)
    np.testing.assert_allclose(got.tmax_c, [15.0, 20.0], rtol=0, atol=1e-12)
    assert (got.rows_read, got.missing_values, got.bad_rows, got.gaps, got.warnings) == (2, 0, (), (), ())
    assert (got.first_date, got.last_date) == (dt.date(2024, 5, 1), dt.date(2024, 5, 2))


def test_a_ghcn_daily_table_in_tenths() -> None:
    data = (
        b'"STATION","DATE","LATITUDE","NAME","PRCP","PRCP_ATTRIBUTES","TMAX","TMAX_ATTRIBUTES","TMIN"\r\n'
        b'"USX00000001","2013-01-01","40.7","SOMEWHERE, XX US","    5",",,W","  -33",",,W"," -100"\r\n'
        b'"USX00000001","2013-01-02","40.7","SOMEWHERE, XX US","    0",",,W","   12",",,W","  -99"\r\n'
        b'"USX00000001","2013-01-03","40.7","SOMEWHERE, XX US",,,"   20",",,W","-9999"\r\n'
        b'"USX00000001","2013-01-04","40.7","SOMEWHERE, XX US",,,,,\r\n'
    )
    got = read_temperatures(data, unit="tenths_C")
    np.testing.assert_allclose(got.tmin_c, [-10.0, -9.9, np.nan, np.nan], rtol=0, atol=1e-12)
    np.testing.assert_allclose(got.tmax_c, [-3.3, 1.2, np.nan, np.nan], rtol=0, atol=1e-12)
    assert got.missing_values == 2
    assert got.warnings == (
        "1 day has no value and is stored as missing: line 5",
        "1 day has a code for missing and is stored as missing: line 4",
    )


@pytest.mark.parametrize(
    "code",
    [
        "-99",
        "-99.9",
        "-100",
        "-100.0",
        "-999",
        "-999.9",
        "-9999",
        "999",
        "9999",
        "M",
        "m",
        "T",
        "NA",
        "NaN",
        "",
        "-",
    ],
)
@pytest.mark.parametrize("unit", ["c", "f"])
@pytest.mark.parametrize("place", [0, 1, None])
def test_codes_for_missing(code: str, unit: str, place: int | None) -> None:
    pair = ["20", "40"]
    if place is None:
        pair = [code, code]
    else:
        pair[place] = code
    rows = ("2024-05-01,30,40", f"2024-05-02,{','.join(pair)}", "2024-05-03,31,42")
    got = read(*rows, header=f"date,tmin_{unit},tmax_{unit}")
    assert np.isnan(got.tmin_c).tolist() == np.isnan(got.tmax_c).tolist() == [False, True, False]
    assert got.missing_values == 1
    assert got.gaps == (Gap(dt.date(2024, 5, 2), dt.date(2024, 5, 2), 1),)
    assert len(got.warnings) == 1
    assert got.warnings[0].endswith("stored as missing: line 3")


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("2024-05-02,12,61", "a value outside -60 to 60 °C"),
        ("2024-05-02,-61,12", "a value outside -60 to 60 °C"),
        ("2024-05-02,12.1,12.0", "Tmin above Tmax"),
    ],
)
def test_impossible_values_are_missing(row: str, why: str) -> None:
    got = read("2024-05-01,5,20", row, "2024-05-03,-60,60", "2024-05-04,7,7")
    assert np.isnan(got.tmin_c).tolist() == [False, True, False, False]
    assert got.missing_values == 1
    assert got.warnings == (f"1 day has {why} and is stored as missing: line 3",)


def test_limits_hold_after_conversion() -> None:
    got = read("2024-05-01,50,100", "2024-05-02,50,141", "2024-05-03,51,90", header="date,tmin_f,tmax_f")
    assert np.isnan(got.tmax_c).tolist() == [False, True, False]  # 60 °C are 140 °F


@pytest.mark.parametrize(
    ("row", "problem"),
    [
        ("2024-02-31,5,20", "31 February 2024 does not exist"),
        ("02/03/2024,5,20", "either way round"),
        ("2024-05-02,warm,20", "tmin_c: 'warm' is not a number"),
        ("2024-05-02,5,20 C", "tmax_c: '20 C' is not a number"),
        ("2024-05-02,5", "2 cells where the header has 3"),
        ("2024-05-02,5,20,7", "4 cells where the header has 3"),
    ],
)
def test_a_bad_row_refuses_the_file_or_is_skipped(row: str, problem: str) -> None:
    rows = ("2024-05-01,5,20", row, "2024-05-03,6,21")
    error = refusal(*rows)
    assert error.message == "1 of 3 rows cannot be read"
    assert error.problems[0].where == "line 3"
    assert problem in error.problems[0].problem
    got = read(*rows, skip=True)
    assert got.dates.tolist() == [dt.date(2024, 5, 1), dt.date(2024, 5, 3)]
    assert [bad.line for bad in got.bad_rows] == [3]
    assert problem in got.bad_rows[0].problem
    assert (got.rows_read, got.missing_values, len(got.gaps)) == (3, 0, 1)


def test_one_date_with_two_values_is_bad_in_both_lines() -> None:
    rows = ("2024-05-01,5,20", "2024-05-02,5,20", "2024-05-03,5,20", "2024-05-01,5,21")
    error = refusal(*rows)
    assert [each.where for each in error.problems] == ["lines 2, 5"]
    assert "2024-05-01 is given with different values: lines 2, 5" in error.problems[0].problem
    got = read(*rows, skip=True)
    assert got.first_date == dt.date(2024, 5, 2)  # which of the two is right can't be known
    assert [bad.line for bad in got.bad_rows] == [2, 5]


def test_one_date_twice_with_equal_values_is_kept_once() -> None:
    got = read("2024-05-01,5,20", "2024-05-01,5.0,20.0", "2024-05-02,6,21", "2024-05-03,6,21")
    assert got.dates.size == 3
    assert got.warnings == ("1 row repeated and kept once: line 3",)


def test_a_missing_row_gives_way_to_a_value_of_the_same_day() -> None:
    got = read("2024-05-01,,", "2024-05-01,5,20", "2024-05-02,M,M", "2024-05-02,,", "2024-05-03,5,20")
    assert np.isnan(got.tmin_c).tolist() == [False, True, False]
    assert got.missing_values == 1


def test_nothing_left_is_refused_even_when_skipping() -> None:
    assert "no row is left" in refusal("x,1,2", "y,1,2", skip=True).message
    error = refusal("2024-05-01,1,2", "2024-05-01,1,3", "2024-05-01,,", "2024-05-01,,", skip=True)
    assert error.message == "no day of the file can be used"


def test_equal_faults_are_told_once_with_their_lines() -> None:
    rows = [f"{day}/5/2024,5,20" for day in (13, 14, 15, 16, 17, 18, 19)]
    error = refusal(*rows, "2024-05-20,warm,20")
    assert error.message == "8 of 8 rows cannot be read"
    first, second = error.problems
    assert first.where == "lines 2 to 8"
    assert first.problem.startswith("'13/5/2024' is not an ISO date")
    assert first.problem.endswith(
        "likewise '14/5/2024', '15/5/2024', '16/5/2024', '17/5/2024', '18/5/2024', ..."
    )
    assert (second.where, second.problem) == ("line 9", "tmin_c: 'warm' is not a number")


def test_many_different_faults_are_counted_and_the_first_listed() -> None:
    error = refusal(*("2024-05-01" + ",1" * (number + 3) for number in range(150)))
    assert error.message.startswith("150 of 150 rows cannot be read")
    assert len(error.problems) == 100


def test_only_missing_days_are_taken_with_a_warning() -> None:
    got = read("2024-05-01,,", "2024-05-02,-99,-99")
    assert got.missing_values == 2
    assert "no day of the file has both a minimum and a maximum" in got.warnings
    assert got.gaps == (Gap(dt.date(2024, 5, 1), dt.date(2024, 5, 2), 2),)


def test_gaps_join_absent_and_missing_days() -> None:
    rows = ("2024-02-26,1,9", "2024-02-27,M,M", "2024-03-01,1,9", "2024-03-02,2,8", "2024-03-04,2,8")
    got = read(*rows)
    assert got.gaps == (
        Gap(dt.date(2024, 2, 27), dt.date(2024, 2, 29), 3),
        Gap(dt.date(2024, 3, 3), dt.date(2024, 3, 3), 1),
    )
    daily = got.daily()
    assert daily.dates.size == 8
    np.testing.assert_array_equal(daily.tmin_c, [1, np.nan, np.nan, np.nan, 1, 2, np.nan, 2])
    np.testing.assert_array_equal(daily.tmax_c, [9, np.nan, np.nan, np.nan, 9, 8, np.nan, 8])


@pytest.mark.parametrize(
    ("step_hours", "form", "said"),
    [
        (1, "%Y-%m-%d", "5 of 5 days have several rows"),
        (6, "%Y-%m-%d", "5 of 5 days have several rows"),
        (12, "%Y-%m-%d", "5 of 5 days have several rows"),
        (6, "%Y-%m-%dT%H:%M", "no day has readings in more than 4 hours"),
        (12, "%Y-%m-%dT%H:%M", "no day has readings in more than 2 hours"),
    ],
)
def test_several_rows_a_day_without_enough_times_are_refused_even_when_skipping(
    step_hours: int, form: str, said: str
) -> None:
    start = dt.datetime(2024, 5, 1, tzinfo=dt.UTC)
    times = [start + dt.timedelta(hours=hour) for hour in range(0, 24 * 5, step_hours)]
    rows = [f"{time.strftime(form)},{time.hour / 10},20" for time in times]
    error = refusal(*rows, skip=True)
    assert said in error.problems[0].problem


def test_swapped_columns_are_refused() -> None:
    rows = [f"2024-05-{day:02},{20 + day / 10},{8 - day / 10}" for day in range(1, 11)]
    error = refusal(*rows)
    assert error.message == "the columns look swapped"
    assert "'tmin_c' lies above 'tmax_c'" in error.problems[0].problem


def test_two_hours_of_a_day_are_refused() -> None:
    assert "too far apart" in refusal("2024-05-01T00:00,5,6", "2024-05-01T12:00,15,16", skip=True).message


def test_a_table_sent_twice_in_one_file_is_no_hourly_one() -> None:
    rows = [f"2024-05-{day:02},{day},20" for day in range(1, 11)]
    got = read(*rows, *rows)
    assert got.dates.size == 10
    assert got.warnings == ("10 rows repeated and kept once: lines 12 to 21",)


def test_decimal_commas_in_a_semicolon_file() -> None:
    data = b"date;tmin_c;tmax_c\n01.05.2024;5,5;20,25\n"
    got = read_temperatures(data, unit=None, options=ReadOptions(date_format="%d.%m.%Y"))
    assert (got.tmin_c[0], got.tmax_c[0]) == (5.5, 20.25)
    with pytest.raises(BadInput, match="1 of 1 rows"):
        read_temperatures(b'date,tmin_c,tmax_c\n2024-05-01,"5,5",20\n', unit=None)


def test_nothing_without_a_unit() -> None:
    with pytest.raises(BadInput, match="unit of the temperatures is not stated"):
        read_temperatures(b"date,tmin,tmax\n2024-05-01,5,20\n", unit=None)


def test_a_bad_date_format_is_the_senders_fault() -> None:
    with pytest.raises(BadInput) as caught:
        read_temperatures(
            b"date,tmin,tmax\n2024-05-01,5,20\n", unit="C", options=ReadOptions(date_format="dd.mm.yyyy")
        )
    assert caught.value.problems[0].where == "date_format"


@st.composite
def tables(draw: st.DrawFn) -> tuple[bytes, TemperatureUnit, dict[dt.date, tuple[float, float]]]:
    """A table in some order, delimiter, encoding and unit, and what it holds in °C."""
    unit: TemperatureUnit = draw(st.sampled_from(("C", "F", "tenths_C")))
    first = draw(st.dates(dt.date(1900, 1, 1), dt.date(2100, 1, 1)))
    offsets = draw(st.lists(st.integers(0, 60), unique=True, min_size=1, max_size=20))
    low = st.integers(-90, 80)
    held: dict[dt.date, tuple[float, float]] = {}
    rows: list[dict[str, str]] = []
    for offset in offsets:
        tmin = draw(low)
        tmax = tmin + draw(st.integers(60, 150))
        date = first + dt.timedelta(days=offset)
        held[date] = (tmin / 10, tmax / 10)
        texts = [
            f"{value}"
            if unit == "tenths_C"
            else f"{value / 10 if unit == 'C' else value / 10 * 1.8 + 32:.4f}"
            for value in (tmin, tmax)
        ]
        rows.append({"date": date.isoformat(), "low": texts[0], "high": texts[1], "note, or so": 'a "b"; c'})
    order = draw(st.permutations(list(rows[0])))
    delimiter = draw(st.sampled_from(",;\t"))
    line_end = draw(st.sampled_from(("\n", "\r\n")))
    encoding = draw(st.sampled_from(("utf-8", "utf-8-sig", "utf-16")))

    def line(cells: list[str]) -> str:
        return delimiter.join('"' + cell.replace('"', '""') + '"' for cell in cells) + line_end

    text = line([name.upper() for name in order]) + "".join(
        line([row[name] for name in order]) for row in rows
    )
    return text.encode(encoding), unit, held


@given(tables())
def test_a_table_in_any_shape_comes_back(
    table: tuple[bytes, TemperatureUnit, dict[dt.date, tuple[float, float]]],
) -> None:
    data, unit, held = table
    got = read_temperatures(data, unit=unit)
    assert got.dates.tolist() == sorted(held)
    expected = np.array([held[date] for date in sorted(held)])
    np.testing.assert_allclose(got.tmin_c, expected[:, 0], rtol=0, atol=1e-4)
    np.testing.assert_allclose(got.tmax_c, expected[:, 1], rtol=0, atol=1e-4)
    assert (got.missing_values, got.warnings) == (0, ())
    assert sum(gap.days for gap in got.gaps) == got.daily().dates.size - len(held)
