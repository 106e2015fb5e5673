"""Every exit carries the cautions that hold for it, in the same words."""

from __future__ import annotations

import html

import pytest
from fastapi.testclient import TestClient

import demo_weather
from tests.api.asking import send_csv

VINEYARD = f"/v1/vineyards/{demo_weather.VINEYARD.key}"
TEMPERATURES = f"/v1/stations/{demo_weather.STATION.key}/temperatures"
AFTER_A_FROST_NIGHT = {"as_of": "2026-05-20"}
POLLEN = ("receptive for 3 days", "Pollen is taken to reach")
DATES = ("local extension office", "damage muscadine", "secondary buds")


@pytest.fixture
def frosty(demo_client: TestClient) -> TestClient:
    """The demo with a frost night after budbreak."""
    assert send_csv(demo_client, TEMPERATURES, "date,tmin_c,tmax_c\n2026-04-20,-2.5,9\n").status_code == 200
    return demo_client


def cautions(client: TestClient, route: str) -> list[str]:
    told: list[str] = client.get(f"{VINEYARD}/{route}", params=AFTER_A_FROST_NIGHT).json()["cautions"]
    return told


def test_all_that_tells_of_dates_tells_the_same_of_them(frosty: TestClient) -> None:
    forecast, pollination = cautions(frosty, "forecast"), cautions(frosty, "pollination")
    assert cautions(frosty, "scouting") == forecast
    for words in DATES:
        assert any(words in caution for caution in forecast), words
    of_pollen = [caution for caution in pollination if caution not in forecast]
    assert [caution for caution in pollination if caution in forecast] == forecast
    for words in POLLEN:
        assert any(words in caution for caution in of_pollen), words


def test_page_and_calendar_carry_those_of_dates_and_pollen(frosty: TestClient) -> None:
    told = cautions(frosty, "pollination")
    page = html.unescape(
        frosty.get(f"/vineyards/{demo_weather.VINEYARD.key}", params=AFTER_A_FROST_NIGHT).text
    )
    stream = frosty.get(f"{VINEYARD}/calendar.ics", params=AFTER_A_FROST_NIGHT).text
    unfolded = stream.replace("\r\n ", "").replace("\\,", ",").replace("\\;", ";")
    for caution in told:
        assert caution in page
        assert caution in unfolded


def test_a_planting_check_tells_of_layouts_and_of_no_dates(demo_client: TestClient) -> None:
    told = demo_client.get(f"{VINEYARD}/planting-check").json()["cautions"]
    assert any("published layouts disagree" in caution for caution in told)
    assert any("is an assumption" in caution for caution in told)
    assert not any(words in caution for words in DATES for caution in told)
