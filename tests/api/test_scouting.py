"""The scouting plan of the demo's vineyard: allowed days, few trips, and what a visit does to it."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from fastapi.testclient import TestClient

import demo_weather
from tests.api.asking import assert_problem, send_csv

VINEYARD = f"/v1/vineyards/{demo_weather.VINEYARD.key}"
AS_OF = demo_weather.AS_OF.isoformat()


def plan(client: TestClient, as_of: str = AS_OF, **query: str | float) -> dict[str, Any]:
    answer = client.get(f"{VINEYARD}/scouting", params={"as_of": as_of, **query})
    assert answer.status_code == 200, answer.text
    body: dict[str, Any] = answer.json()
    return body


def tasks_of(body: dict[str, Any]) -> set[tuple[str, str]]:
    return {(task["block"], task["task"]) for trip in body["trips"] for task in trip["tasks"]}


def test_every_task_is_on_a_trip_within_its_window(demo_client: TestClient) -> None:
    body = plan(demo_client)
    assert (body["season"], body["as_of"], body["missed"]) == (2026, AS_OF, [])
    assert body["trips"]
    for trip in body["trips"]:
        assert trip["date"] >= AS_OF
        assert trip["tasks"]
        for task in trip["tasks"]:
            assert task["window"]["from"] <= trip["date"] <= task["window"]["to"]
            assert 0 < task["chance"] <= 1
            assert task["look_for"]
            assert task["why"]
    assert ("west-2", "pollen_overlap") in tasks_of(body)
    assert any("local extension office" in caution for caution in body["cautions"])


def test_what_looks_teach_stands_beside_tasks_and_a_look_uses_it_up(
    demo_client: TestClient,
) -> None:
    body = plan(demo_client)
    best = body["best_look_now"]
    narrows = {
        (task["block"], task["task"]): task["narrows_days"]
        for trip in body["trips"]
        for task in trip["tasks"]
    }
    assert max(narrows.values()) > 0.1
    assert max(gain for (_, kind), gain in narrows.items() if kind in ("set_count", "crop_load")) < 0.05
    assert best["narrows_days"] >= 0.05
    page = demo_client.get(f"/vineyards/{demo_weather.VINEYARD.key}?as_of={AS_OF}").text
    assert f"Best look now: {best['block']}." in page
    assert "a look then narrows the bloom windows" in page

    seen = [{"date": AS_OF, "block": best["block"], "percent_open": 20}]
    demo_client.post(f"{VINEYARD}/visits", json=seen).raise_for_status()
    after = plan(demo_client)["best_look_now"]
    assert after is None or after["block"] != best["block"]
    assert plan(demo_client, as_of="2026-02-10")["best_look_now"] is None


def test_trips_keep_to_the_weekdays_that_are_allowed(demo_client: TestClient) -> None:
    free = plan(demo_client)
    body = plan(demo_client, weekdays="tue,fri")
    assert {dt.date.fromisoformat(trip["date"]).weekday() for trip in body["trips"]} == {1, 4}
    assert len(body["trips"]) >= len(free["trips"])
    mondays = plan(demo_client, weekdays="mon")
    assert {dt.date.fromisoformat(trip["date"]).weekday() for trip in mondays["trips"]} == {0}


def test_too_few_trips_say_what_they_leave_out(demo_client: TestClient) -> None:
    free, body = plan(demo_client), plan(demo_client, max_trips=2)
    assert len(body["trips"]) == 2
    missed = {(task["block"], task["task"]) for task in body["missed"]}
    assert missed
    assert tasks_of(body) | missed == tasks_of(free)
    assert all("2 trips leave no day for it" in task["reason"] for task in body["missed"])
    assert all(task["best_day"] for task in body["missed"])


def test_a_visit_does_its_task(demo_client: TestClient) -> None:
    before = plan(demo_client)
    (day,) = {
        trip["date"]
        for trip in before["trips"]
        for task in trip["tasks"]
        if (task["block"], task["task"]) == ("west-2", "flower_type")
    }
    untouched = plan(demo_client, as_of=day)
    assert ("west-2", "flower_type") in tasks_of(untouched)
    body = [{"date": day, "block": "west-2", "percent_open": 60}]
    assert demo_client.post(f"{VINEYARD}/visits", json=body).status_code == 200
    after = plan(demo_client, as_of=day)
    assert ("west-2", "flower_type") not in tasks_of(after)
    assert ("west-2", "set_count") in tasks_of(after)
    assert plan(demo_client) == before  # a visit of a later day is not known yet


def test_a_date_seen_in_a_frosted_block_does_its_task_too(demo_client: TestClient) -> None:
    # What froze teaches the fit nothing, but somebody was there: on the day itself first caps were to be looked at.
    seen_on = "2026-05-24"
    assert demo_client.put(f"{VINEYARD}/blocks/west-2/frost/2026").status_code == 201
    assert ("west-2", "first_caps") in tasks_of(plan(demo_client, as_of="2026-05-22"))
    log = f"season,block,bloom_start\n2026,west-2,{seen_on}\n"
    assert send_csv(demo_client, f"{VINEYARD}/bloom-log", log).status_code == 200
    assert ("west-2", "first_caps") not in tasks_of(plan(demo_client, as_of=seen_on))
    assert ("west-2", "set_count") in tasks_of(plan(demo_client, as_of=seen_on))


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"weekdays": "mon,someday"}, "'someday' is no weekday; write them as in tue,fri"),
        ({"weekdays": "mon,,fri"}, "'' is no weekday"),
        ({"weekdays": "mo"}, "'mo' is no weekday"),
        ({"weekdays": ""}, "'' is no weekday"),
        ({"chance": "0"}, "query.chance"),
        ({"max_trips": "0"}, "query.max_trips"),
        ({"as_of": "2026-13-01"}, "query.as_of"),
    ],
)
def test_what_is_refused(demo_client: TestClient, query: dict[str, str], said: str) -> None:
    assert_problem(demo_client.get(f"{VINEYARD}/scouting", params=query), 422, said)


def test_no_such_vineyard_or_fit(demo_client: TestClient) -> None:
    assert_problem(demo_client.get("/v1/vineyards/nowhere/scouting"), 404, "vineyard")
    assert_problem(demo_client.get(f"{VINEYARD}/scouting", params={"fit": "f1"}), 404, "fit")


def test_a_visit_on_a_trip_flows_back_and_changes_the_next_plan(demo_client: TestClient) -> None:
    before = plan(demo_client)
    trip = before["trips"][0]
    unvisited = plan(demo_client, as_of=trip["date"])
    blocks = sorted({task["block"] for task in trip["tasks"]})
    # everything stands open a little further than foreseen on the trip's day
    seen = [{"date": trip["date"], "block": block, "percent_open": 70} for block in blocks]
    assert demo_client.post(f"{VINEYARD}/visits", json=seen).status_code == 200
    after = plan(demo_client, as_of=trip["date"])
    met = {(task["block"], task["task"]) for task in trip["tasks"]}
    assert met <= tasks_of(unvisited)
    assert not met & tasks_of(after)
    assert [trip["date"] for trip in after["trips"]] != [trip["date"] for trip in unvisited["trips"]]
    windows = [
        {
            (task["block"], task["task"]): task["window"]["from"]
            for trip in body["trips"]
            for task in trip["tasks"]
        }
        for body in (unvisited, after)
    ]
    earlier = [key for key in windows[1] if windows[1][key] < windows[0][key]]
    assert {block for block, _ in earlier} - set(blocks)  # other blocks too


def test_the_vineyards_own_weekdays_hold_unless_others_are_asked_for(demo_client: TestClient) -> None:
    told = demo_client.get(VINEYARD).json()
    assert told.pop("vineyard")
    body = told | {"scouting_weekdays": ["fri", "tue"]}
    assert demo_client.put(VINEYARD, json=body).json()["scouting_weekdays"] == ["fri", "tue"]
    assert plan(demo_client) == plan(demo_client, weekdays="Tuesday, fri")
    days = {dt.date.fromisoformat(trip["date"]).weekday() for trip in plan(demo_client)["trips"]}
    assert days == {1, 4}
    assert {
        dt.date.fromisoformat(trip["date"]).weekday() for trip in plan(demo_client, weekdays="mon")["trips"]
    } == {0}
    feed = demo_client.get(f"{VINEYARD}/calendar.ics", params={"as_of": AS_OF}).text
    for trip in plan(demo_client)["trips"]:
        assert f"DTSTART;VALUE=DATE:{trip['date'].replace('-', '')}" in feed
    assert_problem(demo_client.put(VINEYARD, json=told | {"scouting_weekdays": []}), 422, "scouting_weekdays")
    assert_problem(
        demo_client.put(VINEYARD, json=told | {"scouting_weekdays": ["day"]}), 422, "scouting_weekdays"
    )


def test_a_higher_chance_takes_more_trips(demo_client: TestClient) -> None:
    usual, sure = plan(demo_client), plan(demo_client, chance=0.9)
    assert len(sure["trips"]) > len(usual["trips"])
    assert tasks_of(sure) >= tasks_of(usual)
    least = min(task["chance"] for trip in sure["trips"] for task in trip["tasks"])
    assert least > min(task["chance"] for trip in usual["trips"] for task in trip["tasks"])


def test_late_in_the_season_what_is_too_late_is_told_and_then_left(demo_client: TestClient) -> None:
    soon = plan(demo_client, as_of="2026-06-12")
    over = [task for task in soon["missed"] if task["best_day"] is None]
    assert over
    assert all(task["reason"].startswith("Too late this season") for task in over)
    later = plan(demo_client, as_of="2026-09-20")
    assert (later["trips"], later["missed"]) == ([], [])
