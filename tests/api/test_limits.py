"""What is too long or too many is refused, each in words that name the limit; nothing of it is stored."""

from __future__ import annotations

import tracemalloc

import pytest
from fastapi.testclient import TestClient

from models.errors import BadInput
from service.ingest.table import MOST_CELLS, MOST_LINES, read_table
from service.store.owned import LONGEST_NAME, LONGEST_NOTE
from service.store.plantings import MOST_BLOCKS
from service.web.uploads import MOST_ROWS
from tests.api.asking import STATION, VINEYARD, Answer, assert_problem, put_vineyard, send_csv

LONG_NAME, LONG_NOTE = "n" * (LONGEST_NAME + 1), "n" * (LONGEST_NOTE + 1)


def test_names_and_notes_have_an_end_on_every_way_in(client: TestClient) -> None:
    put_vineyard(client)
    look = {"date": "2026-05-18", "block": "b1", "percent_open": 0}
    csv = "date,block,percent_open,observer,note\n2026-05-18,b1,0,{},{}\n"
    refused: list[tuple[Answer, str]] = [
        (client.put(STATION, json={"name": LONG_NAME, "latitude": 33.5, "longitude": -84.0}), "name"),
        (client.put(VINEYARD, json={"name": LONG_NAME, "station": None}), "name"),
        (client.put("/v1/cultivars/x", json={"name": LONG_NAME, "flower_type": "perfect"}), "name"),
        (client.post(f"{VINEYARD}/visits", json=[{**look, "observer": LONG_NAME}]), "observer"),
        (client.post(f"{VINEYARD}/visits", json=[{**look, "note": LONG_NOTE}]), "note"),
        (send_csv(client, f"{VINEYARD}/visits", csv.format(LONG_NAME, "")), "observer"),
        (send_csv(client, f"{VINEYARD}/visits", csv.format("Ida", LONG_NOTE)), "note"),
    ]
    for answer, where in refused:
        assert_problem(answer, 422, f'"where":"{where}"', "at most")
    assert client.get(f"{VINEYARD}/visits").json()["visits"] == []
    longest = {**look, "observer": LONG_NAME[1:], "note": LONG_NOTE[1:]}
    assert client.post(f"{VINEYARD}/visits", json=[longest]).status_code == 200


def test_blocks_and_visits_have_a_number(client: TestClient) -> None:
    put_vineyard(client)
    header = "block,cultivar,flower_type,x_m,y_m\n"
    rows = [f"r{number},Loam Whistle,perfect,{number},0\n" for number in range(MOST_BLOCKS + 1)]
    answer = send_csv(client, f"{VINEYARD}/planting", header + "".join(rows))
    assert_problem(answer, 422, f"at most {MOST_BLOCKS:,}")
    assert len(client.get(f"{VINEYARD}/blocks").json()["blocks"]) == 2
    assert send_csv(client, f"{VINEYARD}/planting", header + "".join(rows[1:])).status_code == 200
    one_more = {"cultivar": "loam-whistle", "x_m": 0, "y_m": 9}
    assert_problem(client.put(f"{VINEYARD}/blocks/more", json=one_more), 422, f"at most {MOST_BLOCKS:,}")
    assert client.put(f"{VINEYARD}/blocks/r1", json=one_more).status_code == 200
    looks = [{"date": "2026-05-18", "block": "r1", "percent_open": 0}] * (MOST_ROWS + 1)
    assert_problem(client.post(f"{VINEYARD}/visits", json=looks), 422, f"{MOST_ROWS}")
    clusters = [{"date": "2026-05-18", "block": "r1", "cluster": "1", "flowers": 5}] * (MOST_ROWS + 1)
    assert_problem(client.post(f"{VINEYARD}/set-counts", json=clusters), 422, f"{MOST_ROWS}")


@pytest.mark.parametrize("end", [b"\n", b"\r", b"\r\n"])
def test_a_file_of_too_many_lines_is_refused_before_it_takes_memory(end: bytes) -> None:
    data = b"date,tmin_c,tmax_c" + end * (20_000_000 // len(end))
    tracemalloc.start()
    with pytest.raises(BadInput) as refused:
        read_table(data)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert refused.value.message == "the file has too many lines"
    assert f"at most {MOST_LINES:,}" in refused.value.problems[0].problem
    assert most < 150e6  # split and read, the lines took 805 MB


def test_a_file_of_too_many_cells_is_refused_before_it_takes_memory() -> None:
    data = b"a,b\n" + (b"," * 499 + b"\n") * (MOST_CELLS // 400)
    tracemalloc.start()
    with pytest.raises(BadInput, match="too many cells"):
        read_table(data)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 150e6
