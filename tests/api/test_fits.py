"""Fits over HTTP: what the demo hides is found, the same fit has the same identifier, and shared fits hold."""

from __future__ import annotations

import copy
import json
import sys
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient

import demo_weather
from demo_weather import make_demo
from models.bloom import estimation, in_season
from tests.api.asking import STATION, assert_problem, put_vineyard, send_csv

Document = dict[str, Any]
TRADE_RULE = {"method": "average", "base_c": 10.0}


def posted(client: TestClient, **body: Any) -> dict[str, Any]:
    answer = client.post("/v1/fits", json=body)
    assert answer.is_success, answer.text
    fit: dict[str, Any] = answer.json()
    return fit


def thresholds(fit: dict[str, Any]) -> dict[tuple[str, str], dict[str, float]]:
    return {
        (cultivar["cultivar"], stage): told
        for cultivar in fit["cultivars"]
        for stage, told in cultivar["stages"].items()
    }


def test_the_thresholds_that_the_demo_was_made_with_are_found(demo_client: TestClient) -> None:
    fit = posted(demo_client, heat=TRADE_RULE)
    found = thresholds(fit)
    truth = {
        (name.lower().replace(" ", "-"), stage): heat
        for name, stages in make_demo.TRUTH.items()
        for stage, heat in stages.items()
    }
    assert found.keys() == truth.keys()
    off = [abs(told["threshold"] - truth[key]) / told["standard_error"] for key, told in found.items()]
    assert max(off) < 3.5
    assert sum(off) / len(off) < 1.5
    assert fit["stages"] == list(make_demo.STAGES)
    assert fit["seasons"] == list(make_demo.PAST_SEASONS)


def test_what_is_wrong_in_the_log_is_named_and_the_running_season_left_to_its_forecast(
    demo_client: TestClient,
) -> None:
    fit = posted(demo_client, heat=TRADE_RULE)
    slips = {(slip["season"], slip["block"], slip["stage"]) for slip in fit["set_aside"]}
    assert make_demo.SLIP in slips
    season, block, *swapped = make_demo.SWAPPED
    assert slips & {(season, block, stage) for stage in swapped}
    assert {season for season, _, _ in slips} == {2017, 2021}
    assert_problem(demo_client.post("/v1/fits", json={"gap_rule": "refuse"}), 422, "missing-days")
    assert fit["running_seasons"] == [2026]
    assert 2026 not in fit["seasons"]


def test_the_search_says_what_it_tried_and_why(demo_client: TestClient) -> None:
    fit = posted(demo_client)
    search = fit["search"]
    assert search["why"]
    scores = [candidate["score"] for candidate in search["candidates"]]
    assert len(scores) > 10
    assert scores[0] == max(scores)
    assert fit["heat"] in [candidate["heat"] for candidate in search["candidates"]]
    assert posted(demo_client, search=False)["search"] is None


def test_the_same_fit_has_the_same_identifier(demo_client: TestClient) -> None:
    body = {"heat": TRADE_RULE, "exclude_seasons": [2024]}
    first = demo_client.post("/v1/fits", json=body)
    again = demo_client.post("/v1/fits", json=body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.content == again.content
    fit = first.json()
    assert 2024 not in fit["seasons"]
    assert fit["exclude_seasons"] == [2024]
    assert demo_client.get(f"/v1/fits/{fit['id']}").content == first.content
    listed = demo_client.get("/v1/fits").json()["fits"]
    assert listed[0]["id"] == fit["id"]  # the newest
    assert len(listed) == 2
    other = posted(demo_client, heat=TRADE_RULE, exclude_seasons=[2023])
    assert other["id"] != fit["id"]


def test_numbers_that_did_not_settle_are_told_with_the_fit_and_with_its_forecasts(
    demo_client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    settled = posted(demo_client, heat=TRADE_RULE)
    assert settled["cautions"] == []
    with monkeypatch.context() as patch:
        patch.setattr(estimation, "MOST_ITERATIONS", 3)
        stopped = posted(demo_client, heat=TRADE_RULE, exclude_seasons=[2013])
    (caution,) = stopped["cautions"]
    assert caution.startswith("The fit stopped before its numbers settled")
    assert demo_client.get(f"/v1/fits/{stopped['id']}").json()["cautions"] == [caution]

    def told(fit: str, interval: float = 0.8) -> list[str]:
        path = f"/v1/vineyards/{demo_weather.VINEYARD.key}/forecast"
        asked: dict[str, str | float] = {"as_of": "2026-05-20", "fit": fit, "interval": interval}
        cautions: list[str] = demo_client.get(path, params=asked).json()["cautions"]
        return cautions

    assert caution in told(stopped["id"])
    assert not [text for text in told(settled["id"]) if "settle" in text]
    monkeypatch.setattr(in_season, "SWEEPS", 2)
    assert [
        text
        for text in told(settled["id"], interval=0.7)  # the answer to the same question is kept
        if text.startswith("What this season's observations say did not")
    ]


def test_us_units_convert_heat_and_base_and_can_be_sent_back(demo_client: TestClient) -> None:
    metric = posted(demo_client, heat=TRADE_RULE)
    us = demo_client.get(f"/v1/fits/{metric['id']}", params={"units": "us"}).json()
    assert (metric["heat_unit"], us["heat_unit"]) == ("degC_day", "degF_day")
    assert us["heat"]["base_f"] == 50.0
    assert "base_c" not in us["heat"]
    for key, told in thresholds(us).items():
        assert told["threshold"] == pytest.approx(1.8 * thresholds(metric)[key]["threshold"], abs=0.02)
        assert told["pooled_share"] == thresholds(metric)[key]["pooled_share"]
    days = us["spread"]["stages"]["full_bloom"]
    assert days["within_days"] == pytest.approx(days["within"] / days["heat_a_day"], abs=0.02)
    assert posted(demo_client, heat=us["heat"])["id"] == metric["id"]
    assert posted(demo_client, heat=metric["heat"])["id"] == metric["id"]


@pytest.mark.parametrize(
    ("body", "status", "said"),
    [
        ({"stages": ["full_boom"]}, 422, "full_boom"),
        ({"stages": []}, 422, "body.stages"),
        ({"stages": ["harvest"]}, 422, "harvest"),
        ({"vineyards": ["nowhere"]}, 404, "nowhere"),
        ({"vineyards": []}, 422, "body.vineyards"),
        ({"exclude_seasons": list(range(2013, 2027))}, 422, "excluded"),
        ({"exclude_seasons": ["last"]}, 422, "body.exclude_seasons"),
        ({"heat": {"base_c": 10, "base_f": 50}}, 422, "base_c or base_f"),
        ({"heat": {"base_c": 1e9}}, 422, "base_c"),
        ({"heat": {"base_c": 50}}, 422, "base_f in a body"),
        ({"heat": {"cutoff": "horizontal"}}, 422, "upper_c"),
        ({"heat": {"accumulate_from": "02-30"}}, 422, "accumulate_from"),
        ({"heat": {}, "search": True}, 422, "search"),
        ({"gap_rule": "guess"}, 422, "gap_rule"),
        ({"seasons": [2020]}, 422, "body.seasons"),
        ([], 422, "body"),
    ],
)
def test_what_cannot_be_fitted_is_told(demo_client: TestClient, body: Any, status: int, said: str) -> None:
    assert_problem(demo_client.post("/v1/fits", json=body), status, said)


def test_nothing_to_fit_is_told(client: TestClient) -> None:
    assert_problem(client.post("/v1/fits", json={}), 422, "no vineyard")
    assert_problem(client.get("/v1/fits/nowhere"), 404, "nowhere")
    put_vineyard(client, station=False)
    assert_problem(client.post("/v1/fits", json={"vineyards": ["hollow"]}), 422, "has no station")
    client.put("/v1/vineyards/hollow", json={"name": "Hollow", "station": "hollow-gauge"})
    assert_problem(client.post("/v1/fits", json={"vineyards": ["hollow"]}), 422, "no temperatures")
    send_csv(client, f"{STATION}/temperatures", "date,tmin_c,tmax_c\n2025-05-01,11,24\n")
    assert_problem(client.post("/v1/fits", json={}), 422, "bloom log")
    assert client.get("/v1/fits").json() == {"fits": [], "next": None}


@pytest.fixture
def shared(demo_client: TestClient) -> Document:
    """The demo's fit, as another grower gets it."""
    (fit,) = demo_client.get("/v1/fits").json()["fits"]
    document: Document = demo_client.get(f"/v1/fits/{fit['id']}/document").json()
    return document


def test_a_shared_fit_is_taken_over_to_the_last_digit(demo_client: TestClient, shared: Document) -> None:
    first = demo_client.post("/v1/fits/import", json=shared)
    assert (first.status_code, first.json()["imported"]) == (201, True)
    assert demo_client.post("/v1/fits/import", json=shared).status_code == 200
    taken = demo_client.get(f"/v1/fits/{first.json()['id']}/document").json()
    sites = {said.pop("site") for said in taken["season_evidence"]}
    # never one's own station or vineyard of that name
    assert sites == {"another grower's station sandlark-mast"}
    assert (taken.pop("sites"), shared.pop("sites")) == (
        ["another grower's sandlark-bend"],
        ["sandlark-bend"],
    )
    for said in shared["season_evidence"]:
        said.pop("site")
    assert taken == {**shared, "imported": True}


def test_forecasts_with_a_shared_fit_say_so(demo_client: TestClient, shared: Document) -> None:
    imported = demo_client.post("/v1/fits/import", json=shared).json()
    assert imported["in_use_by"] == []
    used = demo_client.put("/v1/vineyards/sandlark-bend/fit", json={"fit": imported["id"]})
    assert used.status_code == 200
    forecast = demo_client.get("/v1/vineyards/sandlark-bend/forecast", params={"as_of": "2026-05-20"}).json()
    assert {block["basis"] for block in forecast["blocks"]} == {"imported"}
    assert any("another grower" in caution for caution in forecast["cautions"])


def _put(path: str, value: Any) -> Callable[[Document], None]:
    """Set one value of a document."""

    def change(document: Document) -> None:
        *parents, last = [int(part) if part.isdigit() else part for part in path.split(".")]
        place: Any = document
        for part in parents:
            place = place[part]
        place[last] = value

    return change


HOSTILE: dict[str, tuple[Callable[[Document], None], str]] = {
    "a row too few": (lambda document: document["threshold_mean"].pop(), "threshold_mean"),
    "ragged": (lambda document: document["threshold_mean"][0].pop(), "threshold_mean"),
    "flat covariance": (_put("threshold_covariance", [[[[1.0]]]]), "threshold_covariance"),
    "no covariance": (_put("spread.within.0.0", -1.0), "spread.within"),
    "all zero": (_put("spread.between_seasons", [[0.0] * 4] * 4), "spread.between_seasons"),
    "not symmetric": (_put("spread.within.0.1", 1e3), "spread.within"),
    "not a number": (_put("threshold_mean.0.0", float("nan")), "threshold_mean"),
    "infinite": (_put("calibration.0", float("inf")), "calibration"),
    "huge": (_put("threshold_mean.0.0", 1e300), "threshold_mean"),
    "huge whole number": (_put("threshold_mean.0.0", 10**400), "threshold_mean"),
    "huge season": (_put("season_evidence.0.season", 10**30), "season"),
    "text": (_put("threshold_mean.0.0", "865"), "threshold_mean"),
    "truth": (_put("threshold_mean.0.0", True), "threshold_mean"),
    "negative weight": (_put("season_evidence.0.weight", -1.0), "weight"),
    "no season": (_put("season_evidence", []), "season_evidence"),
    "no stage": (_put("stages", []), "stages"),
    "unknown stage": (_put("stages.0", "dormancy"), "stages"),
    "stage twice": (_put("stages.0", "bloom_start"), "stages"),
    "cultivar twice": (_put("cultivars.0", "dusk-bobbin"), "cultivars"),
    "cultivar's name": (_put("cultivars.0", "Copper Lull"), "cultivars"),
    "NUL": (_put("vineyards.0", "\0"), "vineyards"),
    "no such rule": (_put("heat.cutoff", "vertical"), "heat"),
    "start day": (_put("heat.accumulate_from", "02-30"), "accumulate_from"),
    "another version": (_put("version", 2), "version"),
    "more fields": (_put("hook", {}), "hook"),
    "drift": (_put("spread.drift_share", 1.0), "drift_share"),
    "no heat a day": (_put("heat_a_day.0", 0.0), "heat_a_day"),
    "negative count": (_put("seasons_seen.0.0", -1), "seasons_seen"),
    "count of another kind": (_put("seasons_seen.0.0", 1.5), "seasons_seen"),
    "pooled": (_put("pooled_share.0.0", 1.01), "pooled_share"),
    "null": (_put("spread", None), "spread"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_fit_that_does_not_hold_together_is_refused(
    demo_client: TestClient, shared: Document, name: str
) -> None:
    change, said = HOSTILE[name]
    hostile = copy.deepcopy(shared)
    change(hostile)
    sys.set_int_max_str_digits(0)
    try:
        content = json.dumps(hostile)
    finally:
        sys.set_int_max_str_digits(4300)
    answer = demo_client.post(
        "/v1/fits/import", content=content.encode(), headers={"Content-Type": "application/json"}
    )
    assert_problem(answer, 422, said)
    assert len(demo_client.get("/v1/fits").json()["fits"]) == 1


@pytest.mark.parametrize("content", ["", "[]", "null", "{", "[" * 100_000, '"fit"'])
def test_what_is_no_document_is_refused(demo_client: TestClient, content: str) -> None:
    answer = demo_client.post(
        "/v1/fits/import", content=content.encode(), headers={"Content-Type": "application/json"}
    )
    assert answer.status_code in {400, 422}
    assert_problem(answer, answer.status_code)


@pytest.mark.parametrize(("within", "between"), [(1e-11, 1e11), (1e11, 1e-11), (1e11, 1e11)])
def test_an_extreme_fit_that_holds_together_is_forecast_with(
    demo_client: TestClient, shared: Document, within: float, between: float
) -> None:
    shared["spread"]["within"] = (within * np.eye(4)).tolist()
    shared["spread"]["between_seasons"] = (between * np.eye(4)).tolist()
    assert demo_client.post("/v1/fits/import", json=shared).status_code == 201
    answer = demo_client.get("/v1/vineyards/sandlark-bend/pollination", params={"as_of": "2026-05-20"})
    assert answer.status_code == 200, answer.text
