"""The planting check of the demo's vineyard: who is exposed, what would help, and whether it then does."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

import demo_weather
from tests.api.asking import assert_problem

VINEYARD = f"/v1/vineyards/{demo_weather.VINEYARD.key}"


def check(client: TestClient, vineyard: str = VINEYARD, **query: str | float) -> dict[str, Any]:
    answer = client.get(f"{vineyard}/planting-check", params=query)
    assert answer.status_code == 200, answer.text
    body: dict[str, Any] = answer.json()
    return body


def by_block(body: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {block["block"]: block for block in body["blocks"]}


def test_the_exposed_blocks_are_named_and_a_remedy_that_is_planted_closes_the_gap(
    demo_client: TestClient,
) -> None:
    body = check(demo_client)
    assert body["fit"] == demo_client.get("/v1/fits").json()["fits"][0]["id"]
    assert body["seasons"] == list(range(2012, 2026))
    blocks = by_block(body)
    assert {key for key, block in blocks.items() if block["exposed"]} == {"west-4", "north-1", "east-2"}
    alone = blocks["north-1"]
    assert (alone["sources"], alone["seasons_covered"]) == ([], 0)
    assert "in reach" in alone["why"]
    best = alone["would_help"][0]
    assert best["closes_gap"]
    place = demo_client.get(f"{VINEYARD}/blocks/north-1").json()
    beside = {"cultivar": best["cultivar"], "x_m": place["x_m"] + 5, "y_m": place["y_m"]}
    assert demo_client.put(f"{VINEYARD}/blocks/north-2", json=beside).status_code == 201
    helped = by_block(check(demo_client))["north-1"]
    assert not helped["exposed"]
    assert helped["sources"] == ["north-2"]
    assert helped["seasons_covered"] == best["seasons_covered"]
    assert helped["mean_share_of_bloom_covered"] == best["mean_share_of_bloom_covered"]


def test_a_cultivar_of_the_grower_that_is_planted_nowhere_is_offered_without_a_question(
    demo_client: TestClient,
) -> None:
    # Marsh Ladle stands in middle-1 alone: pulled out, it would still help, and its flower type is still known.
    other = {"cultivar": "gourd-rafter", "x_m": 40, "y_m": 0}
    assert demo_client.put(f"{VINEYARD}/blocks/middle-1", json=other).status_code == 200
    blocks = demo_client.get(f"{VINEYARD}/blocks").json()["blocks"]
    assert "marsh-ladle" not in {block["cultivar"] for block in blocks}
    remedies = {
        remedy["cultivar"]: remedy for remedy in by_block(check(demo_client))["north-1"]["would_help"]
    }
    assert remedies["marsh-ladle"]["ask"] is None


def test_vines_and_published_layouts(demo_client: TestClient) -> None:
    body = check(demo_client)
    blocks = demo_client.get(f"{VINEYARD}/blocks").json()["blocks"]
    cultivars = {
        cultivar["cultivar"]: cultivar for cultivar in demo_client.get("/v1/cultivars").json()["cultivars"]
    }
    kind = {block["block"]: cultivars[block["cultivar"]] for block in blocks}
    vines = {block["block"]: block["vines"] for block in blocks}
    pistillate = [key for key in vines if kind[key]["flower_type"] == "pistillate"]
    sources = [
        key for key in vines if kind[key]["flower_type"] != "pistillate" and kind[key]["viable_pollen"]
    ]
    assert body["pistillate_vines"] == sum(vines[key] for key in pistillate)
    assert body["source_vines"] == sum(vines[key] for key in sources)
    reached = sum(block["vines"] for block in body["blocks"] if block["sources"])
    assert body["share_in_reach"] == round(reached / body["pistillate_vines"], 3)
    share = body["source_vines"] / sum(vines.values())
    (rule,) = [each for each in body["layout"] if "one eighth to one quarter" in each["rule"]]
    assert (rule["measured"], rule["verdict"]) == (round(share, 3), "met")
    assert {each["verdict"] for each in body["layout"]} >= {"met", "does_not_apply"}
    assert any("disagree" in caution for caution in body["cautions"])


def test_a_stricter_threshold_exposes_more(demo_client: TestClient) -> None:
    strict = by_block(check(demo_client, enough_share=0.999, enough_seasons=1))
    lax = by_block(check(demo_client, enough_share=0.01, enough_seasons=0.01))
    exposed = {key for key, block in strict.items() if block["exposed"]}
    assert exposed > {key for key, block in lax.items() if block["exposed"]} == {"north-1", "east-2"}


def test_without_a_fit_only_the_layout_is_checked(client: TestClient) -> None:
    place = {"name": "Mast", "latitude": 31.0, "longitude": -84.0}
    client.put("/v1/stations/mast", json=place)
    client.put("/v1/vineyards/hollow", json={"name": "Hollow", "station": "mast"})
    planting = (
        "block,cultivar,flower_type,x_m,y_m\nb1,Thimble Ash,pistillate,0,0\nb2,Loam Whistle,perfect,6,0\n"
    )
    csv = {"Content-Type": "text/csv"}
    client.post("/v1/vineyards/hollow/planting", content=planting, headers=csv)
    before = check(client, "/v1/vineyards/hollow", rows_along="x")
    days = "date,tmin_c,tmax_c\n2025-01-01,3,12\n"
    client.post("/v1/stations/mast/temperatures", content=days, headers=csv)
    body = check(client, "/v1/vineyards/hollow", rows_along="x")
    assert (body["fit"], body["seasons"], body["share_in_reach"]) == (None, [], 1.0)
    assert by_block(body)["b1"]["sources"] == ["b2"]
    assert any("Without a fit in use, only the layout was checked" in said for said in body["cautions"])
    assert before == body  # where vines stand needs no weather
    client.put("/v1/vineyards/hollow", json={"name": "Hollow"})
    assert check(client, "/v1/vineyards/hollow", rows_along="x") == body  # and no station


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"enough_share": "0"}, "query.enough_share"),
        ({"enough_seasons": "1.5"}, "query.enough_seasons"),
        ({"rows_along": "z"}, "query.rows_along"),
    ],
)
def test_what_is_refused(demo_client: TestClient, query: dict[str, str], said: str) -> None:
    assert_problem(demo_client.get(f"{VINEYARD}/planting-check", params=query), 422, said)


def test_no_such_vineyard_or_fit(demo_client: TestClient) -> None:
    assert_problem(demo_client.get("/v1/vineyards/nowhere/planting-check"), 404, "vineyard")
    assert_problem(demo_client.get(f"{VINEYARD}/planting-check", params={"fit": "f1"}), 404, "fit")
