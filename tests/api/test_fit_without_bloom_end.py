"""With a fit that knows no end of bloom every answer says what it can, and why the rest is not known."""

from __future__ import annotations

import datetime as dt
from typing import Any

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
)

APRIL = dt.date(THIS_SEASON, 4, 1)
LACKING = "The fit lacks bloom_end."


@pytest.fixture
def grower(client: TestClient) -> TestClient:
    """A vineyard with a whole log, fitted without the end of bloom."""
    plant(client)
    send(
        client,
        "bloom-log",
        log_csv(days_of(block_heats(np.random.default_rng(5), between_seasons=30, within=20))),
    )
    fitted(client, stages=["bloom_start", "full_bloom"])
    return client


def whole_fit(client: TestClient) -> str:
    return str(fitted(client)["id"])


def test_frost_after_bloom_is_no_frost_in_bloom(grower: TestClient) -> None:
    told = forecast(grower, APRIL, frost_limit=8)
    for block in told["blocks"]:
        assert block["stages"].keys() == {"bloom_start", "full_bloom"}
        frost = block["frost"]
        assert (frost["chance"], frost["chance_in_bloom"]) == (None, None)
        assert "does not know bloom_end" in frost["why"]
    assert any(LACKING in caution for caution in told["cautions"])
    whole = forecast(grower, APRIL, frost_limit=8, fit=whole_fit(grower))
    assert all(block["frost"]["why"] is None for block in whole["blocks"])
    assert all(block["frost"]["chance"] < 1 for block in whole["blocks"])
    assert not any(LACKING in caution for caution in whole["cautions"])


def test_pollination_names_the_stage_that_lacks(grower: TestClient) -> None:
    told = forecast(grower, APRIL, "pollination")
    for block in told["pistillate_blocks"]:
        assert block["share_of_bloom_covered"] is None
        said = {warning["code"]: warning["message"] for warning in block["warnings"]}
        assert said.keys() == {"unknown_bloom", "single_pollen_source"}
        assert "The fit does not know bloom_end" in said["unknown_bloom"]
        assert "make a fit with them" in said["unknown_bloom"]


def test_the_planting_check_does_not_blame_the_weather(grower: TestClient) -> None:
    told = grower.get(f"{VINEYARD}/planting-check").json()
    assert any(LACKING in caution for caution in told["cautions"])
    assert not any("temperatures complete enough" in caution for caution in told["cautions"])
    assert {block["why"] for block in told["blocks"]} == {
        "The fit does not know bloom_end, so cover in past seasons is not known."
    }
    whole = grower.get(f"{VINEYARD}/planting-check", params={"fit": whole_fit(grower)}).json()
    assert whole["seasons"]
    assert any("follows the dates that were noted" in caution for caution in whole["cautions"])
    assert not any("follows the dates that were noted" in caution for caution in told["cautions"])


def test_every_scouting_task_is_planned_or_named(grower: TestClient) -> None:
    def tasks(told: dict[str, Any]) -> set[tuple[str, str]]:
        return {(task["block"], task["task"]) for trip in told["trips"] for task in trip["tasks"]}

    page = grower.get("/vineyards/hollow", params={"as_of": str(APRIL)})
    assert page.status_code == 200
    assert "as the fit does not know bloom end" in page.text
    feed = grower.get(f"{VINEYARD}/calendar.ics", params={"as_of": str(APRIL)}).text.replace("\r\n ", "")
    assert LACKING in feed
    told = forecast(grower, APRIL, "scouting")
    whole = forecast(grower, APRIL, "scouting", fit=whole_fit(grower))
    named = {(task["block"], task["task"]) for task in told["missed"]}
    assert tasks(told) | named == tasks(whole)
    assert {task for _, task in named} == {"set_count", "crop_load"}
    for missed in told["missed"]:
        assert (missed["window"], missed["best_day"]) == (None, None)
        assert missed["reason"] == "Its days are not known, as the fit does not know bloom_end."
