"""Forecasts and pollen cover over HTTP: what the demo is built to show, the same bytes, and no leak."""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient

import demo_weather
from demo_weather import make_demo
from models.stages import BLOOM_STAGES
from tests.api.asking import Answer, assert_problem, send_csv
from tests.conftest import client_of

VINEYARD = f"/v1/vineyards/{demo_weather.VINEYARD.key}"
STATION = f"/v1/stations/{demo_weather.STATION.key}"
AS_OF = demo_weather.AS_OF.isoformat()
FORECAST, POLLINATION = f"{VINEYARD}/forecast", f"{VINEYARD}/pollination"


def asked(client: TestClient, path: str = FORECAST, **query: Any) -> Answer:
    answer = client.get(path, params={"as_of": AS_OF, **query})
    assert answer.status_code == 200, answer.text
    return answer


def stages(forecast: dict[str, Any]) -> dict[tuple[str, str], dict[str, Any]]:
    return {
        (block["block"], key): stage for block in forecast["blocks"] for key, stage in block["stages"].items()
    }


def the_fit(client: TestClient) -> str:
    fit: str = client.get("/v1/fits").json()["fits"][0]["id"]
    return fit


def test_the_demo_season(demo_client: TestClient) -> None:
    forecast = asked(demo_client).json()
    assert forecast["season"] == 2026
    assert forecast["temperatures_through"] == "2026-05-19"
    assert (forecast["outlook_issued_on"], forecast["outlook_through"]) == (AS_OF, "2026-05-26")
    assert forecast["trace_seasons"] == list(range(2012, 2026))
    assert len(forecast["trace_shifts"]) == 14
    assert 0 < np.abs(forecast["trace_shifts"]).max() < 2
    us = asked(demo_client, units="us").json()["trace_shifts"]
    np.testing.assert_allclose(us, 1.8 * np.array(forecast["trace_shifts"]), rtol=0, atol=0.02)
    found = stages(forecast)
    assert found.keys() == {(block.key, stage) for block in make_demo.BLOCKS for stage in make_demo.STAGES}
    assert {block["basis"] for block in forecast["blocks"]} == {"own"}
    for (block, stage), told in found.items():
        assert told["low"] <= told["median"] <= told["high"]
        if (block, stage) == ("west-1", "bloom_start"):  # a visit saw 12 % of its caps off on 19 May
            assert told["status"] == "observed"
            assert "2026-05-16" < told["median"] <= "2026-05-19"
        elif stage == "budbreak":
            assert told["status"] == "presumed"
        else:
            assert told["status"] == "expected"
            assert "2026-05-19" < told["high"] < "2026-07-01"
    for key in {block for block, _ in found}:
        medians = [found[key, stage]["median"] for stage in make_demo.STAGES]
        assert medians == sorted(medians)


def test_units_change_heat_only(demo_client: TestClient) -> None:
    metric, us = asked(demo_client).json(), asked(demo_client, units="us").json()
    assert us["heat_unit"] == "degF_day"
    assert us["heat_to_date"] == pytest.approx(1.8 * metric["heat_to_date"], abs=0.02)
    for key, told in stages(us).items():
        same = stages(metric)[key]
        assert told["threshold"] == pytest.approx(1.8 * same["threshold"], abs=0.02)
        assert told["median"] == same["median"]


def test_a_wider_interval_holds_the_narrower(demo_client: TestClient) -> None:
    narrow, wide = (stages(asked(demo_client, interval=share).json()) for share in (0.5, 0.95))
    assert any(wide[key]["low"] < narrow[key]["low"] for key in wide)
    for key, told in wide.items():
        assert told["low"] <= narrow[key]["low"]
        assert told["high"] >= narrow[key]["high"]


def test_the_same_question_has_the_same_bytes(
    demo_client: TestClient, demo_database: Path, tmp_path: Path
) -> None:
    shutil.copy(demo_database, tmp_path / "another.db")
    with client_of(tmp_path / "another.db") as another:
        for path in (FORECAST, POLLINATION):
            first = asked(demo_client, path).content
            assert asked(demo_client, path).content == first
            assert asked(another, path).content == first
    assert asked(demo_client, interval=0.5).content != asked(demo_client).content


Change = Callable[[TestClient], Answer]

LATER: dict[str, Change] = {
    "temperatures": lambda client: send_csv(
        client,
        f"{STATION}/temperatures",
        "date,tmin_c,tmax_c\n" + "".join(f"2026-05-{day},25,44\n" for day in range(20, 32)),
    ),
    "a visit": lambda client: client.post(
        f"{VINEYARD}/visits", json=[{"date": "2026-05-21", "block": "west-4", "percent_open": 99}]
    ),
    "log rows": lambda client: send_csv(
        client,
        f"{VINEYARD}/bloom-log",
        "season,block,bloom_start,full_bloom\n2026,west-4,2026-05-21,2026-05-22\n",
    ),
    "an outlook": lambda client: send_csv(
        client,
        f"{STATION}/temperatures",
        "date,tmin_c,tmax_c\n2026-05-21,2,5\n2026-05-22,2,5\n",
        kind="outlook",
        issued_on="2026-05-21",
    ),
    "another season": lambda client: send_csv(
        client,
        f"{STATION}/temperatures",
        "date,tmin_c,tmax_c\n2027-05-01,25,44\n",
        confirm="dates",
    ),
}
KNOWN: dict[str, Change] = {
    "temperatures": lambda client: send_csv(
        client, f"{STATION}/temperatures", "date,tmin_c,tmax_c\n2026-05-19,4,6\n"
    ),
    "a visit": lambda client: client.post(
        f"{VINEYARD}/visits", json=[{"date": AS_OF, "block": "west-4", "percent_open": 99}]
    ),
    "log rows": lambda client: send_csv(
        client,
        f"{VINEYARD}/bloom-log",
        f"season,block,bloom_start,full_bloom\n2026,west-4,2026-05-19,{AS_OF}\n",
    ),
    "an outlook": lambda client: send_csv(
        client,
        f"{STATION}/temperatures",
        "date,tmin_c,tmax_c\n2026-05-20,2,5\n2026-05-21,2,5\n",
        kind="outlook",
        issued_on=AS_OF,
    ),
}


@pytest.mark.parametrize("name", LATER)
def test_nothing_dated_later_leaks_in(demo_client: TestClient, name: str) -> None:
    before = [asked(demo_client, path).content for path in (FORECAST, POLLINATION)]
    answer = LATER[name](demo_client)
    assert answer.status_code == 200, answer.text
    assert [asked(demo_client, path).content for path in (FORECAST, POLLINATION)] == before


@pytest.mark.parametrize("name", KNOWN)
def test_what_is_known_by_then_counts(demo_client: TestClient, name: str) -> None:
    before = stages(asked(demo_client).json())
    answer = KNOWN[name](demo_client)
    assert answer.status_code == 200, answer.text
    after = stages(asked(demo_client).json())
    assert [told["median"] for told in after.values()] != [told["median"] for told in before.values()]


def test_this_seasons_first_blooms_sharpen_the_others(demo_client: TestClient) -> None:
    visits = demo_client.get(f"{VINEYARD}/visits").json()["visits"]
    assert visits
    width = {}
    for as_of in ("2026-05-01", AS_OF):
        told = stages(asked(demo_client, as_of=as_of).json())["middle-5", "bloom_start"]
        low, high = (dt.date.fromisoformat(told[end]) for end in ("low", "high"))
        width[as_of] = (high - low).days
    assert width[AS_OF] < width["2026-05-01"]


def test_a_block_that_bears_another_blocks_cultivars_name_does_not_pass_its_visits_on(
    demo_client: TestClient,
) -> None:
    """Blocks and cultivars are two name spaces; dusk-bobbin grows in middle-5, where nobody has looked."""
    namesake = f"{VINEYARD}/blocks/dusk-bobbin"
    put = demo_client.put(namesake, json={"cultivar": "wren-anvil", "x_m": 5.0, "y_m": 0.0})
    assert put.status_code == 201, put.text
    visits = "date,block,percent_open\n2026-05-10,dusk-bobbin,0\n2026-05-15,dusk-bobbin,60\n"
    assert send_csv(demo_client, f"{VINEYARD}/visits", visits).status_code == 200
    found = stages(asked(demo_client).json())
    assert found["dusk-bobbin", "bloom_start"]["status"] == "observed"
    assert found["middle-5", "bloom_start"]["status"] == "expected"
    whole = "date,cultivar,percent_open\n2026-05-17,Dusk Bobbin,0\n2026-05-19,Dusk Bobbin,15\n"
    assert send_csv(demo_client, f"{VINEYARD}/visits", whole).status_code == 200
    found = stages(asked(demo_client).json())
    assert found["dusk-bobbin", "full_bloom"]["low"] > "2026-05-10"
    assert found["dusk-bobbin", "full_bloom"]["high"] <= "2026-05-15"
    assert found["middle-5", "bloom_start"]["low"] > "2026-05-17"
    assert found["middle-5", "bloom_start"]["high"] <= "2026-05-19"


def test_a_fit_that_has_seen_the_season_is_told(demo_client: TestClient) -> None:
    def told(**query: Any) -> bool:
        cautions = asked(demo_client, as_of="2024-05-15", **query).json()["cautions"]
        return any("was made with season 2024" in caution for caution in cautions)

    assert told()
    without = demo_client.post("/v1/fits", json={"exclude_seasons": [2024], "search": False}).json()
    assert not told(fit=without["id"])


def test_a_slip_of_this_season_is_set_aside_and_the_rest_stands(demo_client: TestClient) -> None:
    log = "season,block,bloom_start,full_bloom\n2026,west-2,2026-05-19,2026-05-02\n"
    assert send_csv(demo_client, f"{VINEYARD}/bloom-log", log).json()["warnings"]
    forecast = asked(demo_client).json()
    assert any("out of order" in caution for caution in forecast["cautions"])
    medians = [stages(forecast)["west-2", stage]["median"] for stage in BLOOM_STAGES]
    assert medians == sorted(medians)


def test_a_cultivar_without_history_is_forecast_from_its_group_and_the_rest_stands(
    demo_client: TestClient,
) -> None:
    before = asked(demo_client).json()
    demo_client.put("/v1/cultivars/shy-lark", json={"name": "Shy Lark", "flower_type": "pistillate"})
    block = {"cultivar": "shy-lark", "x_m": 42, "y_m": 3}
    demo_client.put(f"{VINEYARD}/blocks/middle-9", json=block)
    forecast = asked(demo_client).json()
    (new,) = (each for each in forecast["blocks"] if each["block"] == "middle-9")
    assert (new["basis"], new["why"]) == ("group", None)
    assert "may be of another species" in new["caution"]
    assert [each for each in forecast["blocks"] if each["block"] != "middle-9"] == before["blocks"]
    blocks = asked(demo_client, POLLINATION).json()["pistillate_blocks"]
    (cover,) = (each for each in blocks if each["block"] == "middle-9")
    assert 0.3 < cover["share_of_bloom_covered"]["median"] < 1
    assert "unknown_bloom" not in [warning["code"] for warning in cover["warnings"]]


def test_the_warnings_that_the_demo_is_built_to_have(demo_client: TestClient) -> None:
    answer = asked(demo_client, POLLINATION).json()
    blocks = {block["block"]: block for block in answer["pistillate_blocks"]}
    assert blocks.keys() == {
        block.key
        for block in make_demo.BLOCKS
        if make_demo.CULTIVARS[block.cultivar].flower_type == "pistillate"
    }
    codes = {key: [warning["code"] for warning in block["warnings"]] for key, block in blocks.items()}
    assert codes["west-4"][0] == "pollen_ends_early"
    assert codes["north-1"] == ["no_pollen_source_in_reach"]
    assert codes["east-2"] == ["no_viable_pollen"]
    assert codes["middle-2"] == ["single_pollen_source"]
    assert [codes[key] for key in ("west-2", "middle-3", "middle-5")] == [[], [], []]
    for key in ("west-2", "middle-2", "middle-3", "middle-5"):
        assert blocks[key]["share_of_bloom_covered"]["median"] > 0.9
    west_4 = blocks["west-4"]
    assert west_4["share_of_bloom_covered"]["median"] < 0.85
    assert west_4["cultivar_name"] == "Lantern Hush"
    assert "Gourd Rafter" in west_4["warnings"][0]["message"]
    assert {source["block"]: source["distance_m"] for source in west_4["sources"]} == {
        "west-1": 13.0,
        "west-3": 9.5,
    }
    assert (answer["reach_m"], answer["reach_ft"]) == (15.24, 50.0)
    assert any("receptive for 3 days" in caution for caution in answer["cautions"])


def test_a_vineyards_own_days_and_reach_count(demo_client: TestClient) -> None:
    def west_4() -> dict[str, Any]:
        blocks = asked(demo_client, POLLINATION).json()["pistillate_blocks"]
        (found,) = (block for block in blocks if block["block"] == "west-4")
        assert isinstance(found, dict)
        return found

    before = west_4()["share_of_bloom_covered"]["median"]
    middle_2 = asked(demo_client, POLLINATION).json()["pistillate_blocks"][1]
    days = middle_2["sources"][0]["overlap_days"]["median"]
    vineyard = {"name": "Sandlark Bend", "station": demo_weather.STATION.key, "reach_m": 15}
    demo_client.put(VINEYARD, json={**vineyard, "receptive_days": 5, "pollen_days": 9})
    answer = asked(demo_client, POLLINATION).json()
    assert (answer["receptive_days"], answer["pollen_days"]) == (5, 9)
    assert not any("Assumed" in caution for caution in answer["cautions"])
    assert west_4()["share_of_bloom_covered"]["median"] > before + 0.05
    demo_client.put(VINEYARD, json={**vineyard, "receptive_days": 9})
    assert west_4()["share_of_bloom_covered"]["median"] == before  # pollen that is over comes to no flower
    middle_2 = asked(demo_client, POLLINATION).json()["pistillate_blocks"][1]
    assert middle_2["sources"][0]["overlap_days"]["median"] > days
    demo_client.put(VINEYARD, json={**vineyard, "reach_m": 1})
    assert west_4()["warnings"][0]["code"] == "no_pollen_source_in_reach"


def test_without_all_bloom_stages_the_layout_is_judged_all_the_same(demo_client: TestClient) -> None:
    fit = demo_client.post("/v1/fits", json={"stages": ["full_bloom"], "search": False}).json()
    answer = asked(demo_client, POLLINATION, fit=fit["id"]).json()
    assert any("lacks bloom_start, bloom_end" in caution for caution in answer["cautions"])
    blocks = {block["block"]: block for block in answer["pistillate_blocks"]}
    assert {block["share_of_bloom_covered"] for block in blocks.values()} == {None}
    assert "no_pollen_source_in_reach" in [warning["code"] for warning in blocks["north-1"]["warnings"]]


@pytest.mark.parametrize(
    ("query", "status", "said"),
    [
        ({"as_of": "2012-01-01"}, 422, "begin on 2012-01-01"),
        ({"as_of": "1900-05-01"}, 422, "begin on 2012-01-01"),
        ({"as_of": "0001-01-01"}, 422, "begin on 2012-01-01"),
        ({"as_of": "2012-05-01"}, 422, "upload at least one whole past year"),
        ({"as_of": "9999-12-31"}, 422, "season"),
        ({"as_of": "2026-02-31"}, 422, "as_of"),
        ({"as_of": AS_OF, "interval": 1}, 422, "interval"),
        ({"as_of": AS_OF, "interval": "nan"}, 422, "interval"),
        ({"as_of": AS_OF, "fit": "nowhere"}, 404, "nowhere"),
        ({"as_of": AS_OF, "units": "stone"}, 422, "units"),
    ],
)
def test_what_cannot_be_forecast_is_told(
    demo_client: TestClient, query: dict[str, Any], status: int, said: str
) -> None:
    assert_problem(demo_client.get(FORECAST, params=query), status, said)


def test_a_far_day_rests_on_the_past_and_says_so(demo_client: TestClient) -> None:
    forecast = asked(demo_client, as_of="2031-05-01").json()
    assert forecast["season"] == 2031
    assert any("No temperatures of season 2031" in caution for caution in forecast["cautions"])


def test_a_vineyard_that_is_not_ready_is_told(demo_client: TestClient) -> None:
    assert_problem(demo_client.get("/v1/vineyards/nowhere/forecast"), 404, "nowhere")
    demo_client.put("/v1/vineyards/bare", json={"name": "Bare"})
    bare = "/v1/vineyards/bare/forecast"
    assert_problem(demo_client.get(bare, params={"as_of": AS_OF}), 422, "has no station", "vineyard.station")
    demo_client.put("/v1/vineyards/bare", json={"name": "Bare", "station": demo_weather.STATION.key})
    assert_problem(demo_client.get(bare, params={"as_of": AS_OF}), 422, "has no blocks")
    place = {"name": "Silent", "latitude": 31.0, "longitude": -87.0, "elevation_m": None}
    demo_client.put("/v1/stations/silent", json=place)
    demo_client.put("/v1/vineyards/bare", json={"name": "Bare", "station": "silent"})
    assert_problem(demo_client.get(bare, params={"as_of": AS_OF}), 422, "no temperatures")


def test_without_a_fit_it_is_told_how_to_make_one(client: TestClient) -> None:
    place = {"name": "Hollow gauge", "latitude": 33.5, "longitude": -84.0, "elevation_m": 250}
    client.put("/v1/stations/hollow-gauge", json=place)
    client.put("/v1/vineyards/hollow", json={"name": "Hollow", "station": "hollow-gauge"})
    send_csv(client, "/v1/stations/hollow-gauge/temperatures", "date,tmin_c,tmax_c\n2025-05-01,11,24\n")
    assert_problem(client.get("/v1/vineyards/hollow/forecast"), 422, "has no blocks")
    planting = "block,cultivar,flower_type,x_m,y_m\nb1,Thimble Ash,pistillate,0,0\n"
    assert send_csv(client, "/v1/vineyards/hollow/planting", planting).status_code == 200
    for answer in ("forecast", "pollination", "scouting", "calendar.ics"):
        told = assert_problem(
            client.get(f"/v1/vineyards/hollow/{answer}"),
            409,
            "POST /v1/fits",
            "PUT /v1/vineyards/{vineyard}/fit",
        )
        assert told["type"] == "/problems/no-fit-in-use"
    page = client.get("/vineyards/hollow")
    assert (page.status_code, "No fit is in use here" in page.text) == (409, True)


def test_one_season_is_enough_to_start_with_and_its_limits_are_told(client: TestClient) -> None:
    files = demo_weather.files()
    place = {"name": "Mast", "latitude": 31.1, "longitude": -87.3, "elevation_m": 58}
    client.put(STATION, json=place)
    client.put(VINEYARD, json={"name": "Bend", "station": demo_weather.STATION.key})
    header, *days = files["temperatures.csv"].decode().splitlines()
    recent = "\n".join([header, *(day for day in days if day >= "2025-01-01")])
    assert send_csv(client, f"{STATION}/temperatures", recent).status_code == 200
    assert send_csv(client, f"{VINEYARD}/planting", files["planting.csv"]).status_code == 200
    header, *rows = files["bloom_log.csv"].decode().splitlines()
    log = "\n".join([header, *(row for row in rows if row.startswith("2025"))])
    assert send_csv(client, f"{VINEYARD}/bloom-log", log).status_code == 200
    fit = client.post("/v1/fits", json={}).json()
    assert fit["seasons"] == [2025]
    assert "too few" in fit["search"]["why"]
    forecast = asked(client).json()
    logged = {row.split(",")[1] for row in rows if row.startswith("2025")}
    of_logged = {block.cultivar for block in make_demo.BLOCKS if block.key in logged}
    known = {block.key for block in make_demo.BLOCKS if block.cultivar in of_logged}
    assert {block["block"] for block in forecast["blocks"] if block["basis"] in {"own", "pooled"}} == known
    assert {block["basis"] for block in forecast["blocks"] if block["block"] not in known} == {"group"}
    assert stages(forecast).keys() == {
        (block.key, stage) for block in make_demo.BLOCKS for stage in make_demo.STAGES
    }
    assert any("1 season" in caution for caution in forecast["cautions"])
    assert any("Only 1 past season" in caution for caution in forecast["cautions"])
    assert_problem(client.get(FORECAST, params={"as_of": "2025-05-20"}), 422, "whole past year")


def test_the_bloom_window_is_that_of_all_blocks(demo_client: TestClient) -> None:
    told = demo_client.get(f"/v1/vineyards/sandlark-bend/forecast?as_of={demo_weather.AS_OF}").json()
    window = demo_client.get(f"/v1/vineyards/sandlark-bend/bloom-window?as_of={demo_weather.AS_OF}").json()
    stages = [block["stages"] for block in told["blocks"] if block["stages"]]
    starts = [stage["bloom_start"]["median"] for stage in stages if stage["bloom_start"]["median"]]
    ends = [stage["bloom_end"]["median"] for stage in stages if stage["bloom_end"]["median"]]
    assert window["first"]["median"] <= min(starts)
    assert window["last"]["median"] >= max(ends)
    chances = {day["date"]: day["chance"] for day in window["days"]}
    assert chances[max(starts)] > 0.9
    assert all(0.05 <= chance <= 1 for chance in chances.values())
    assert "no permission" in window["said"]
    assert any("labels and local rules" in caution for caution in window["cautions"])
