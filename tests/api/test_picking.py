"""Harvest from a log to the calendar and to days of picking."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from fastapi.testclient import TestClient

import demo_weather
from tests.api import past_seasons as past
from tests.api.asking import VINEYARD, assert_problem
from tests.conftest import client_of

AS_OF = {"as_of": f"{past.THIS_SEASON}-05-01"}
STAGES = ["bloom_start", "full_bloom", "bloom_end", "harvest"]


@pytest.fixture(scope="module")
def grower(migrated_database: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """Twelve seasons of a log, with harvest a hundred days after bloom start."""
    copy = tmp_path_factory.mktemp("picking") / "capfall.db"
    copy.write_bytes(migrated_database.read_bytes())
    with client_of(copy) as client:
        past.plant(client)
        days = past.days_of(past.block_heats(np.random.default_rng(4), between_seasons=20.0, within=15.0))
        lines = [
            f"{season},{block},{','.join(map(str, [*dates, dates[0] + dt.timedelta(days=100)]))}"
            for (season, block), dates in days.items()
            if season in past.SEASONS
        ]
        past.send(client, "bloom-log", "\n".join([f"season,block,{','.join(STAGES)}", *lines]) + "\n")
        told = client.post("/v1/fits", json={"stages": STAGES, "heat": past.HEAT, "vineyards": ["hollow"]})
        assert told.status_code == 201, told.text
        yield client


def test_blocks_are_picked_in_the_order_of_their_harvest(grower: TestClient) -> None:
    forecast = grower.get(f"{VINEYARD}/forecast", params=AS_OF).json()
    ripe = {each["block"]: each["stages"]["harvest"]["median"] for each in forecast["blocks"]}
    vines = {each["block"]: each["vines"] for each in grower.get(f"{VINEYARD}/blocks").json()["blocks"]}
    answer = grower.get(f"{VINEYARD}/picking", params={**AS_OF, "vines_a_day": 0.5}).json()
    assert [each["block"] for each in answer["blocks"]] == sorted(
        ripe, key=lambda block: (ripe[block], block)
    )
    assert answer["not_known"] == []
    assert "Taste and measure" in answer["said"]
    for each in answer["blocks"]:
        assert each["harvest"]["median"] == ripe[each["block"]] <= each["first"] <= each["last"]
        assert each["days"] == 2 * vines[each["block"]]
    for one, other in zip(answer["blocks"], answer["blocks"][1:], strict=False):
        assert other["first"] >= one["last"]
    page = grower.get("/vineyards/hollow/picking", params={**AS_OF, "vines_a_day": "0.5"}).text
    assert page.index('<th scope="row">a</th>') < page.index('<th scope="row">d</th>')
    assert_problem(grower.get(f"{VINEYARD}/picking", params={**AS_OF, "vines_a_day": 0}), 422, "vines_a_day")
    assert grower.get("/vineyards/hollow/picking", params={"vines_a_day": "0"}).status_code == 422


def test_harvest_stands_in_the_calendar(grower: TestClient) -> None:
    forecast = grower.get(f"{VINEYARD}/forecast", params=AS_OF).json()
    (told,) = [each for each in forecast["blocks"] if each["block"] == "a"]
    day = told["stages"]["harvest"]["median"].replace("-", "")
    feed = grower.get(f"{VINEYARD}/calendar.ics", params=AS_OF).text.replace("\r\n ", "")
    (event,) = [each for each in feed.split("BEGIN:VEVENT") if ": harvest" in each and "lock a " in each]
    assert f"DTSTART;VALUE=DATE:{day}" in event
    assert "Taste and measure before you pick" in event


def test_a_walk_before_harvest_is_planned(grower: TestClient) -> None:
    forecast = grower.get(f"{VINEYARD}/forecast", params=AS_OF).json()
    ripe = {each["block"]: each["stages"]["harvest"]["median"] for each in forecast["blocks"]}
    plan = grower.get(f"{VINEYARD}/scouting", params=AS_OF).json()
    found = {
        task["block"]: trip["date"]
        for trip in plan["trips"]
        for task in trip["tasks"]
        if task["task"] == "ripeness"
    }
    assert found.keys() == ripe.keys()
    for block, day in found.items():
        before = dt.date.fromisoformat(ripe[block]) - dt.date.fromisoformat(day)
        assert dt.timedelta(days=-5) <= before <= dt.timedelta(days=15)


def test_a_fit_without_harvest_says_what_lacks(demo_client: TestClient) -> None:
    vineyard = f"/v1/vineyards/{demo_weather.VINEYARD.key}"
    answer = demo_client.get(f"{vineyard}/picking?vines_a_day=100&as_of=2026-05-20").json()
    assert answer["blocks"] == []
    assert all("the fit does not know harvest" in each["why"] for each in answer["not_known"])
    page = demo_client.get(
        f"/vineyards/{demo_weather.VINEYARD.key}/picking?vines_a_day=100&as_of=2026-05-20"
    ).text
    assert "the fit does not know harvest" in page
    assert ": harvest" not in demo_client.get(f"{vineyard}/calendar.ics?as_of=2026-05-20").text
