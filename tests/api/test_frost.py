"""Frost on the forecast: nights to come, nights that came, and the limit in either unit."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from fastapi.testclient import TestClient

import demo_weather
from tests.api.asking import assert_problem, send_csv

VINEYARD = f"/v1/vineyards/{demo_weather.VINEYARD.key}"
FORECAST = f"{VINEYARD}/forecast"
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
    assert frost_of(late) == {
        "chance": 0.0,
        "chance_in_bloom": 0.0,
        "from_budbreak": True,
        "why": None,
        "nights": [],
        "by_stage": [],
        "colder_than_station": None,
    }
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


@pytest.mark.parametrize("tmin_f", [27.7, 28.4, 29.3, 30.02, 31.1])
def test_a_night_at_the_very_limit_counts_in_either_unit(demo_client: TestClient, tmin_f: float) -> None:
    send_csv(demo_client, TEMPERATURES, f"date,tmin_c,tmax_c\n2026-04-20,{(tmin_f - 32) * 5 / 9:.12g},9\n")
    body = ask(demo_client, as_of="2026-05-20", units="us", frost_limit=tmin_f)
    assert body["frost_limit"] == tmin_f
    assert [night["date"] for night in frost_of(body)["nights"]] == ["2026-04-20"]
    below = ask(demo_client, as_of="2026-05-20", units="us", frost_limit=tmin_f - 0.01)
    assert frost_of(below)["nights"] == []


def test_a_block_without_a_forecast_has_no_chance(demo_client: TestClient) -> None:
    vineyard = f"/v1/vineyards/{demo_weather.VINEYARD.key}"
    for known in demo_client.get("/v1/cultivars").json()["cultivars"]:
        demo_client.patch(f"/v1/cultivars/{known['cultivar']}", json={"species": "one"})
    body = {"name": "Ember Sedge", "flower_type": "perfect", "species": "another"}
    demo_client.put("/v1/cultivars/ember-sedge", json=body)
    demo_client.put(f"{vineyard}/blocks/far-1", json={"cultivar": "ember-sedge", "x_m": 900, "y_m": 0})
    unknown = frost_of(ask(demo_client, as_of="2026-03-10"), "far-1")
    assert unknown == {
        "chance": None,
        "chance_in_bloom": None,
        "from_budbreak": False,
        "why": "the bloom of this block is not forecast",
        "nights": [],
        "by_stage": [],
        "colder_than_station": None,
    }


def block_of(body: dict[str, Any], block: str) -> dict[str, Any]:
    (found,) = [each for each in body["blocks"] if each["block"] == block]
    return dict(found)


def days_between(stage: dict[str, Any]) -> int:
    low, high = (dt.date.fromisoformat(stage[name]) for name in ("low", "high"))
    return (high - low).days


def test_a_marked_block_has_wide_windows_that_say_why(demo_client: TestClient) -> None:
    mark = f"{VINEYARD}/blocks/middle-4/frost/2026"
    before = ask(demo_client, as_of="2026-05-20")
    answer = demo_client.put(mark, json={"night": "2026-04-20"})
    assert (answer.status_code, answer.json()) == (
        201,
        {"block": "middle-4", "season": 2026, "night": "2026-04-20", "share_killed": None},
    )
    assert demo_client.put(mark, json={"night": "2026-04-20"}).status_code == 200
    after = ask(demo_client, as_of="2026-05-20")
    was, now = block_of(before, "middle-4"), block_of(after, "middle-4")
    assert was["caution"] is None
    assert "that is why this block's windows are wide" in now["caution"]
    assert now["frosted"] == {"night": "2026-04-20", "share_killed": None, "flowers_left": None}
    for stage in ("bloom_start", "full_bloom", "bloom_end"):
        assert now["stages"][stage]["median"] > was["stages"][stage]["median"]
        assert days_between(now["stages"][stage]) > days_between(was["stages"][stage])
    assert now["stages"]["budbreak"] == was["stages"]["budbreak"]
    assert block_of(after, "west-1") == block_of(before, "west-1")
    assert any("Marked as frosted in 2026: middle-4." in caution for caution in after["cautions"])
    assert demo_client.get(f"{VINEYARD}/frost").json()["frosted"] == [answer.json()]
    early = ask(demo_client, as_of="2026-04-19")  # the night was still to come
    assert block_of(early, "middle-4")["caution"] is None
    feed = demo_client.get(f"{VINEYARD}/calendar.ics", params={"as_of": "2026-05-20"}).text
    assert "Marked as frosted" in feed.replace("\r\n ", "")
    assert demo_client.delete(mark).status_code == 200
    assert ask(demo_client, as_of="2026-05-20") == before
    assert_problem(demo_client.delete(mark), 404, "middle-4 in 2026")


def test_marked_blocks_leave_the_seasons_learning(demo_client: TestClient) -> None:
    blocks, other = ("middle-3", "middle-4", "middle-5", "middle-6"), "middle-1"
    early = [
        {"date": "2026-05-12", "block": block, "percent_open": 60} for block in blocks
    ]  # three weeks early

    def full_bloom() -> dt.date:
        stages = block_of(ask(demo_client, as_of="2026-05-12"), other)["stages"]
        return dt.date.fromisoformat(stages["full_bloom"]["median"])

    before = full_bloom()
    assert demo_client.post(f"{VINEYARD}/visits", json=early).status_code == 200
    assert full_bloom() < before - dt.timedelta(days=3)
    for block in blocks:
        assert demo_client.put(f"{VINEYARD}/blocks/{block}/frost/2026").status_code == 201
    assert abs((full_bloom() - before).days) <= 1
    body = ask(demo_client, as_of="2026-05-12")
    assert block_of(body, "middle-4")["stages"]["full_bloom"]["status"] == "observed"


def test_a_marked_block_leaves_the_fits_to_come(demo_client: TestClient) -> None:
    def seasons_of(body: dict[str, Any], cultivar: str) -> int:
        (found,) = [each for each in body["cultivars"] if each["cultivar"] == cultivar]
        return int(found["stages"]["bloom_start"]["seasons"])

    options = {"heat": {"method": "average", "base_c": 10}}
    before = demo_client.post("/v1/fits", json=options).json()
    row = next(
        row
        for row in demo_client.get(f"{VINEYARD}/bloom-log").json()["rows"]
        if row["block"] == "west-1" and "bloom_start" in row["dates"]
    )
    mark = f"{VINEYARD}/blocks/west-1/frost/{row['season']}"
    assert demo_client.put(mark).status_code == 201
    after = demo_client.post("/v1/fits", json=options).json()
    assert seasons_of(after, row["cultivar"]) == seasons_of(before, row["cultivar"]) - 1
    assert demo_client.delete(mark).status_code == 200
    assert demo_client.post("/v1/fits", json=options).json()["id"] == before["id"]


def test_marks_that_are_refused(demo_client: TestClient) -> None:
    assert_problem(demo_client.put(f"{VINEYARD}/blocks/nowhere/frost/2026"), 404, "nowhere")
    assert_problem(demo_client.put("/v1/vineyards/nowhere/blocks/west-1/frost/2026"), 404, "nowhere")
    assert_problem(demo_client.put(f"{VINEYARD}/blocks/west-1/frost/26"), 422, "path.season")
    wrong = demo_client.put(f"{VINEYARD}/blocks/west-1/frost/2026", json={"night": "2025-04-20"})
    assert_problem(wrong, 422, "lies in season 2025")
    none = demo_client.put(f"{VINEYARD}/blocks/west-1/frost/2026", json={"share_killed": 0})
    assert_problem(none, 422, "body.share_killed")


def test_a_block_that_froze_in_part_blooms_between_and_gives_pollen_in_some_cases(
    demo_client: TestClient,
) -> None:
    def cover_of(block: str) -> dict[str, Any]:
        blocks = demo_client.get(f"{VINEYARD}/pollination", params={"as_of": "2026-05-20"}).json()
        (found,) = [each for each in blocks["pistillate_blocks"] if each["block"] == block]
        return dict(found)

    def answers(**told: float | str) -> tuple[dict[str, Any], dict[str, Any]]:
        mark = f"{VINEYARD}/blocks/west-3/frost/2026"
        assert demo_client.put(mark, json=told).is_success
        return block_of(ask(demo_client, as_of="2026-05-20"), "west-3"), cover_of("west-4")

    usual, unharmed = block_of(ask(demo_client, as_of="2026-05-20"), "west-3"), cover_of("west-4")
    part, in_part = answers(share_killed=0.3, night="2026-03-20")
    whole, without = answers()
    ends = [each["stages"]["bloom_end"]["median"] for each in (usual, part, whole)]
    assert ends[0] < ends[1] < ends[2]
    assert part["frosted"] == {
        "night": "2026-03-20",
        "share_killed": 0.3,
        "flowers_left": {"median": 0.85, "low": 0.73, "high": 0.97},
    }
    assert "30 % of its shoots" in part["caution"]
    assert "70 % to 100 %" in part["caution"]
    shares = [each["share_of_bloom_covered"]["median"] for each in (without, in_part, unharmed)]
    assert shares[0] <= shares[1] <= shares[2]
    assert shares[0] < shares[2]
    (said,) = [each for each in in_part["warnings"] if each["code"] == "unknown_bloom"]
    assert "70 % of its shoots left" in said["message"]
    assert [each["block"] for each in in_part["sources"]].count("west-3") == 1
    assert [each["block"] for each in without["sources"]].count("west-3") == 0


def test_limits_by_stage_are_the_growers_own_and_a_hollow_shifts_every_chance(
    demo_client: TestClient,
) -> None:
    limits = {"limits_c": {"budbreak": -1.0, "bloom_start": 4.0}, "source": "our sheet on bunch grapes"}
    assert demo_client.patch(VINEYARD, json={"frost_limits": limits}).json()["frost_limits"] == limits
    plain = ask(demo_client, as_of="2026-03-10")
    assert plain["frost_limits_source"] == "our sheet on bunch grapes"
    by_stage = frost_of(plain)["by_stage"]
    assert [(each["stage"], each["until"], each["limit"]) for each in by_stage] == [
        ("budbreak", "bloom_start", -1.0),
        ("bloom_start", "bloom_end", 4.0),
    ]
    # the same as a limit of its own from bloom start, asked for as the one limit
    assert (
        by_stage[1]["chance"]
        == frost_of(ask(demo_client, as_of="2026-03-10", frost_limit=4.0))["chance_in_bloom"]
    )
    assert any("our sheet on bunch grapes" in said and "muscadine" in said for said in plain["cautions"])
    us = frost_of(ask(demo_client, as_of="2026-03-10", units="us"))["by_stage"]
    assert (us[1]["limit"], us[1]["chance"]) == (39.2, by_stage[1]["chance"])

    demo_client.patch(VINEYARD, json={"colder_than_station_c": 2.0})
    demo_client.patch(f"{VINEYARD}/blocks/west-1", json={"colder_than_station_c": 3.5})
    cold = ask(demo_client, as_of="2026-03-10")
    higher = {limit: ask(demo_client, as_of="2026-03-10", frost_limit=limit) for limit in (0.0, 2.0, 3.5)}
    assert frost_of(cold)["chance"] > frost_of(plain)["chance"]
    assert frost_of(cold)["colder_than_station"] == 3.5
    assert frost_of(cold, "west-2")["colder_than_station"] == 2.0
    demo_client.patch(VINEYARD, json={"colder_than_station_c": None})
    demo_client.patch(f"{VINEYARD}/blocks/west-1", json={"colder_than_station_c": None})
    for block, colder in (("west-1", 3.5), ("west-2", 2.0)):
        alike = frost_of(ask(demo_client, as_of="2026-03-10", frost_limit=colder), block)
        assert frost_of(cold, block)["chance"] == alike["chance"] > 0
    assert any("colder than the station by 2 °C (3.6 °F) to 3.5 °C" in said for said in cold["cautions"])
    assert higher[0.0]["blocks"] == cold["blocks"]
    for wrong in ({"limits_c": {}, "source": "x"}, {"limits_c": {"veraison": 1}, "source": "x"}):
        assert demo_client.patch(VINEYARD, json={"frost_limits": wrong}).status_code == 422
    no_source = demo_client.patch(VINEYARD, json={"frost_limits": {"limits_c": {"budbreak": -1}}})
    assert_problem(no_source, 422, "source")


def test_a_planting_file_keeps_what_was_told_of_cold_air(demo_client: TestClient) -> None:
    demo_client.patch(f"{VINEYARD}/blocks/west-1", json={"colder_than_station_c": 3.5})
    block = demo_client.get(f"{VINEYARD}/blocks/west-1").json()
    row = f"west-1,{block['cultivar']},pistillate,7,7"
    told = send_csv(demo_client, f"{VINEYARD}/planting", f"block,cultivar,flower_type,x_m,y_m\n{row}\n")
    assert told.status_code == 200
    after = demo_client.get(f"{VINEYARD}/blocks/west-1").json()
    assert (after["x_m"], after["colder_than_station_c"]) == (7.0, 3.5)
