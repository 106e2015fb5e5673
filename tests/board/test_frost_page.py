"""Frost by page: blocks marked, unmarked and undone; limits and cold air in the units of the page."""

from __future__ import annotations

from fastapi.testclient import TestClient
from httpx2 import Response

import demo_weather

BOARD = f"/vineyards/{demo_weather.VINEYARD.key}"
API = f"/v1{BOARD}"


def sent(client: TestClient, path: str, told: dict[str, str | list[str]]) -> Response:
    answer = client.post(BOARD + path, data=told, follow_redirects=False)
    assert isinstance(answer, Response)
    return answer


def test_a_night_of_frost_is_told_for_several_blocks_taken_away_and_undone(demo_client: TestClient) -> None:
    empty = demo_client.get(f"{BOARD}/frost").text
    assert "No block is marked" in empty
    told: dict[str, str | list[str]] = {
        "blocks": ["west-3", "west-4"],
        "night": "2026-03-20",
        "percent_killed": "40 %",
    }
    stored = sent(demo_client, "/frost", told)
    assert stored.status_code == 303, stored.text
    marks = demo_client.get(f"{API}/frost").json()["frosted"]
    assert [(each["block"], each["season"], each["night"], each["share_killed"]) for each in marks] == [
        ("west-3", 2026, "2026-03-20", 0.4),
        ("west-4", 2026, "2026-03-20", 0.4),
    ]
    page = demo_client.get(stored.headers["location"]).text
    assert "night of 20 March, 40 % of its shoots" in page
    assert f'action="/changes/{stored.headers["capfall-change"]}/undo"' in page
    season = demo_client.get(BOARD, params={"as_of": "2026-05-20"}).text
    assert "60 % of its shoots left" in season
    gone = sent(demo_client, "/frost/remove", {"block": "west-4", "season": "2026"})
    assert [each["block"] for each in demo_client.get(f"{API}/frost").json()["frosted"]] == ["west-3"]
    for written in (gone, stored):
        demo_client.post(f"/changes/{written.headers['capfall-change']}/undo", data={"back": BOARD})
    assert demo_client.get(f"{API}/frost").json()["frosted"] == []


def test_what_cannot_be_is_refused(demo_client: TestClient) -> None:
    for told, said in (
        ({"blocks": []}, "no block is chosen"),
        ({"blocks": ["west-3"], "percent_killed": "0"}, "leave the block unmarked"),
        ({"blocks": ["west-3"], "percent_killed": "120"}, "outside 0 to 100"),
        ({"blocks": ["nowhere"]}, "nowhere"),
    ):
        answer = sent(demo_client, "/frost", told)  # type: ignore[arg-type]
        assert answer.status_code in (404, 422)
        assert said.lower() in answer.text.lower()
    assert "say whose limits" in sent(demo_client, "/frost/limits", {"budbreak": "-2"}).text
    assert "outside -20 to 10" in sent(demo_client, "/frost/limits", {"budbreak": "28", "source": "x"}).text


def test_limits_and_cold_air_in_fahrenheit(demo_client: TestClient) -> None:
    told: dict[str, str | list[str]] = {
        "unit": "us",
        "budbreak": "28",
        "bloom_start": "31.1",
        "source": "our sheet on bunch grapes",
        "colder": "3.6",
    }
    stored = sent(demo_client, "/frost/limits", told)
    known = demo_client.get(API).json()
    assert known["colder_than_station_c"] == 2.0
    limits = known["frost_limits"]["limits_c"]
    assert {key: round(limit, 9) for key, limit in limits.items()} == {
        "budbreak": -2.222222222,
        "bloom_start": -0.5,
    }
    page = demo_client.get(f"{BOARD}/frost", params={"units": "us"}).text
    for said in ('name="budbreak" inputmode="text" maxlength="10" value="28"', 'value="31.1"', 'value="3.6"'):
        assert said in page
    season = demo_client.get(BOARD, params={"as_of": "2026-03-10", "units": "us"}).text
    assert "chance of a night at or below 31 °F from bloom start until bloom end" in season
    assert "our sheet on bunch grapes" in season
    demo_client.post(f"/changes/{stored.headers['capfall-change']}/undo", data={"back": BOARD})
    assert demo_client.get(API).json()["frost_limits"] is None


def test_a_blocks_own_cold_air_is_kept_by_its_form(demo_client: TestClient) -> None:
    block = demo_client.get(f"{API}/blocks/west-1").json()
    told = {"block": "west-1", "name": "west-1", "cultivar": block["cultivar"], "colder": "1.5"}
    assert sent(demo_client, "/block", told).status_code == 303
    assert demo_client.get(f"{API}/blocks/west-1").json()["colder_than_station_c"] == 1.5
    assert 'name="colder" inputmode="text" value="1.5"' in demo_client.get(f"{BOARD}/block?block=west-1").text
