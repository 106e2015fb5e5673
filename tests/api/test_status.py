"""How a stage stands, as visits that say "not yet" go on."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
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
    stage_of,
)

START = "bloom_start"


@pytest.fixture
def grower(client: TestClient) -> TestClient:
    plant(client)
    days = days_of(block_heats(np.random.default_rng(5), between_seasons=50, within=30))
    send(client, "bloom-log", log_csv(days))
    fitted(client)
    return client


def status_after_not_yet(client: TestClient, day: dt.date) -> str:
    """Of bloom start in block b, on the day after a visit that found no cap off."""
    seen = {"date": str(day), "block": "b", "percent_open": 0}
    assert client.post(f"{VINEYARD}/visits", json=[seen]).status_code == 200
    return str(stage_of(forecast(client, day + dt.timedelta(days=1)), "b", START)["status"])


def test_overdue_waits_until_not_yet_is_beyond_the_cultivars_interval(grower: TestClient) -> None:
    """A day or two after the median half of all seasons still say "not yet": that is no alarm."""
    usual = stage_of(forecast(grower, dt.date(THIS_SEASON, 12, 1)), "b", START)
    median, high = (dt.date.fromisoformat(usual[name]) for name in ("median", "high"))
    assert (high - median).days >= 3, usual
    for days in (0, 1, 2):
        assert status_after_not_yet(grower, median + dt.timedelta(days=days)) != "overdue"
    assert status_after_not_yet(grower, high + dt.timedelta(days=2)) == "overdue"


def test_a_median_that_is_past_is_not_seen_whoever_looked(grower: TestClient) -> None:
    usual = stage_of(forecast(grower, dt.date(THIS_SEASON, 12, 1)), "b", START)
    median = dt.date.fromisoformat(usual["median"])
    status_after_not_yet(grower, median - dt.timedelta(days=10))
    late = median + dt.timedelta(days=20)
    assert stage_of(forecast(grower, late), "b", START)["status"] == "presumed"
    page = grower.get("/vineyards/hollow", params={"as_of": str(late)}).text
    assert "presumed past, not seen" in page
    assert "no look recorded" not in page
