"""Season labels and windows on both sides of the equator, leap years included."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import BadInput
from models.heat.season import SeasonWindow, season_of, season_window

NORTH, EQUATOR, SOUTH = 31.0, 0.0, -34.0


@pytest.mark.parametrize(
    ("date", "latitude", "season"),
    [
        (dt.date(2024, 1, 1), NORTH, 2024),
        (dt.date(2024, 12, 31), NORTH, 2024),
        (dt.date(2024, 12, 31), EQUATOR, 2024),
        (dt.date(2024, 6, 30), SOUTH, 2024),
        (dt.date(2024, 7, 1), SOUTH, 2025),
        (dt.date(2024, 12, 31), SOUTH, 2025),
        (dt.date(2025, 1, 1), SOUTH, 2025),
    ],
)
def test_season_labels(date: dt.date, latitude: float, season: int) -> None:
    assert season_of(date, latitude) == season


@pytest.mark.parametrize(
    ("latitude", "accumulate_from", "start", "end", "days"),
    [
        (NORTH, None, dt.date(2024, 1, 1), dt.date(2025, 1, 1), 366),
        (NORTH, "03-01", dt.date(2024, 3, 1), dt.date(2025, 1, 1), 306),
        (NORTH, "06-30", dt.date(2024, 6, 30), dt.date(2025, 1, 1), 185),
        (NORTH, "07-01", dt.date(2023, 7, 1), dt.date(2025, 1, 1), 550),
        (NORTH, "11-15", dt.date(2023, 11, 15), dt.date(2025, 1, 1), 413),
        (SOUTH, None, dt.date(2023, 7, 1), dt.date(2024, 7, 1), 366),
        (SOUTH, "09-01", dt.date(2023, 9, 1), dt.date(2024, 7, 1), 304),
        (SOUTH, "02-01", dt.date(2024, 2, 1), dt.date(2024, 7, 1), 151),
    ],
)
def test_windows_of_a_leap_season(
    latitude: float, accumulate_from: str | None, start: dt.date, end: dt.date, days: int
) -> None:
    window = season_window(2024, latitude, accumulate_from)
    assert window == SeasonWindow(start, end)
    assert window.days == days


def test_windows_of_a_common_season() -> None:
    assert season_window(2023, NORTH).days == 365
    assert season_window(2023, SOUTH).days == 365
    assert season_window(2025, SOUTH).days == 365  # 29 February 2024 lies in the southern season of 2024


@given(date=st.dates(dt.date(1850, 1, 1), dt.date(2150, 12, 31)), latitude=st.sampled_from([NORTH, SOUTH]))
def test_default_windows_hold_each_date_exactly_once(date: dt.date, latitude: float) -> None:
    season = season_of(date, latitude)
    window = season_window(season, latitude)
    assert window.start <= date < window.end
    assert window.date_at(window.day_index(date)) == date
    assert window.end == season_window(season + 1, latitude).start


def test_day_index_counts_leap_days() -> None:
    window = season_window(2024, NORTH)
    assert window.day_index(dt.date(2024, 1, 1)) == 0
    assert window.day_index(dt.date(2024, 3, 1)) == 60
    assert season_window(2023, NORTH).day_index(dt.date(2023, 3, 1)) == 59
    assert window.day_index(dt.date(2023, 12, 30)) == -2
    assert window.date_at(59) == dt.date(2024, 2, 29)


@pytest.mark.parametrize("accumulate_from", ["02-29", "13-01", "03", "March 1", "03-01-05"])
def test_start_days_that_no_season_has(accumulate_from: str) -> None:
    with pytest.raises(BadInput, match="start day") as refused:
        season_window(2024, NORTH, accumulate_from)
    assert refused.value.problems[0].where == "accumulate_from"


@pytest.mark.parametrize("season", [-3, 1, 9999, 99999])
def test_seasons_off_the_calendar(season: int) -> None:
    with pytest.raises(BadInput, match="season cannot be read"):
        season_window(season, SOUTH)
