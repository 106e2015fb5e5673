"""A cultivar without a season, from planting to forecast, pollen, walks and back."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient

from tests.api.asking import VINEYARD, assert_problem, send_csv
from tests.api.past_seasons import (
    CULTIVARS,
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

AS_OF = dt.date(THIS_SEASON, 4, 1)
SPECIES = "Vitis exempli"
NEW = "/v1/cultivars/elder"


@pytest.fixture
def vineyard(client: TestClient) -> TestClient:
    """Four known cultivars of one species, and one of which nothing is known."""
    plant(client)
    for cultivar in CULTIVARS:
        client.patch(f"/v1/cultivars/{cultivar}", json={"species": SPECIES}).raise_for_status()
    random = np.random.default_rng(5)
    send(client, "bloom-log", log_csv(days_of(block_heats(random, between_seasons=15, within=6))))
    fitted(client)
    body = {"name": "Elder", "flower_type": "pistillate", "species": "vitis exempli"}
    client.put(NEW, json=body).raise_for_status()
    client.put(f"{VINEYARD}/blocks/e", json={"cultivar": "elder", "x_m": 5, "y_m": 5}).raise_for_status()
    return client


def block_e(told: dict[str, Any]) -> dict[str, Any]:
    (found,) = [each for each in told["blocks"] if each["block"] == "e"]
    return dict(found)


def start(told: dict[str, Any], block: str = "e") -> dict[str, dt.date]:
    stage = stage_of(told, block, "bloom_start")
    return {name: dt.date.fromisoformat(stage[name]) for name in ("low", "median", "high")}


def width(told: dict[str, Any], block: str = "e") -> int:
    days = start(told, block)
    return (days["high"] - days["low"]).days


def said(told: dict[str, Any], words: str) -> bool:
    return any(words in caution for caution in told["cautions"])


def test_it_blooms_with_its_species_and_everything_that_follows_knows_it(vineyard: TestClient) -> None:
    told = forecast(vineyard, AS_OF)
    new = block_e(told)
    assert (new["basis"], new["why"]) == ("group", None)
    assert "4 known cultivars of its species" in new["caution"]
    assert said(told, "No season of elder is in the fit")
    others = [start(told, cultivar[0])["median"] for cultivar in CULTIVARS]
    assert min(others) <= start(told)["median"] <= max(others)
    assert width(told) > max(width(told, cultivar[0]) for cultivar in CULTIVARS)
    (pollen,) = [
        each for each in forecast(vineyard, AS_OF, "pollination")["pistillate_blocks"] if each["block"] == "e"
    ]
    assert 0 < pollen["share_of_bloom_covered"]["median"] <= 1
    trips = forecast(vineyard, AS_OF, "scouting")["trips"]
    assert "e" in {task["block"] for trip in trips for task in trip["tasks"]}
    check = vineyard.get(f"{VINEYARD}/planting-check").json()
    assert [each["exposed"] for each in check["blocks"] if each["block"] == "e"] != [None]
    assert "No season of elder is in the fit" in str(check["cautions"])
    page = vineyard.get(f"/vineyards/hollow?as_of={AS_OF}").text
    assert "4 known cultivars of its species" in page
    calendar = vineyard.get(f"{VINEYARD}/calendar.ics", params={"as_of": str(AS_OF)}).text
    assert "4 known cultivars of its species" in calendar.replace("\r\n ", "")


def test_without_its_species_it_is_held_wide_and_of_another_it_is_not_forecast(vineyard: TestClient) -> None:
    told = forecast(vineyard, AS_OF)
    vineyard.patch(NEW, json={"species": None}).raise_for_status()
    untold = forecast(vineyard, AS_OF)
    assert width(untold) >= width(told) + 4
    assert said(untold, "held wide")
    vineyard.patch(NEW, json={"species": "Vitis alia"}).raise_for_status()
    foreign = forecast(vineyard, AS_OF)
    assert (block_e(foreign)["basis"], block_e(foreign)["stages"]) == ("none", {})
    assert "elder" in block_e(foreign)["why"]
    assert said(foreign, "another species")
    (pollen,) = [
        each for each in forecast(vineyard, AS_OF, "pollination")["pistillate_blocks"] if each["block"] == "e"
    ]
    assert "unknown_bloom" in [warning["code"] for warning in pollen["warnings"]]


def test_an_offset_moves_and_narrows_it_and_is_taken_back(vineyard: TestClient) -> None:
    before = forecast(vineyard, AS_OF)
    change = vineyard.patch(NEW, json={"blooms_like": "dogwood", "days_later": 10})
    assert (change.json()["blooms_like"], change.json()["days_later"]) == ("dogwood", 10.0)
    told = forecast(vineyard, AS_OF)
    assert start(told)["median"] > start(told, "d")["median"] + dt.timedelta(days=2)
    assert start(told)["median"] > start(before)["median"]
    assert width(told) < width(before)
    assert "10 days after dogwood" in block_e(told)["caution"]
    undone = vineyard.post(f"/v1/changes/{change.headers['Capfall-Change']}/undo")
    assert undone.status_code == 200
    assert forecast(vineyard, AS_OF) == before
    vineyard.patch(NEW, json={"blooms_like": "dogwood"}).raise_for_status()
    assert "those of dogwood" in block_e(forecast(vineyard, AS_OF))["caution"]
    vineyard.patch(NEW, json={"blooms_like": None}).raise_for_status()
    assert forecast(vineyard, AS_OF) == before


def test_an_offset_that_says_nothing_is_refused(vineyard: TestClient) -> None:
    assert_problem(vineyard.patch(NEW, json={"days_later": 3}), 422, "days_later", "blooms_like")
    assert_problem(vineyard.patch(NEW, json={"blooms_like": "elder"}), 422, "itself")
    assert_problem(vineyard.patch(NEW, json={"blooms_like": "nowhere"}), 422, "nowhere")
    vineyard.patch(NEW, json={"blooms_like": "dogwood"}).raise_for_status()
    vineyard.put("/v1/cultivars/fir", json={"name": "Fir", "flower_type": "perfect"}).raise_for_status()
    vineyard.patch(NEW, json={"blooms_like": "fir"}).raise_for_status()
    told = forecast(vineyard, AS_OF)
    assert said(told, "said to bloom like fir")
    assert "fir" not in block_e(told)["caution"]
    assert_problem(vineyard.delete("/v1/cultivars/fir"), 409, "cultivar elder")


def test_a_planting_file_tells_it_all(vineyard: TestClient) -> None:
    before = forecast(vineyard, AS_OF)
    kept = [
        f"{cultivar[0]},{cultivar},{kind},{3 * place},0,,,"
        for place, (cultivar, kind) in enumerate(
            zip(CULTIVARS, ["perfect", *["pistillate"] * 3], strict=True)
        )
    ]
    header = "block,cultivar,flower_type,x_m,y_m,species,blooms_like,days_later"
    row = "e,Elder,pistillate,5,5,Vitis exempli,Dogwood,10"
    stored = send_csv(vineyard, f"{VINEYARD}/planting", "\n".join([header, *kept, row]))
    assert stored.json()["cultivars_replaced"] == ["elder"], stored.text
    told = forecast(vineyard, AS_OF)
    assert start(told)["median"] > start(before)["median"]
    bad = send_csv(
        vineyard, f"{VINEYARD}/planting", "\n".join([header, *kept, "e,Elder,pistillate,5,5,,,10"])
    )
    assert_problem(bad, 422, "line 6", "days_later")


def test_a_season_of_its_own_ends_it(vineyard: TestClient) -> None:
    seasons = f"season,block,bloom_start\n{THIS_SEASON - 1},e,{THIS_SEASON - 1}-05-01\n"
    send(vineyard, "bloom-log", seasons)
    assert said(forecast(vineyard, AS_OF), "fit again")
    fitted(vineyard)
    told = forecast(vineyard, AS_OF)
    assert block_e(told)["basis"] == "pooled"
    assert not said(told, "No season of elder")


def test_a_shared_fit_brings_its_species_along(vineyard: TestClient) -> None:
    fit = vineyard.get("/v1/fits").json()["fits"][0]["id"]
    document = vineyard.get(f"/v1/fits/{fit}/document").json()
    assert document["species"] == [SPECIES] * 4
    for cultivar in CULTIVARS:
        vineyard.patch(f"/v1/cultivars/{cultivar}", json={"species": None}).raise_for_status()
    imported = vineyard.post("/v1/fits/import", json=document).json()["id"]
    told = forecast(vineyard, AS_OF, fit=imported)
    assert block_e(told)["basis"] == "group"
    assert "of its species" in block_e(told)["caution"]
    assert_problem(vineyard.post("/v1/fits/import", json=document | {"species": ["x"]}), 422, "species")
