"""A station that changed, and vineyards that share one, through the service."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from fastapi.testclient import TestClient

from tests.api.asking import STATION, VINEYARD, assert_problem, send_csv
from tests.api.past_seasons import (
    CULTIVARS,
    HEAT,
    LATITUDE,
    SEASONS,
    THIS_SEASON,
    block_heats,
    days_of,
    fitted,
    forecast,
    log_csv,
    plant,
    send,
    stage_of,
    weather,
)
from tests.hindcast.past import weather_csv

AS_OF = dt.date(THIS_SEASON, 4, 1)
CHANGED = dt.date(2011, 4, 1)


@pytest.fixture
def vineyard(client: TestClient) -> TestClient:
    """Blooms 60 °C·day later from 2011 on, as after a change of the station."""
    plant(client)
    heats = block_heats(np.random.default_rng(6), between_seasons=8, within=5)
    after = {key: heat + (60.0 if key[0] >= CHANGED.year else 0.0) for key, heat in heats.items()}
    send(client, "bloom-log", log_csv(days_of(after)))
    return client


def test_a_change_is_kept_shown_checked_and_taken_back(client: TestClient) -> None:
    plant(client)
    told = client.patch(STATION, json={"changed_on": ["2012-04-01", "2009-08-15", "2012-04-01"]})
    assert told.json()["changed_on"] == ["2009-08-15", "2012-04-01"]
    assert client.get(STATION).json()["changed_on"] == ["2009-08-15", "2012-04-01"]
    listed = client.get("/v1/stations", headers={"Accept": "text/csv"}).text
    assert "2009-08-15;2012-04-01" in listed
    client.patch(STATION, json={"name": "Other"}).raise_for_status()
    assert client.get(STATION).json()["changed_on"] == ["2009-08-15", "2012-04-01"]
    change = client.patch(STATION, json={"changed_on": []}).headers["Capfall-Change"]
    assert client.get(STATION).json()["changed_on"] == []
    client.post(f"/v1/changes/{change}/undo").raise_for_status()
    assert client.get(STATION).json()["changed_on"] == ["2009-08-15", "2012-04-01"]
    assert_problem(client.patch(STATION, json={"changed_on": ["spring 2012"]}), 422, "changed_on")
    assert_problem(client.patch(STATION, json={"changed_on": ["1012-04-01"]}), 422, "changed_on")


def test_a_change_cuts_the_drift_keeps_the_weather_and_asks_for_a_new_fit(vineyard: TestClient) -> None:
    untold = fitted(vineyard)
    before = forecast(vineyard, AS_OF)
    change = vineyard.patch(STATION, json={"changed_on": [str(CHANGED)]}).headers["Capfall-Change"]
    stale = forecast(vineyard, AS_OF)
    assert any("Fit again" in caution for caution in stale["cautions"])
    told = fitted(vineyard)
    assert told["id"] != untold["id"]
    after = forecast(vineyard, AS_OF)
    assert not any("Fit again" in caution for caution in after["cautions"])
    assert after["trace_seasons"] == before["trace_seasons"]
    medians = [
        dt.date.fromisoformat(stage_of(each, "b", "bloom_start")["median"]) for each in (before, after)
    ]
    assert medians[1] != medians[0]
    document = vineyard.get(f"/v1/fits/{told['id']}/document").json()
    places = {said["season"]: said["site"] for said in document["season_evidence"]}
    assert {places[season] for season in SEASONS if season < CHANGED.year} == {"station hollow-gauge"}
    assert {places[season] for season in SEASONS if season >= CHANGED.year} == {
        f"station hollow-gauge from {CHANGED.year}"
    }
    assert document["sites"] == ["hollow"]
    assert {block["basis"] for block in after["blocks"]} == {"own"}
    # what is told later than the day that is asked for is not known on it
    early = dt.date(CHANGED.year, 3, 1)
    assert not any("Fit again" in caution for caution in forecast(vineyard, early)["cautions"])
    known = forecast(vineyard, early, fit=untold["id"])
    vineyard.post(f"/v1/changes/{change}/undo").raise_for_status()
    assert forecast(vineyard, early, fit=untold["id"]) == known
    assert any("Fit again" in caution for caution in forecast(vineyard, AS_OF)["cautions"])
    vineyard.put(f"{VINEYARD}/fit", json={"fit": untold["id"]}).raise_for_status()
    assert forecast(vineyard, AS_OF) == before


def test_vineyards_on_one_station_share_its_seasons(client: TestClient) -> None:
    plant(client)
    heats = block_heats(np.random.default_rng(6), between_seasons=25, within=5)
    log = log_csv(days_of(heats))
    send(client, "bloom-log", log)
    place = {"name": "Other gauge", "latitude": LATITUDE, "longitude": -84.0}
    client.put("/v1/stations/other-gauge", json=place).raise_for_status()
    stored = send_csv(client, "/v1/stations/other-gauge/temperatures", weather_csv(weather()))
    assert stored.status_code == 200
    beside = "/v1/vineyards/beside"
    client.put(beside, json={"name": "Beside", "station": "hollow-gauge"}).raise_for_status()
    rows = [f"{cultivar[0]},{cultivar},perfect,{3 * place},0" for place, cultivar in enumerate(CULTIVARS)]
    planting = "\n".join(["block,cultivar,flower_type,x_m,y_m", *rows])
    assert send_csv(client, f"{beside}/planting", planting).status_code == 200
    assert send_csv(client, f"{beside}/bloom-log", log).status_code == 200

    def error(vineyards: list[str]) -> float:
        fit = client.post("/v1/fits", json={"heat": HEAT, "vineyards": vineyards}).json()
        assert client.get(f"/v1/fits/{fit['id']}").json()["seasons"] == list(SEASONS)
        return float(np.mean([each["stages"]["bloom_start"]["standard_error"] for each in fit["cultivars"]]))

    one, shared = error(["hollow"]), error(["hollow", "beside"])
    told = forecast(client, AS_OF)
    assert {block["basis"] for block in told["blocks"]} == {"own"}
    client.patch(beside, json={"station": "other-gauge"}).raise_for_status()
    apart = error(["hollow", "beside"])
    assert apart < 0.8 * one
    assert shared > 0.85 * one
