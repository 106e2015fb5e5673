"""Crop counts over HTTP and by page: taken, shown, undone, told without a rule, and struck off the scouting plan."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

import demo_weather
from tests.api.asking import VINEYARD, assert_problem, put_vineyard, send_csv

COUNTS = f"{VINEYARD}/crop-counts"
PAGE = "/vineyards/hollow/crop"
HEADER = "date,block,cane,clusters\n"
ROWS = "2025-06-25,b1,1,12\n2025-06-25,b1,2,18\n2025-06-25,b1,3,15\n"
DEMO = f"/v1/vineyards/{demo_weather.VINEYARD.key}"


def shown(client: TestClient) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = client.get(COUNTS).json()["crop_counts"]
    return found


def test_counts_from_a_file_become_clusters_a_cane_and_no_verdict(client: TestClient) -> None:
    put_vineyard(client)
    receipt = send_csv(client, COUNTS, HEADER + ROWS)
    assert receipt.status_code == 200, receipt.text
    answer = client.get(f"{VINEYARD}/crop").json()
    (block,) = answer["blocks"]
    assert (block["season"], block["canes"], block["mean"], block["least"], block["most"]) == (
        2025,
        3,
        15.0,
        12,
        18,
    )
    # mean 15, standard deviation 3 of three canes; 90 % t of 2 degrees of freedom is 2.920 (any table)
    assert block["high"] == pytest.approx(15 + 2.920 * 3 / 3**0.5, abs=0.01)
    assert block["low"] == pytest.approx(15 - 2.920 * 3 / 3**0.5, abs=0.01)
    assert "ask the local extension office" in answer["ask"]
    assert any("thinning by hand" in each and "second-hand" in each for each in answer["to_try"])
    text = client.get(f"{VINEYARD}/crop", headers={"Accept": "text/csv"}).text
    assert text.splitlines()[1].startswith("2025,b1,2025-06-25,3,15.0,")


def test_counts_go_out_as_csv_and_in_again_and_are_undone(client: TestClient) -> None:
    put_vineyard(client)
    change = send_csv(client, COUNTS, HEADER + ROWS).headers["Capfall-Change"]
    text = client.get(COUNTS, headers={"Accept": "text/csv"}).text
    assert send_csv(client, COUNTS, text.replace(",count", ",note")).json()["rows_unchanged"] == 3
    first = shown(client)[0]
    replaced = client.post(COUNTS, json=[{"date": first["date"], "block": "b1", "cane": "1", "clusters": 13}])
    assert replaced.json()["rows_replaced"] == 1
    assert shown(client)[0] == {**first, "clusters": 13}
    deleted = client.delete(f"{COUNTS}/{first['count']}")
    assert deleted.json()["written"] == {"crop counts deleted": 1}
    for each in (deleted.headers["Capfall-Change"], replaced.headers["Capfall-Change"]):
        assert client.post(f"/v1/changes/{each}/undo").status_code == 200
    assert shown(client)[0] == first
    assert client.post(f"/v1/changes/{change}/undo").status_code == 200
    assert shown(client) == []


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("2025-06-25,b9,1,12", "b9"),
        ("2025-06-25,b1,,12", "cane"),
        ("2025-06-25,b1,1,", "clusters"),
        ("2025-06-25,b1,1,many", "clusters"),
        ("2099-06-25,b1,1,12", "2099"),
        ("2025-06-25,b1,1,12\n2025-06-25,b1,1,13", "cane 1"),
    ],
)
def test_a_count_that_cannot_be_is_named_by_its_line(client: TestClient, row: str, said: str) -> None:
    put_vineyard(client)
    assert_problem(send_csv(client, COUNTS, f"{HEADER}{row}\n"), 422, said)
    assert shown(client) == []


def test_a_count_that_contradicts_another_is_refused(client: TestClient) -> None:
    put_vineyard(client)
    one = {"date": "2025-06-25", "block": "b1", "cane": "1", "clusters": 5}
    assert_problem(client.post(COUNTS, json=[one, {**one, "clusters": 6}]), 422, "body.1")
    assert_problem(client.delete(f"{COUNTS}/nothing"), 404, "crop count")


def test_a_cane_typed_in_the_row_is_shown_deleted_and_undone(client: TestClient) -> None:
    put_vineyard(client)
    told = {"block": "b1", "date": "2025-06-25", "cane": "1", "clusters": "14"}
    stored = client.post(PAGE, data=told, follow_redirects=False)
    assert stored.status_code == 303
    page = client.get(stored.headers["location"]).text
    assert "14.0 clusters a cane, of one cane" in page
    assert "ask the local extension office" in page
    assert f'action="/changes/{stored.headers["capfall-change"]}/undo"' in page
    (count,) = shown(client)
    gone = client.post(f"{PAGE}/{count['count']}/delete", follow_redirects=False)
    assert shown(client) == []
    client.post(f"/changes/{gone.headers['capfall-change']}/undo", data={"back": PAGE})
    assert len(shown(client)) == 1
    assert client.post(PAGE, data={**told, "clusters": "some"}).status_code == 422


def test_what_was_counted_is_struck_off_the_scouting_plan(demo_client: TestClient) -> None:
    def planned(as_of: str) -> set[str]:
        plan = demo_client.get(f"{DEMO}/scouting", params={"as_of": as_of}).json()
        trips = [task for trip in plan["trips"] for task in trip["tasks"]]
        return {task["task"] for task in [*trips, *plan["missed"]] if task["block"] == "west-2"}

    assert {"flower_count", "set_count", "crop_load"} <= planned("2026-05-10")
    flowers = {"date": "2026-05-08", "block": "west-2", "cluster": "1", "flowers": 50}
    assert demo_client.post(f"{DEMO}/set-counts", json=[flowers]).is_success
    after = planned("2026-05-10")
    assert "flower_count" not in after
    assert {"set_count", "crop_load"} <= after
    assert "flower_count" in planned("2026-05-07")  # nobody had counted by then
    later = "confirm=dates"
    berries = {"date": "2026-06-20", "block": "west-2", "cluster": "1", "berries": 15}
    assert demo_client.post(f"{DEMO}/set-counts?{later}", json=[berries]).is_success
    canes = {"date": "2026-06-21", "block": "west-2", "cane": "1", "clusters": 12}
    assert demo_client.post(f"{DEMO}/crop-counts?{later}", json=[canes]).is_success
    assert not planned("2026-06-21") & {"set_count", "crop_load"}
    assert "crop_load" in planned("2026-06-20")
