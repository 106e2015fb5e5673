"""The same question has the same answer, whatever else stands in the vineyard."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
from fastapi.testclient import TestClient

from tests.api.asking import VINEYARD
from tests.api.past_seasons import (
    THIS_SEASON,
    block_heats,
    days_of,
    fitted,
    forecast,
    log_csv,
    plant,
    send,
)

MAY = dt.date(THIS_SEASON, 5, 2)


def stages(client: TestClient) -> dict[str, Any]:
    return {block["block"]: block["stages"] for block in forecast(client, MAY)["blocks"]}


def test_a_blocks_dates_do_not_hang_on_the_blocks_beside_it(client: TestClient) -> None:
    """Blocks are answered in the order of their keys: one that comes first, of whatever cultivar, moves no other."""
    plant(client)
    days = days_of(block_heats(np.random.default_rng(5), between_seasons=30, within=20))
    send(client, "bloom-log", log_csv(days))
    fitted(client)
    seen = {"date": str(MAY - dt.timedelta(days=8)), "block": "b", "percent_open": 30}
    assert client.post(f"{VINEYARD}/visits", json=[seen]).status_code == 200
    before = stages(client)
    for key, cultivar in (("a-0", "dogwood"), ("a-1", "alder")):
        body = {"cultivar": cultivar, "x_m": 200, "y_m": 0}
        assert client.put(f"{VINEYARD}/blocks/{key}", json=body).status_code == 201
    more = stages(client)
    assert {key: more[key] for key in before} == before
    assert client.delete(f"{VINEYARD}/blocks/d").is_success
    fewer = stages(client)
    assert fewer == {key: told for key, told in more.items() if key != "d"}
