"""A number is no day: it would be seconds since 1970, and an answer about 1970 would look like one."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from tests.api.asking import VINEYARD, assert_problem
from tests.api.past_seasons import plant

ASKED = (
    ("/v1/stations/hollow-gauge/temperatures", "from"),
    ("/v1/stations/hollow-gauge/temperatures", "to"),
    (f"{VINEYARD}/forecast", "as_of"),
    ("/v1/roster", "as_of"),
    ("/v1/changes", "since"),
    (f"{VINEYARD}/news", "since"),
    (f"{VINEYARD}/visits", "from"),
    (f"{VINEYARD}/visits", "to"),
)


@pytest.mark.parametrize(("path", "name"), ASKED)
def test_a_number_is_no_day(client: TestClient, path: str, name: str) -> None:
    plant(client)
    for told in ("0", "1716163200", "20260520", "1.5"):
        assert_problem(client.get(path, params={name: told}), 422, "is not a day; write it as 2026-05-20")


def test_nor_in_a_body(client: TestClient) -> None:
    plant(client)
    visit = {"block": "b", "percent_open": 5}
    for told in (0, 1716163200, "20260520"):
        answer = client.post(f"{VINEYARD}/visits", json=[{**visit, "date": told}])
        assert_problem(answer, 422, "is not a day; write it as 2026-05-20")
    stored = client.post(f"{VINEYARD}/visits", json=[{**visit, "date": "2026-05-20"}])
    assert stored.status_code == 200


@pytest.mark.parametrize(
    ("counts", "told"),
    [("set-counts", {"cluster": "1", "flowers": 5}), ("crop-counts", {"cane": "1", "clusters": 5})],
)
def test_nor_of_a_count(client: TestClient, counts: str, told: dict[str, object]) -> None:
    plant(client)
    body = [{"block": "b", "date": 0, **told}]
    assert_problem(
        client.post(f"{VINEYARD}/{counts}", json=body), 422, "is not a day; write it as 2026-05-20"
    )
