"""A vineyard that cannot be forecast yet says what it lacks, and what is known already."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from tests.conftest import client_of

CSV = {"content-type": "text/csv"}
DAY = "as_of=2026-05-20"


@pytest.fixture
def client(own_database: Path) -> Iterator[TestClient]:
    with client_of(own_database) as asked:
        place = {"name": "Mast", "latitude": 31.0, "longitude": -87.0}
        assert asked.put("/v1/stations/mast", json=place).is_success
        assert asked.put("/v1/vineyards/new", json={"name": "New", "station": "mast"}).is_success
        yield asked


def put(client: TestClient, what: str, content: str) -> None:
    assert client.post(f"/v1/vineyards/new/{what}", content=content, headers=CSV).is_success


def test_nothing_at_all(client: TestClient) -> None:
    page = client.get(f"/vineyards/new?{DAY}").text
    assert page.count("<b>Lacking</b>") == 4
    assert "Temperatures: none yet" in page
    assert "none in the log, 0 visits" in page
    assert 'href="/vineyards/new/planting">Add blocks</a>' in page
    assert "Usual dates" not in page


def test_a_log_without_weather_tells_the_usual_dates_and_who_has_no_source(client: TestClient) -> None:
    put(
        client,
        "planting",
        "block,cultivar,flower_type,x_m,y_m\na,Fern Ladder,pistillate,0,0\nb,Dusk Reed,perfect,90,0\n",
    )
    put(
        client,
        "bloom-log",
        "season,block,bloom_start\n2023,a,2023-05-10\n2024,a,2024-05-14\n2025,a,2025-05-11\n",
    )
    page = client.get(f"/vineyards/new?{DAY}").text
    assert page.count("<b>Lacking</b>") == 2
    assert "3 in the log, 0 visits" in page
    # days 129, 134 (of a leap year) and 130 of their years: the median is 11 May in a year of 365 days
    assert "<td>bloom start</td><td>11 May</td><td>10 May</td><td>15 May</td><td>3</td>" in page
    assert "No viable pollen source stands in reach of a" in page


def test_one_season_says_that_it_is_one(client: TestClient) -> None:
    put(client, "planting", "block,cultivar,flower_type,x_m,y_m\nb,Dusk Reed,perfect,90,0\n")
    put(client, "bloom-log", "season,block,bloom_start\n2025,b,2025-05-10\n")
    page = client.get(f"/vineyards/new?{DAY}").text
    assert "One season alone cannot tell a late block from a late year" in page
    assert "Every pistillate block has a viable pollen source in reach" in page


def test_units_are_remembered_on_the_device(client: TestClient) -> None:
    reach = 'name="reach" required inputmode="decimal" value="{}"'
    assert reach.format("15.24") in client.get("/vineyards/new/settings").text
    assert reach.format("50") in client.get("/vineyards/new/settings?units=us").text
    assert reach.format("50") in client.get("/vineyards/new/settings").text
    assert reach.format("15.24") in client.get("/vineyards/new/settings?units=metric").text
    assert client.get("/vineyards/new/settings?units=ells").status_code == 422
