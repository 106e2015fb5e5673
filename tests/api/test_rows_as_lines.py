"""Rows as lines over HTTP: from a file or a body to cover, map, CSV, and back by undo."""

from __future__ import annotations

import re
from typing import Any

from fastapi.testclient import TestClient

import demo_weather
from tests.api.asking import VINEYARD, assert_problem, put_vineyard, send_csv

SPACING = {"row_spacing_m": "4", "vine_spacing_m": "6"}
ROWS = (
    "row,first_vine,last_vine,cultivar\n"
    "1,1,10,Thimble Ash\n"
    "1,11,12,Loam Whistle\n"  # beside the end of the first row: 15.24 m reach its last two vines
    "5,1,12,Thimble Ash\n"  # 16 m away
)
DEMO = f"/v1/vineyards/{demo_weather.VINEYARD.key}"


def test_rows_become_lines_that_come_back_as_json_and_csv(client: TestClient) -> None:
    put_vineyard(client)
    receipt = send_csv(client, f"{VINEYARD}/planting", ROWS, **SPACING)
    assert receipt.status_code == 200, receipt.text
    line = client.get(f"{VINEYARD}/blocks/row-1-vine-1-10").json()
    ends = [line[name] for name in ("x_m", "y_m", "x2_m", "y2_m", "vines")]
    assert ends == [0.0, 0.0, 54.0, 0.0, 10]
    csv = client.get(f"{VINEYARD}/blocks", headers={"Accept": "text/csv"}).text.splitlines()
    assert csv[0] == "block,cultivar,x_m,y_m,vines,neighbours,x2_m,y2_m,colder_than_station_c"
    assert "row-1-vine-1-10,thimble-ash,0.0,0.0,10,,54.0,0.0," in csv
    check = client.get(f"{VINEYARD}/planting-check").json()  # needs no weather and no fit
    assert (check["pistillate_vines"], check["source_vines"]) == (22, 2)
    assert check["share_in_reach"] == round(2 / 22, 3)
    of_block = {block["block"]: block for block in check["blocks"]}
    assert of_block["row-1-vine-1-10"]["vines_in_reach"] == 2
    assert of_block["row-5-vine-1-12"]["vines_in_reach"] == 0


def test_ends_in_a_planting_file_and_in_a_body(client: TestClient) -> None:
    put_vineyard(client)
    file = "block,cultivar,flower_type,vines,x1_m,y1_m,x2_m,y2_m\nlong,Thimble Ash,pistillate,10,0,0,54,0\n"
    assert send_csv(client, f"{VINEYARD}/planting", file).status_code == 200
    by_file = client.get(f"{VINEYARD}/blocks/long").json()
    body = {"cultivar": "thimble-ash", "x_m": 0, "y_m": 0, "x2_m": 54, "y2_m": 0, "vines": 10}
    assert client.put(f"{VINEYARD}/blocks/short", json=body).json() == by_file | {"block": "short"}
    moved = client.patch(f"{VINEYARD}/blocks/short", json={"x2_m": 90})
    assert (moved.json()["x2_m"], moved.json()["vines"]) == (90, 10)
    path = f"{VINEYARD}/blocks/short"
    assert_problem(client.put(path, json=body | {"y2_m": None}), 422, "body.y2_m")
    assert_problem(client.put(path, json=body | {"vines": 1}), 422, "body.vines", "not 1")
    assert_problem(client.patch(path, json={"x2_m": None}), 422, "body.x2_m")
    assert client.get(path).json() == moved.json()
    point = client.patch(path, json={"x2_m": None, "y2_m": None}).json()
    assert (point["x2_m"], point["y2_m"], point["vines"]) == (None, None, 10)
    change = client.patch(path, json={"vines": 11}).headers["Capfall-Change"]
    client.patch(path, json={"x2_m": 30, "y2_m": 40})
    assert client.post(f"/v1/changes/{change}/undo").status_code == 409  # a later change wrote the same row


def test_undo_brings_the_line_back(client: TestClient) -> None:
    put_vineyard(client)
    path = f"{VINEYARD}/blocks/long"
    body = {"cultivar": "thimble-ash", "x_m": 0, "y_m": 0, "x2_m": 54, "y2_m": 0, "vines": 10}
    stored = client.put(path, json=body).json()
    change = client.put(path, json={"cultivar": "thimble-ash", "x_m": 1, "y_m": 2}).headers["Capfall-Change"]
    assert client.get(path).json()["x2_m"] is None
    assert client.post(f"/v1/changes/{change}/undo").status_code == 200
    assert client.get(path).json() == stored


def test_cover_of_a_row_counts_the_vines_in_reach(demo_client: TestClient) -> None:
    """The demo's west-2, drawn out from where it stands: of ten vines the first three stay in reach of a source."""
    before = pollen(demo_client, "west-2")
    block = demo_client.get(f"{DEMO}/blocks/west-2").json()
    source = demo_client.get(f"{DEMO}/blocks/{before['sources'][0]['block']}").json()
    far = {"x2_m": source["x_m"], "y2_m": source["y_m"] + 99.0}
    line = {"x_m": source["x_m"], "y_m": source["y_m"], "vines": 12, "neighbours": None, **far}
    for other in before["sources"][1:]:
        demo_client.patch(f"{DEMO}/blocks/{other['block']}", json={"x_m": 5000.0})
    alone = demo_client.patch(f"{DEMO}/blocks/west-2", json={"x_m": source["x_m"], "y_m": source["y_m"]})
    assert alone.status_code == 200
    all_there = pollen(demo_client, "west-2")
    demo_client.patch(f"{DEMO}/blocks/west-2", json=line).raise_for_status()
    found = pollen(demo_client, "west-2")
    reach_m = demo_client.get(DEMO).json()["reach_m"]
    share = (int(reach_m // 9.0) + 1) / 12  # vines stand 9 m apart, the first beside the source
    for figure in ("low", "median", "high"):
        whole = all_there["share_of_bloom_covered"][figure]
        assert (
            abs(found["share_of_bloom_covered"][figure] - share * whole) <= 0.0011
        )  # rounded to thousandths
    (source_now,) = found["sources"]
    assert source_now["distance_m"] == 0.0
    (out,) = [each for each in found["warnings"] if each["code"] == "no_pollen_source_in_reach"]
    assert out["level"] == "act"
    assert (
        f"Of 12 vines of block west-2 (Copper Lull), {round(12 * (1 - share))} vines stand" in out["message"]
    )
    assert block["x2_m"] is None
    page = demo_client.get(f"/vineyards/{demo_weather.VINEYARD.key}/map").text
    assert re.search(r'<line class="vines pistillate" x1=', page)
    assert f"{round(12 * (1 - share))} of 12 vines of west-2" in page


def pollen(client: TestClient, block: str) -> dict[str, Any]:
    answer = client.get(f"{DEMO}/pollination", params={"as_of": demo_weather.AS_OF.isoformat()}).json()
    (found,) = [each for each in answer["pistillate_blocks"] if each["block"] == block]
    return dict(found)
