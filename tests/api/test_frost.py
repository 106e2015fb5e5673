"""Frost on the forecast: nights to come, nights that came, and the limit in either unit."""

from __future__ import annotations

from typing import Any

from fastapi.testclient import TestClient

import demo_weather
from tests.api.asking import send_csv

FORECAST = f"/v1/vineyards/{demo_weather.VINEYARD.key}/forecast"
TEMPERATURES = f"/v1/stations/{demo_weather.STATION.key}/temperatures"


def ask(client: TestClient, **query: str | float) -> dict[str, Any]:
    answer = client.get(FORECAST, params=query)
    assert answer.status_code == 200, answer.text
    body: dict[str, Any] = answer.json()
    return body


def frost_of(body: dict[str, Any], block: str = "west-1") -> dict[str, Any]:
    (found,) = [each["frost"] for each in body["blocks"] if each["block"] == block]
    return dict(found)


def test_a_higher_limit_has_a_higher_chance_and_june_has_none(demo_client: TestClient) -> None:
    early = ask(demo_client, as_of="2026-03-10")
    warm, cold = (frost_of(ask(demo_client, as_of="2026-03-10", frost_limit=limit)) for limit in (8.0, -20.0))
    assert (early["frost_limit"], early["temperature_unit"]) == (0.0, "degC")
    assert 0 == cold["chance"] <= frost_of(early)["chance"] < warm["chance"] <= 1
    assert warm["chance_in_bloom"] < warm["chance"]
    assert warm["from_budbreak"]
    late = ask(demo_client, as_of="2026-05-20")
    assert frost_of(late) == {"chance": 0.0, "chance_in_bloom": 0.0, "from_budbreak": True, "nights": []}
    assert not [caution for caution in late["cautions"] if "damage muscadine" in caution]


def test_a_frost_night_after_budbreak_is_told_with_its_cautions(demo_client: TestClient) -> None:
    before = ask(demo_client, as_of="2026-05-20")
    assert not [caution for caution in before["cautions"] if "secondary buds" in caution]
    assert send_csv(demo_client, TEMPERATURES, "date,tmin_c,tmax_c\n2026-04-20,-2.5,9\n").status_code == 200
    after = ask(demo_client, as_of="2026-05-20")
    assert frost_of(after)["nights"] == [{"date": "2026-04-20", "tmin": -2.5}]
    assert [caution for caution in after["cautions"] if "secondary buds" in caution]
    assert [caution for caution in after["cautions"] if "damage muscadine" in caution]
    unknown = ask(demo_client, as_of="2026-04-20")
    assert frost_of(unknown)["nights"] == []


def test_the_limit_and_the_nights_in_fahrenheit(demo_client: TestClient) -> None:
    send_csv(demo_client, TEMPERATURES, "date,tmin_c,tmax_c\n2026-04-20,-2.5,9\n")
    body = ask(demo_client, as_of="2026-05-20", units="us")
    assert (body["frost_limit"], body["temperature_unit"]) == (32.0, "degF")
    assert frost_of(body)["nights"] == [{"date": "2026-04-20", "tmin": 27.5}]
    lower = ask(demo_client, as_of="2026-05-20", units="us", frost_limit=27)
    assert (lower["frost_limit"], frost_of(lower)["nights"]) == (27.0, [])


def test_a_block_without_a_forecast_has_no_chance(demo_client: TestClient) -> None:
    vineyard = f"/v1/vineyards/{demo_weather.VINEYARD.key}"
    demo_client.put("/v1/cultivars/ember-sedge", json={"name": "Ember Sedge", "flower_type": "perfect"})
    demo_client.put(f"{vineyard}/blocks/far-1", json={"cultivar": "ember-sedge", "x_m": 900, "y_m": 0})
    unknown = frost_of(ask(demo_client, as_of="2026-03-10"), "far-1")
    assert unknown == {"chance": None, "chance_in_bloom": None, "from_budbreak": False, "nights": []}
