"""A planting drawn vine by vine, over HTTP and in the report from files."""

from __future__ import annotations

from typing import Any

from fastapi.testclient import TestClient

import demo_weather
from tests.api.asking import VINEYARD, assert_problem, put_vineyard, send_csv

SPACING = {"row_spacing_m": "4", "vine_spacing_m": "6"}
# A source in every third place of the outer rows.
CELLS = [
    (row, vine, "Loam Whistle" if row != 2 and vine % 3 == 1 else "Thimble Ash")
    for row in (1, 2, 3)
    for vine in range(1, 7)
]
GRID = "row,vine,cultivar\n" + "".join(f"{row},{vine},{cultivar}\n" for row, vine, cultivar in CELLS)


def blocks_of(client: TestClient) -> dict[str, dict[str, Any]]:
    return {block["block"]: block for block in client.get(f"{VINEYARD}/blocks").json()["blocks"]}


def test_a_grid_of_known_cultivars_becomes_blocks(client: TestClient) -> None:
    put_vineyard(client)
    receipt = send_csv(client, f"{VINEYARD}/planting", GRID, **SPACING)
    assert receipt.status_code == 200, receipt.text
    assert receipt.json()["rows_read"] == 18
    assert receipt.json()["cultivars_stored"] == []
    blocks = blocks_of(client)
    assert sum(block["vines"] for block in blocks.values()) == 18
    source = blocks["row-3-vine-4"]
    assert (source["cultivar"], source["x_m"], source["y_m"]) == ("loam-whistle", 18.0, 8.0)
    csv = "date,tmin_c,tmax_c\n2025-01-01,3,12\n"
    assert send_csv(client, "/v1/stations/hollow-gauge/temperatures", csv).status_code == 200
    check = client.get(f"{VINEYARD}/planting-check", params={"rows_along": "x"}).json()
    verdicts = {each["rule"]: each["verdict"] for each in check["layout"]}
    assert verdicts["every third vine in every third row self-fertile"] == "met"
    assert (check["pistillate_vines"], check["source_vines"], check["share_in_reach"]) == (14, 4, 1.0)


def test_a_flower_type_column_makes_new_cultivars(client: TestClient) -> None:
    put_vineyard(client)
    grid = "row,vine,cultivar,flower_type\n1,1,Birch Tumble,perfect\n1,2,Birch Tumble,\n1,3,Thimble Ash,\n"
    receipt = send_csv(client, f"{VINEYARD}/planting", grid, **SPACING)
    assert receipt.json()["cultivars_stored"] == ["birch-tumble"]
    assert client.get("/v1/cultivars/birch-tumble").json()["viable_pollen"] is True
    assert set(blocks_of(client)) == {"row-1-vine-1-2", "row-1-vine-3"}


def test_what_is_refused(client: TestClient) -> None:
    put_vineyard(client)
    before = blocks_of(client)
    path = f"{VINEYARD}/planting"
    assert_problem(send_csv(client, path, GRID), 422, "row_spacing_m and vine_spacing_m")
    assert_problem(send_csv(client, path, GRID, row_spacing_m="4"), 422, "vine_spacing_m")
    assert_problem(
        send_csv(client, path, GRID, row_spacing_m="0", vine_spacing_m="6"), 422, "query.row_spacing_m"
    )
    unknown = "row,vine,cultivar\n1,1,Far Plank\n"
    assert_problem(send_csv(client, path, unknown, **SPACING), 422, "line 2", "column flower_type")
    two = "row,vine,cultivar,flower_type\n1,1,Far Plank,perfect\n1,2,Far Plank,male\n"
    assert_problem(send_csv(client, path, two, **SPACING), 422, "more than one flower_type")
    assert blocks_of(client) == before


def test_spacings_beside_blocks_are_told_as_unused(client: TestClient) -> None:
    put_vineyard(client)
    planting = "block,cultivar,flower_type,x_m,y_m\nb1,Thimble Ash,pistillate,0,0\n"
    receipt = send_csv(client, f"{VINEYARD}/planting", planting, **SPACING)
    assert any("were not used" in warning for warning in receipt.json()["warnings"])


def test_the_report_takes_a_grid(client: TestClient) -> None:
    demo = demo_weather.files()
    grid = "row,vine,cultivar,flower_type\n1,1,Wren Anvil,perfect\n1,2,Copper Lull,pistillate\n"
    lines = demo["bloom_log.csv"].decode().splitlines()
    kept = [line.replace("west-1,", "row-1-vine-1,").replace("west-2,", "row-1-vine-2,") for line in lines]
    log = "\n".join(line for line in kept if line.startswith("season") or "row-1-vine" in line) + "\n"
    files = {
        "temperatures": ("t.csv", demo["temperatures.csv"]),
        "planting": ("p.csv", grid.encode()),
        "bloom_log": ("b.csv", log.encode()),
    }
    form = {"as_of": "2026-05-20", "latitude": "31.1", "search": "false", "pollen_days": "4"}
    assert_problem(client.post("/v1/bloom-report", files=files, data=form), 422, "planting", "row_spacing_m")
    answer = client.post("/v1/bloom-report", files=files, data=form | SPACING)
    assert answer.status_code == 200, answer.text
    (block,) = answer.json()["pollination"]["pistillate_blocks"]
    assert (block["block"], block["sources"][0]["distance_m"]) == ("row-1-vine-2", 6.0)
    assert answer.json()["pollination"]["pollen_days"] == 4
