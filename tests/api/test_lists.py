"""Lists come page by page and as CSV; what two people edit is not lost."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.api.asking import STATION, VINEYARD, assert_problem, put_vineyard, send_csv

DEMO = "/v1/vineyards/sandlark-bend"
LISTS = {
    "/v1/cultivars": "cultivars",
    "/v1/stations": "stations",
    "/v1/vineyards": "vineyards",
    f"{DEMO}/blocks": "blocks",
    f"{DEMO}/bloom-log": "rows",
    f"{DEMO}/visits": "visits",
    f"{DEMO}/frost": "frosted",
    "/v1/fits": "fits",
    "/v1/changes": "changes",
}


@pytest.mark.parametrize("path", LISTS)
def test_pages_make_up_the_whole_list(demo_client: TestClient, path: str) -> None:
    for block, season in (("west-1", 2020), ("west-1", 2021), ("west-2", 2020)):
        demo_client.put(f"{DEMO}/blocks/{block}/frost/{season}")
    for base_c in (7, 8):
        demo_client.post("/v1/fits", json={"heat": {"method": "average", "base_c": base_c}})
    whole = demo_client.get(path).json()
    assert whole["next"] is None
    rows = whole[LISTS[path]]
    found: list[Any] = []
    cursor = None
    for _ in range(200):
        page = demo_client.get(path, params={"limit": 2} | ({"cursor": cursor} if cursor else {})).json()
        assert len(page[LISTS[path]]) <= 2
        found += page[LISTS[path]]
        cursor = page["next"]
        if cursor is None:
            break
    assert found == rows
    table = demo_client.get(path, headers={"Accept": "text/csv"})
    assert table.headers["content-type"].startswith("text/csv")
    assert len(list(csv.DictReader(io.StringIO(table.text)))) == len(rows)
    for query in ("?limit=0", "?limit=1001", "?cursor=%20", "?cursor=e30="):
        assert_problem(demo_client.get(path + query), 422, "query.")


def test_a_csv_page_links_to_the_next(demo_client: TestClient) -> None:
    found: list[dict[str, str]] = []
    path = f"{DEMO}/visits?limit=7&from=2026-05-10"
    while path:
        table = demo_client.get(path, headers={"Accept": "text/csv"})
        found += csv.DictReader(io.StringIO(table.text))
        path = table.headers.get("link", "").partition(">")[0].removeprefix("<")
    whole = demo_client.get(f"{DEMO}/visits?from=2026-05-10").json()["visits"]
    assert [row["visit"] for row in found] == [visit["visit"] for visit in whole]
    assert len(whole) > 7


@pytest.mark.parametrize("kind", ["visits", "bloom-log"])
def test_a_table_that_is_sent_back_changes_nothing(demo_client: TestClient, kind: str) -> None:
    table = demo_client.get(f"{DEMO}/{kind}", headers={"Accept": "text/csv"}).text
    again = send_csv(demo_client, f"{DEMO}/{kind}", table)
    assert again.json()["rows_unchanged"] == again.json()["rows_read"] == len(table.splitlines()) - 1
    assert "Capfall-Change" not in again.headers


def test_blocks_and_dates_are_filtered(demo_client: TestClient) -> None:
    blocks = demo_client.get(f"{DEMO}/blocks?cultivar=tallow-moth").json()["blocks"]
    assert [block["block"] for block in blocks] == ["middle-4", "middle-6"]
    rows = demo_client.get(f"{DEMO}/bloom-log?season=2013&block=west-1").json()["rows"]
    assert [(row["season"], row["block"]) for row in rows] == [(2013, "west-1")]


@pytest.fixture
def vineyard(client: TestClient) -> TestClient:
    put_vineyard(client)
    client.post(f"{VINEYARD}/visits", json=[{"date": "2025-05-12", "block": "b1", "percent_open": 5}])
    return client


def test_a_change_of_what_another_has_changed_is_refused(vineyard: TestClient) -> None:
    [visit] = vineyard.get(f"{VINEYARD}/visits").json()["visits"]
    for path, mine, theirs in (
        (STATION, {"name": "Mine"}, {"name": "Theirs"}),
        (VINEYARD, {"name": "Mine"}, {"name": "Theirs"}),
        ("/v1/cultivars/thimble-ash", {"name": "Mine"}, {"name": "Theirs"}),
        (f"{VINEYARD}/blocks/b1", {"vines": 3}, {"vines": 4}),
        (f"{VINEYARD}/visits/{visit['visit']}", {"note": "mine"}, {"note": "theirs"}),
    ):
        read = vineyard.get(path).headers["etag"]
        assert vineyard.patch(path, json=theirs, headers={"If-Match": read}).status_code == 200
        assert_problem(vineyard.patch(path, json=mine, headers={"If-Match": read}), 412, "read it again")
        assert_problem(vineyard.delete(path, headers={"If-Match": read}), 412, "changed-meanwhile")
        now = vineyard.get(path)
        assert theirs.items() <= now.json().items()
        done = vineyard.patch(path, json=mine, headers={"If-Match": f'"other", {now.headers["etag"]}'})
        assert done.status_code == 200
        assert done.headers["etag"] == vineyard.get(path).headers["etag"] != read


def test_putting_over_what_another_has_put_is_refused(vineyard: TestClient) -> None:
    body = {"name": "Late Lull", "flower_type": "perfect"}
    path = "/v1/cultivars/late-lull"
    assert_problem(vineyard.put(path, json=body, headers={"If-Match": "*"}), 412, "not there")
    first = vineyard.put(path, json=body)
    assert first.headers["etag"] == vineyard.get(path).headers["etag"]
    vineyard.put(path, json={**body, "berry_mass_g": 5})
    assert_problem(vineyard.put(path, json=body, headers={"If-Match": first.headers["etag"]}), 412)
    assert vineyard.put(path, json=body, headers={"If-Match": "*"}).status_code == 200
    block = f"{VINEYARD}/blocks/b1/rename"
    assert_problem(vineyard.post(block, json={"to": "x"}, headers={"If-Match": '"old"'}), 412)
