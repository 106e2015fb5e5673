"""Single cells: numbers, blanks, dates, names."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import BadInput
from service.ingest.cells import is_blank, number, whole_number, yes_or_no
from service.ingest.dates import DateForm, SeasonYear, TimeOfDay, parse_date, plain_days
from service.ingest.names import slug
from service.ingest.report import lines_text


@pytest.mark.parametrize(
    ("text", "value"),
    [("12.5", 12.5), ("-.5", -0.5), ("+3", 3.0), ("1e2", 100.0), ("−4.5", -4.5), ("7.", 7.0)],
)
def test_numbers(text: str, value: float) -> None:
    assert number(text) == value


@pytest.mark.parametrize("text", ["12,5", "1_0", "inf", "nan", "1e999", "12 C", "", "0x1f", "1.2.3", "٣"])
def test_text_is_no_number(text: str) -> None:
    with pytest.raises(BadInput):
        number(text)


def test_decimal_comma_only_where_it_is_clear() -> None:
    assert number("-12,5", decimal_comma=True) == -12.5
    for text in ("1,234.5", "1,2,3", "1.234,5"):
        with pytest.raises(BadInput, match="not a number"):
            number(text, decimal_comma=True)


def test_whole_numbers() -> None:
    assert whole_number("2018.0", low=0, high=3000) == 2018
    with pytest.raises(BadInput, match="not a whole number"):
        whole_number("1.5", low=0, high=9)
    with pytest.raises(BadInput, match="outside 0 to 9"):
        whole_number("10", low=0, high=9)


def test_yes_and_no() -> None:
    assert [yes_or_no(text) for text in ("Yes", "TRUE", "no", "False")] == [True, True, False, False]
    with pytest.raises(BadInput, match="neither yes nor no"):
        yes_or_no("perhaps")


def test_blanks() -> None:
    assert all(is_blank(text) for text in ("", "NA", "n/a", "NaN", "-"))
    assert not is_blank("0")


@given(st.dates(dt.date(1850, 1, 1), dt.date(2200, 12, 31)))
def test_iso_dates_come_back(day: dt.date) -> None:
    assert parse_date(day.isoformat()) == day
    assert parse_date(f"{day}T00:00") == day
    assert parse_date(f"{day}T00:00:00Z") == day
    assert parse_date(day.strftime("%d.%m.%Y"), DateForm("%d.%m.%Y")) == day


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("2019-02-31", "31 February 2019 does not exist"),
        ("2019-02-29", "29 February 2019 does not exist: 2019 is no leap year"),
        ("2019-13-01", "there is no month 13"),
        ("03/04/2019", "may be either way round.*date_format=%d/%m/%Y or %m/%d/%Y"),
        ("13/04/2019", "date_format=%d/%m/%Y$"),
        ("04.13.19", "date_format=%m.%d.%y$"),
        ("2019/04/13", "date_format=%Y/%m/%d$"),
        ("20190413", "date_format=%Y%m%d$"),
        ("43568", "spreadsheet"),
        ("1723-05-01", "outside the years 1850 to 2200"),
        ("5 May", "is not a date.*%d/%m/%Y"),
        ("2019-05-01 noon", "is not a date"),
        ("99/99/2019", "is not a date"),
        ("", "blank"),
    ],
)
def test_dates_that_are_refused(text: str, message: str) -> None:
    with pytest.raises(BadInput, match=message):
        parse_date(text)


def test_a_given_format_is_the_only_one() -> None:
    assert parse_date("03/04/2019", DateForm("%d/%m/%Y")) == dt.date(2019, 4, 3)
    assert parse_date("03/04/2019", DateForm("%m/%d/%Y")) == dt.date(2019, 3, 4)
    with pytest.raises(BadInput, match="does not exist"):
        parse_date("31/02/2019", DateForm("%d/%m/%Y"))
    with pytest.raises(BadInput, match="not a date of the form %d/%m/%Y"):
        parse_date("2019-02-03", DateForm("%d/%m/%Y"))


@pytest.mark.parametrize("text", ["2019-05-01T13:00", "2019-05-01 13:00:00", "2019-05-01T00:30"])
def test_a_time_of_day_is_told_apart(text: str) -> None:
    with pytest.raises(TimeOfDay) as caught:
        parse_date(text)
    assert caught.value.day == dt.date(2019, 5, 1)


def test_date_formats_must_say_the_whole_date() -> None:
    for good in (None, "%d/%m/%Y", "%d %b %y", "%Y-%j", "%m-%d-%Y %H:%M", "%m/%d", "%j", "%b %d"):
        DateForm(good)
    for bad in ("%m", "%Y", "dd/mm/yyyy", "%d/%m/%Q", "%d%d%m%Y", ""):
        with pytest.raises(BadInput) as caught:
            DateForm(bad)
        assert caught.value.problems[0].where == "date_format"


@pytest.mark.parametrize(
    ("text", "form", "season", "latitude", "day"),
    [
        ("5/28", "%m/%d", 2024, 33.0, "2024-05-28"),
        ("29/2", "%d/%m", 2024, 33.0, "2024-02-29"),
        ("149", "%j", 2024, 33.0, "2024-05-28"),
        ("149", "%j", 2023, 33.0, "2023-05-29"),
        ("11/28", "%m/%d", 2024, -33.0, "2023-11-28"),
        ("1/28", "%m/%d", 2024, -33.0, "2024-01-28"),
        ("28 May", "%d %b", 2024, 33.0, "2024-05-28"),
    ],
)
def test_days_without_a_year_take_that_of_their_season(
    text: str, form: str, season: int, latitude: float, day: str
) -> None:
    assert parse_date(text, DateForm(form), year=SeasonYear(season, latitude)).isoformat() == day


@pytest.mark.parametrize(("text", "form"), [("2/29", "%m/%d"), ("366", "%j"), ("13/1", "%m/%d")])
def test_days_that_their_season_does_not_have(text: str, form: str) -> None:
    with pytest.raises(BadInput, match="season 2023"):
        parse_date(text, DateForm(form), year=SeasonYear(2023, 33.0))
    with pytest.raises(BadInput, match="names no season"):
        parse_date(text, DateForm(form))


@pytest.mark.parametrize(
    ("text", "form", "hour"),
    [
        ("05/28/2026 14:00", "%m/%d/%Y", 14),
        ("05/28/2026 2:05 PM", "%m/%d/%Y", 14),
        ("05/28/2026 12:30 am", "%m/%d/%Y", 0),
        ("2026-05-28 9:30", None, 9),
    ],
)
def test_a_time_may_stand_behind_a_date(text: str, form: str | None, hour: int) -> None:
    with pytest.raises(TimeOfDay) as caught:
        parse_date(text, DateForm(form))
    assert (caught.value.day, caught.value.time.hour) == (dt.date(2026, 5, 28), hour)


def test_a_workbook_knows_its_dates() -> None:
    assert parse_date("2019-02-03", DateForm("%d/%m/%Y", iso_too=True)) == dt.date(2019, 2, 3)


def test_slugs() -> None:
    assert slug("Amber Reach") == "amber-reach"
    assert slug("  Été / Nº 7 (Süd) ") == "ete-no-7-sud"
    assert slug("Øst_Ærø Straße") == "ost-aero-strasse"
    for text in ("", "--", "葡萄", "x" * 64):
        with pytest.raises(BadInput):
            slug(text)


@given(st.text(max_size=80))
def test_a_slug_is_a_key_and_its_own_slug(text: str) -> None:
    try:
        key = slug(text)
    except BadInput:
        return
    assert re.fullmatch(r"[a-z0-9][a-z0-9-]{0,62}", key)
    assert slug(key) == key


def test_lines_in_words() -> None:
    assert lines_text([5]) == "line 5"
    assert lines_text([9, 3, 4, 5, 7]) == "lines 3 to 5, 7, 9"
    assert lines_text([3, 4]) == "lines 3, 4"
    assert lines_text(list(range(0, 400, 2))) == "lines 0, 2, 4, 6, 8, 10, 12, 14, and 192 more"


# ISO dates with up to three characters exchanged, and other texts of the same length that are nearly dates
NEARLY_DATES = st.one_of(
    st.tuples(st.dates(dt.date(1800, 1, 1), dt.date(2250, 1, 1)).map(str), st.lists(st.integers(0, 9), max_size=3),
              st.text("0123456789-T:+ .ZNa\N{ARABIC-INDIC DIGIT THREE}", min_size=3, max_size=3)).map(
        lambda each: "".join(each[2][each[1].index(place)] if place in each[1] else character
                             for place, character in enumerate(each[0]))),
    st.sampled_from(["2024-02-30", "2023-02-29", "2024-05T10", "20240517T1", "2024-W01-1", "-2024-05-1", "2024-05-1"]),
)  # fmt: skip


@given(st.lists(NEARLY_DATES, min_size=1, max_size=2), st.booleans())
def test_days_that_are_read_together_are_those_of_one_by_one(texts: list[str], iso_too: bool) -> None:
    form = DateForm("%d.%m.%Y", iso_too=True) if iso_too else DateForm()
    days = plain_days(texts, form)
    if days is not None:
        assert days.tolist() == [parse_date(text, form) for text in texts]
    assert plain_days(["2024-02-29", "1999-12-31"], form) is not None
    assert plain_days(["2024-02-29"], DateForm("%d.%m.%Y")) is None
