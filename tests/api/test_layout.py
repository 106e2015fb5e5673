"""A layout that works, over HTTP."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from models.vineyard.past_cover import DRAWS, past_blooms
from tests.api.asking import VINEYARD as HOLLOW
from tests.api.asking import assert_problem, put_vineyard, send_csv

DEMO = "/v1/vineyards/sandlark-bend"


def search(client: TestClient, vineyard: str = DEMO, **body: Any) -> dict[str, Any]:
    answer = client.post(f"{vineyard}/layout", json=body)
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def covered(client: TestClient, enough_seasons: float) -> dict[str, int]:
    answer = client.get(f"{DEMO}/planting-check", params={"enough_seasons": enough_seasons})
    return {block["block"]: block["seasons_covered"] for block in answer.json()["blocks"]}


def test_the_changes_that_are_told_cover_the_demo_when_they_are_planted(
    demo_client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    # the check takes a block's own dates where there are some; here it takes, as the search, its cultivar's
    monkeypatch.setattr(
        "models.vineyard.planting_check.past_blooms",
        lambda fit, site, cultivars, *_, draws=DRAWS: past_blooms(fit, site, cultivars, draws=draws),
    )
    found = search(demo_client)
    seasons = len(found["seasons"])
    assert seasons >= 12
    assert found["asked"]["found"] == "fewest"
    assert found["asked"]["vines"] == sum(found["asked"]["order"].values()) > 0
    prices = [(step["vines"], step["seasons_covered"]) for step in found["steps"]]
    assert prices == sorted(prices)
    assert len(prices) > 1
    assert prices[-1] == (found["asked"]["vines"], seasons)
    assert min(covered(demo_client, 1.0).values()) < seasons  # as it stands
    assert {each["seasons_covered"] for each in found["recomputed"]} == {seasons}
    for number, change in enumerate(found["changes"]):
        place = demo_client.get(f"{DEMO}/blocks/{change['block']}").json()
        left = {"vines": place["vines"] - change["vines"]}
        assert demo_client.patch(f"{DEMO}/blocks/{change['block']}", json=left).status_code == 200
        new = {
            "cultivar": change["new"],
            "x_m": change["x_m"],
            "y_m": change["y_m"],
            "vines": change["vines"],
        }
        assert demo_client.put(f"{DEMO}/blocks/new-{number}", json=new).status_code == 201
    assert set(covered(demo_client, 1.0).values()) == {seasons}
    assert search(demo_client)["asked"]["vines"] == 0


def test_a_spare_and_more_of_the_bloom_cost_more_vines(demo_client: TestClient) -> None:
    fewest = search(demo_client)["asked"]["vines"]
    assert search(demo_client, enough_share=0.95)["asked"]["vines"] > fewest
    spare = search(demo_client, spare="vine")
    assert spare["asked"]["vines"] > fewest
    assert spare["said"] == ["It holds should any one source vine give nothing."]


def test_a_field_to_be_planted(demo_client: TestClient) -> None:
    rows = [{"vines": 8, "cultivar": "copper-lull"}, {"vines": 8, "cultivar": "quiet-spindle"}, {"vines": 8}]
    found = search(demo_client, field={"rows": rows}, keep=["row 1", "row 2"])
    assert found["vines"] == 24
    assert found["asked"]["found"] == "fewest"
    assert {change["block"] for change in found["changes"]} == {"row 3"}
    assert all(change["old"] is None for change in found["changes"])
    assert {each["seasons_covered"] for each in found["recomputed"]} == {len(found["seasons"])}


def test_a_vineyard_without_a_fit_is_searched_by_reach(client: TestClient) -> None:
    put_vineyard(client)
    rows = "block,cultivar,flower_type,x_m,y_m\nb1,Thimble Ash,pistillate,0,0\nb2,Loam Whistle,perfect,90,0\n"
    assert send_csv(client, f"{HOLLOW}/planting", rows).status_code == 200
    found = search(client, HOLLOW)
    assert (found["fit"], found["seasons"]) == (None, [])
    assert found["asked"]["said"] == "1 vine changed: a source in reach of every pistillate vine."
    assert [change["said"] for change in found["changes"]] == ["b1, vine 1: thimble-ash to loam-whistle"]
    assert any("Without a fit" in caution for caution in found["cautions"])


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ({"plant": ["nobody"]}, "nobody"),
        ({"seasons": 1.5}, "seasons"),
        ({"spare": "two"}, "spare"),
        ({"field": {"rows": []}}, "rows"),
        ({"field": {"rows": [{"vines": 500}] * 5}}, "2000"),
    ],
)
def test_what_is_refused(client: TestClient, body: dict[str, Any], said: str) -> None:
    put_vineyard(client)
    assert_problem(client.post(f"{HOLLOW}/layout", json=body), 422, said)


def test_no_such_vineyard(client: TestClient) -> None:
    assert_problem(client.post("/v1/vineyards/nowhere/layout"), 404, "vineyard")
