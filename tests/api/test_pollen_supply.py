"""Quality, flowers a vine and notes of a cultivar: they weigh and tell, and change no cover."""

from __future__ import annotations

from typing import Any

from fastapi.testclient import TestClient

import demo_weather
from tests.api.asking import send_csv

BOARD = f"/vineyards/{demo_weather.VINEYARD.key}"
VINEYARD = f"/v1{BOARD}"
AS_OF = {"as_of": demo_weather.AS_OF.isoformat()}


def cover(client: TestClient) -> dict[str, dict[str, Any]]:
    answer = client.get(f"{VINEYARD}/pollination", params=AS_OF)
    assert answer.status_code == 200, answer.text
    return {block["block"]: block for block in answer.json()["pistillate_blocks"]}


def test_a_source_that_gives_less_weighs_less_and_no_gap_is_hidden(demo_client: TestClient) -> None:
    before = cover(demo_client)
    block = next(
        each for each in before.values() if len({source["cultivar"] for source in each["sources"]}) > 1
    )
    source = block["sources"][0]
    changed = demo_client.patch(
        f"/v1/cultivars/{source['cultivar']}", json={"pollen_quality": 0.5, "flowers_a_vine": 500}
    )
    assert changed.status_code == 200, changed.text
    after = cover(demo_client)
    (now,) = [each for each in after[block["block"]]["sources"] if each["block"] == source["block"]]
    assert now["share_of_supply"] < source["share_of_supply"]
    assert sum(each["share_of_supply"] for each in after[block["block"]]["sources"]) < 1.01
    for key, told in after.items():
        for same in ("share_of_bloom_covered", "uncovered"):
            assert told[same] == before[key][same]


def test_a_note_on_a_pair_stands_beside_its_warning_and_is_undone(demo_client: TestClient) -> None:
    block = cover(demo_client)["west-4"]
    source = demo_client.get(f"{VINEYARD}/blocks/west-3").json()["cultivar"]
    name = demo_client.get(f"/v1/cultivars/{source}").json()["name"]
    page = f"{BOARD}/cultivars/{block['cultivar']}"
    notes = f"{name} | 8.3 to 9.0 berries a cluster | a trial of pollinizers"
    stored = demo_client.post(
        page, data={"notes": notes, "quality": "80", "flowers": ""}, follow_redirects=False
    )
    assert stored.status_code == 303, stored.text
    assert cover(demo_client)["west-4"]["notes"] == [
        {"source": source, "text": "8.3 to 9.0 berries a cluster", "reference": "a trial of pollinizers"}
    ]
    said = f"Noted of {name} as a source: 8.3 to 9.0 berries a cluster (a trial of pollinizers)"
    assert said in demo_client.get(BOARD, params=AS_OF).text.split('id="bloom"')[0]
    shown = demo_client.get(stored.headers["location"]).text
    assert f"{source} | 8.3 to 9.0 berries a cluster | a trial of pollinizers" in shown
    assert 'value="80"' in shown
    # a planting file says nothing of it
    row = f"west-4,{block['cultivar']},pistillate,7,7"
    planted = send_csv(demo_client, f"{VINEYARD}/planting", f"block,cultivar,flower_type,x_m,y_m\n{row}\n")
    assert planted.status_code == 200
    assert demo_client.get(f"/v1/cultivars/{block['cultivar']}").json()["pollen_quality"] == 0.8
    for change in (planted.headers["Capfall-Change"], stored.headers["capfall-change"]):
        assert demo_client.post(f"/v1/changes/{change}/undo").status_code == 200
    assert cover(demo_client)["west-4"]["notes"] == []
    for wrong in ("no bars", "nobody | x | y", f"{name} | | y"):
        assert demo_client.post(page, data={"notes": wrong}).status_code == 422
    assert demo_client.post(page, data={"quality": "0"}).status_code == 422
