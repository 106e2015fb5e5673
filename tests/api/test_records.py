"""What is put comes back, PUT is idempotent, and a correction takes the old value's place."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.api.asking import STATION, VINEYARD, put_vineyard, send_csv

BODIES: dict[str, dict[str, Any]] = {
    STATION: {"name": "Hollow gauge", "latitude": -33.5, "longitude": 150.0, "elevation_m": None},
    "/v1/cultivars/sedge-anchor": {
        "name": "Sedge Anchor, late;\nsecond line",
        "species": None,
        "flower_type": "staminate",
        "viable_pollen": False,
        "berry_mass_g": None,
    },
    VINEYARD: {"name": "Hollow", "station": None, "reach_m": 0.0, "receptive_days": 4, "pollen_days": 1},
}


@pytest.mark.parametrize("path", BODIES)
def test_put_get_replace_delete(client: TestClient, path: str) -> None:
    body = BODIES[path]
    created = client.put(path, json=body)
    assert created.status_code == 201
    shown = client.get(path).json()
    assert body.items() <= shown.items()
    assert created.json() == shown
    again = client.put(path, json=body)
    assert (again.status_code, again.json()) == (200, shown)
    replaced = client.put(path, json={**body, "name": "Another"})
    assert (replaced.status_code, replaced.json()["name"]) == (200, "Another")
    listed = client.get(path.rpartition("/")[0]).json()
    assert listed.pop("next") is None
    assert list(listed.values()) == [[replaced.json()]]
    gone = client.delete(path)
    assert (gone.status_code, gone.json()["rows"]) == (200, 1)
    assert client.get(path).status_code == 404


def test_blocks(client: TestClient) -> None:
    put_vineyard(client)
    path = f"{VINEYARD}/blocks/b3"
    body = {
        "cultivar": "thimble-ash",
        "x_m": 1.5,
        "y_m": -2.0,
        "vines": 3,
        "neighbours": ["b2", "b1", "b2"],
    }
    created = client.put(path, json=body)
    expected = {
        **body,
        "block": "b3",
        "neighbours": ["b2", "b1"],
        "x2_m": None,
        "y2_m": None,
        "colder_than_station_c": None,
    }
    assert (created.status_code, created.json()) == (201, expected)
    assert client.put(path, json=body).status_code == 200
    assert client.get(path).json() == expected
    assert [block["block"] for block in client.get(f"{VINEYARD}/blocks").json()["blocks"]] == [
        "b1",
        "b2",
        "b3",
    ]
    assert client.delete(path).json()["written"] == {"blocks deleted": 1}


@pytest.mark.parametrize(
    ("flower_type", "viable"), [("pistillate", False), ("perfect", True), ("staminate", True)]
)
def test_pollen_follows_the_flower_type(client: TestClient, flower_type: str, viable: bool) -> None:
    body = {"name": "Sedge Anchor", "flower_type": flower_type}
    assert client.put("/v1/cultivars/sedge-anchor", json=body).json()["viable_pollen"] is viable


def test_a_planting_keeps_what_it_does_not_say_and_tells_what_it_changes(client: TestClient) -> None:
    known = {
        "name": "Thimble Ash (old row)",
        "species": "Vitis rotundifolia",
        "flower_type": "perfect",
        "berry_mass_g": 8.0,
    }
    client.put("/v1/cultivars/thimble-ash", json=known)
    put_vineyard(client)
    cultivar = client.get("/v1/cultivars/thimble-ash").json()
    kept = {name: known[name] for name in ("name", "species", "berry_mass_g")}
    assert kept.items() <= cultivar.items()
    assert cultivar["flower_type"] == "pistillate"
    text = "block,cultivar,flower_type,x_m,y_m\nb1,Thimble Ash,perfect,0,0\nb2,Loam Whistle,perfect,6,0\n"
    receipt = send_csv(client, f"{VINEYARD}/planting", text).json()
    assert receipt["cultivars_replaced"] == ["thimble-ash"]
    assert any("flower_type was pistillate and is now perfect" in text for text in receipt["warnings"])
    again = send_csv(client, f"{VINEYARD}/planting", text).json()
    assert (again["blocks_unchanged"], again["cultivars_replaced"], again["warnings"]) == (2, [], [])


def test_a_corrected_temperature_takes_the_place_of_the_old_one(client: TestClient) -> None:
    put_vineyard(client)
    path = f"{STATION}/temperatures"
    assert client.get(path).json() == {"station": "hollow-gauge", "unit": "C", "days": []}
    first = "date,tmin_c,tmax_c\n2025-05-01,11.5,24\n2025-05-03,12,25\n"
    assert send_csv(client, path, first).json()["gaps"] == [
        {"from": "2025-05-02", "to": "2025-05-02", "days": 1}
    ]
    second = "date,tmin_c,tmax_c\n2025-05-01,11.5,24.0\n2025-05-03,10,25\n"
    receipt = send_csv(client, path, second).json()
    assert (receipt["rows_stored"], receipt["rows_replaced"], receipt["rows_unchanged"]) == (0, 1, 1)
    assert client.get(path, params={"from": "2025-05-02", "units": "us"}).json() == {
        "station": "hollow-gauge",
        "unit": "F",
        "days": [
            {"date": "2025-05-02", "tmin": None, "tmax": None},
            {"date": "2025-05-03", "tmin": 50.0, "tmax": 77.0},
        ],
    }


@pytest.mark.parametrize("units", ["metric", "us"])
def test_temperatures_come_back_as_a_file_that_can_be_sent_again(client: TestClient, units: str) -> None:
    put_vineyard(client)
    path = f"{STATION}/temperatures"
    sent = "date,tmin_c,tmax_c\n2025-05-01,11.5,24\n2025-05-02,,\n2025-05-03,12.2,25.3\n"
    send_csv(client, path, sent)
    answer = client.get(path, params={"units": units}, headers={"Accept": "text/csv"})
    assert answer.headers["content-type"].startswith("text/csv")
    if units == "metric":
        assert answer.text == sent
    assert send_csv(client, path, answer.text).json()["first_date"] == "2025-05-01"


def test_observations_come_back_and_are_corrected(client: TestClient) -> None:
    put_vineyard(client)
    log = "season,cultivar,bloom_start,full_bloom\n2025,Thimble Ash,2025-05-12,\n"
    assert send_csv(client, f"{VINEYARD}/bloom-log", log).json()["rows_stored"] == 1
    log = "season,cultivar,bloom_start,full_bloom\n2025,Thimble Ash,2025-05-13,2025-05-18\n"
    assert send_csv(client, f"{VINEYARD}/bloom-log", log).json()["rows_replaced"] == 1
    assert client.get(f"{VINEYARD}/bloom-log").json()["rows"] == [
        {
            "season": 2025,
            "cultivar": "thimble-ash",
            "block": None,
            "dates": {"bloom_start": "2025-05-13", "full_bloom": "2025-05-18"},
            "checked_every_days": 1,
        }
    ]
    look = {"date": "2025-05-14", "block": "b2", "percent_open": 30}
    assert client.post(f"{VINEYARD}/visits", json=[look, look]).json()["rows_stored"] == 1
    text = "date,block,percent_open\n2025-05-14,b2,35\n"
    assert send_csv(client, f"{VINEYARD}/visits", text).json()["rows_replaced"] == 1
    (visit,) = client.get(f"{VINEYARD}/visits").json()["visits"]
    assert (visit["cultivar"], visit["percent_open"]) == ("loam-whistle", 35.0)


def test_many_at_once(client: TestClient) -> None:
    put_vineyard(client)

    def write_and_read(day: int) -> int:
        text = f"date,tmin_c,tmax_c\n2025-05-{day:02d},11,24\n"
        assert send_csv(client, f"{STATION}/temperatures", text).status_code == 200
        return client.get(f"{STATION}/temperatures").status_code

    with ThreadPoolExecutor(8) as pool:
        assert set(pool.map(write_and_read, range(1, 25))) == {200}
    days = client.get(f"{STATION}/temperatures").json()["days"]
    assert [day["tmin"] for day in days] == [11.0] * 24
