"""Before a fit is shared it is shown what that gives away: every name in it, and that there is no more."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

from fastapi.testclient import TestClient

import demo_weather
from models.stages import STAGE_KEYS

CODE = re.compile(r"[a-z]+(_[a-z]+)*")  # words of ours: methods, reasons
DAY = re.compile(r"\d{4}-\d\d-\d\d")


def texts(value: Any) -> Iterator[str]:
    match value:
        case str():
            yield value
        case list():
            for each in value:
                yield from texts(each)
        case dict():
            yield from texts(list(value.values()))


def test_what_is_shown_first_is_every_name_in_the_document(demo_client: TestClient) -> None:
    home = f"/v1/vineyards/{demo_weather.VINEYARD.key}"
    block = demo_client.get(f"{home}/blocks").json()["blocks"][0]["block"]
    # a date that no heat explains is set aside, and so names its block
    log = f"season,block,bloom_start\n2016,{block},2016-01-03\n"
    sent = demo_client.post(f"{home}/bloom-log", content=log, headers={"Content-Type": "text/csv"})
    assert sent.is_success, sent.text
    [cultivar] = {each["cultivar"] for each in demo_client.get("/v1/cultivars").json()["cultivars"][:1]}
    assert demo_client.patch(f"/v1/cultivars/{cultivar}", json={"species": "Vitis inventa"}).is_success
    made = demo_client.post("/v1/fits", json={"heat": {"method": "average", "base_c": 10}})
    assert made.is_success, made.text
    path = f"/v1/fits/{made.json()['id']}/document"
    shown = demo_client.get(path, params={"preview": True}).json()
    document = demo_client.get(path).json()
    named = {name for kind, names in shown.items() if kind != "observations_set_aside" for name in names}
    told = set(texts(document)) - set(STAGE_KEYS)
    unnamed = {text for text in told - named if not CODE.fullmatch(text) and not DAY.fullmatch(text)}
    assert unnamed == set()
    assert {name for name in named if isinstance(name, str)} <= told
    assert shown["vineyards"] == [demo_weather.VINEYARD.key]
    assert f"station {demo_weather.STATION.key}" in shown["sites"]
    assert shown["species"] == ["Vitis inventa"]
    assert block in shown["blocks"]
    assert shown["observations_set_aside"] == len(document["set_aside"])
    assert set(made.json()["seasons"]) <= set(shown["seasons"])
    numbers = set(re.findall(r"-?[\d.]+(?:e[-+]?\d+)?", json.dumps(document)))
    assert len(numbers) > 100
    assert not {str(demo_weather.STATION.latitude), str(demo_weather.STATION.longitude)} & numbers
