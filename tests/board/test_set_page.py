"""The page of set."""

from __future__ import annotations

from fastapi.testclient import TestClient

from tests.api.asking import VINEYARD, put_vineyard

PAGE = "/vineyards/hollow/set"


def record(client: TestClient, **fields: str) -> int:
    answer = client.post(PAGE, data={"block": "b1", "cluster": "1", **fields}, follow_redirects=False)
    return answer.status_code


def test_flowers_and_berries_typed_in_the_row_become_set(client: TestClient) -> None:
    put_vineyard(client)
    assert "What the counts say" not in client.get(PAGE).text
    assert record(client, date="2025-05-18", flowers="50") == 303
    assert "no berries were counted yet" in client.get(PAGE).text
    assert record(client, date="2025-06-20", berries="13") == 303
    shown = client.get(PAGE).text
    assert "<td>26 % (" in shown
    assert "Gupton 1998" in shown
    (first, _) = client.get(f"{VINEYARD}/set-counts").json()["set_counts"]
    assert client.post(f"{PAGE}/{first['count']}/delete", follow_redirects=False).status_code == 303
    assert len(client.get(f"{VINEYARD}/set-counts").json()["set_counts"]) == 1


def test_what_cannot_be_taken_is_said(client: TestClient) -> None:
    put_vineyard(client)
    assert record(client, date="2025-05-18", flowers="some") == 422
    assert record(client, date="2025-05-18") == 422
    more = {"block": "b1", "cluster": "1", "date": "2025-05-18", "flowers": "40", "berries": "60"}
    told = client.post(PAGE, data=more)
    assert told.status_code == 422
    assert "<li>60 berries are more than 40 flowers</li>" in told.text
    assert client.get(f"{VINEYARD}/set-counts").json()["set_counts"] == []
