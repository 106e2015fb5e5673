"""The feed of the demo's vineyard: what stands in it, and how it changes when something is seen."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from fastapi.testclient import TestClient

import demo_weather
from service import clock
from service.feed.ical import unique_id
from service.web.kept import is_known
from service.words.plain import in_words
from tests.feed.reading import ReadEvent, assert_rfc_5545, by_both

VINEYARD = f"/v1/vineyards/{demo_weather.VINEYARD.key}"
FEED = f"{VINEYARD}/calendar.ics"
TODAY = demo_weather.AS_OF


@pytest.fixture(autouse=True)
def on_the_demos_day(monkeypatch: pytest.MonkeyPatch) -> None:
    set_today(monkeypatch, TODAY)


def set_today(monkeypatch: pytest.MonkeyPatch, day: dt.date) -> None:
    noon = dt.datetime.combine(day, dt.time(12), dt.UTC)
    monkeypatch.setattr(clock, "now", lambda: noon)


def ask(client: TestClient, **query: str) -> bytes:
    answer = client.get(FEED, params=query)
    assert answer.status_code == 200, answer.text
    return answer.content


def uid(key: str) -> str:
    return unique_id("local", demo_weather.VINEYARD.key, 2026, key)


def visit(client: TestClient, block: str, day: dt.date, percent: float) -> None:
    body = [{"date": day.isoformat(), "block": block, "percent_open": percent}]
    assert client.post(f"{VINEYARD}/visits", json=body).status_code == 200


def test_bloom_warnings_and_trips_stand_in_it(demo_client: TestClient) -> None:
    stream = ask(demo_client)
    lines = assert_rfc_5545(stream)
    events = by_both(stream)
    forecast = demo_client.get(f"{VINEYARD}/forecast", params={"as_of": TODAY.isoformat()}).json()
    for block in forecast["blocks"]:
        event = events[uid(f"bloom/{block['block']}")]
        start, full, end = (
            dt.date.fromisoformat(block["stages"][stage]["median"])
            for stage in ("bloom_start", "full_bloom", "bloom_end")
        )
        assert (event.start, event.end) == (start, end + dt.timedelta(days=1))
        assert all(in_words(day) in event.summary for day in (start, full, end))
        assert "ask the local extension office" in event.description
        for told in block["stages"].values():
            low, high = (dt.date.fromisoformat(told[name]) for name in ("low", "high"))
            assert in_words(low) in event.description
            assert in_words(high) in event.description
    pollen = demo_client.get(f"{VINEYARD}/pollination", params={"as_of": TODAY.isoformat()}).json()
    warnings = [(block["block"], told) for block in pollen["pistillate_blocks"] for told in block["warnings"]]
    assert {told["code"] for _, told in warnings} >= {
        "pollen_ends_early",
        "no_pollen_source_in_reach",
        "single_pollen_source",
    }
    for block_key, told in warnings:
        event = events[uid(f"warning/{told['code']}/{block_key}")]
        assert event.summary.startswith(told["level"].capitalize())
        assert told["message"] in event.description
    plan = demo_client.get(f"{VINEYARD}/scouting", params={"as_of": TODAY.isoformat()}).json()
    trips = [event for event in events.values() if event.alarms]
    assert sorted(trip.start.isoformat() for trip in trips) == [trip["date"] for trip in plan["trips"]]
    assert all(trip.alarms == (dt.timedelta(hours=-6),) for trip in trips)
    assert len([line for line in lines if line == "BEGIN:VEVENT"]) == len(forecast["blocks"]) + len(
        warnings
    ) + len(plan["trips"])


def test_unchanged_it_is_the_same_byte_for_byte_and_304(demo_client: TestClient) -> None:
    first, second = demo_client.get(FEED), demo_client.get(FEED)
    assert first.content == second.content
    assert first.headers["content-type"] == "text/calendar; charset=utf-8"
    assert first.headers["cache-control"] == "private, no-cache"
    tag = first.headers["etag"]
    again = demo_client.get(FEED, headers={"If-None-Match": tag})
    assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
    assert again.headers["cache-control"] == "private, no-cache"


@pytest.mark.parametrize(
    ("told", "known"),
    [
        ('"a"', True),
        ('W/"a"', True),
        ('"other", "a"', True),
        ("*", True),
        ('"other"', False),
        ("a", False),
        ("", False),
        (None, False),
    ],
)
def test_a_tag_that_is_known(told: str | None, known: bool) -> None:
    assert is_known('"a"', told) is known


def test_after_an_observation_the_same_uids_come_with_higher_sequences(demo_client: TestClient) -> None:
    answer = demo_client.get(FEED)
    before = by_both(answer.content)
    assert {event.sequence for event in before.values()} == {0}
    visit(demo_client, "west-2", TODAY, 35)
    changed = demo_client.get(FEED, headers={"If-None-Match": answer.headers["etag"]})
    assert changed.status_code == 200
    assert_rfc_5545(changed.content)
    after = by_both(changed.content)
    assert before.keys() <= after.keys()
    moved = [key for key in before if before[key].start != after[key].start]
    assert uid("bloom/west-2") in moved
    for key, old in before.items():
        new = after[key]
        if said(old) == said(new):
            assert new == old
        else:
            assert new.sequence == 1
            assert new.last_modified >= old.last_modified
            assert new.stamp == new.last_modified
    assert by_both(ask(demo_client)) == after


def said(event: ReadEvent) -> tuple[object, ...]:
    return event.start, event.end, event.summary, event.description, event.status


def test_a_warning_that_is_gone_is_cancelled_and_stays_so(demo_client: TestClient) -> None:
    before = by_both(ask(demo_client))
    alone = uid("warning/no_pollen_source_in_reach/north-1")
    assert before[alone].status == "CONFIRMED"
    source = demo_client.get(f"{VINEYARD}/blocks/middle-1").json()
    place = demo_client.get(f"{VINEYARD}/blocks/north-1").json()
    beside = {"cultivar": source["cultivar"], "x_m": place["x_m"] + 5, "y_m": place["y_m"]}
    assert demo_client.put(f"{VINEYARD}/blocks/north-2", json=beside).status_code == 201
    after = by_both(ask(demo_client))
    assert (after[alone].status, after[alone].sequence) == ("CANCELLED", 1)
    assert (after[alone].start, after[alone].summary) == (before[alone].start, before[alone].summary)
    assert uid("bloom/north-2") in after
    assert by_both(ask(demo_client))[alone] == after[alone]


def test_a_new_day_without_news_changes_nothing(
    demo_client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = by_both(ask(demo_client))
    set_today(monkeypatch, TODAY + dt.timedelta(days=1))
    assert by_both(ask(demo_client)) == before


def test_a_frost_night_after_budbreak_is_told_in_the_calendar(demo_client: TestClient) -> None:
    content = "date,tmin_c,tmax_c\n2026-04-20,-2.5,9\n"
    path = f"/v1/stations/{demo_weather.STATION.key}/temperatures"
    assert "secondary buds" not in ask(demo_client).decode().replace("\r\n ", "")
    assert demo_client.post(path, content=content, headers={"Content-Type": "text/csv"}).status_code == 200
    assert "secondary buds" in ask(demo_client).decode().replace("\r\n ", "")


def test_a_trip_whose_day_has_come_stays(demo_client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    before = by_both(ask(demo_client))
    first = min((event for event in before.values() if event.alarms), key=lambda event: event.start)
    set_today(monkeypatch, first.start + dt.timedelta(days=1))
    after = by_both(ask(demo_client))
    assert after[first.uid] == first
    coming = [event for event in after.values() if event.alarms and event.start > first.start]
    assert coming
    assert all(event.uid != first.uid for event in coming)


@pytest.mark.parametrize("query", ["as_of", "fit"])
def test_a_what_if_leaves_no_trace(demo_client: TestClient, query: str) -> None:
    newest = demo_client.get("/v1/fits").json()["fits"][0]["id"]
    asked = {"as_of": "2026-04-01"} if query == "as_of" else {"fit": newest}
    ask(demo_client)
    visit(demo_client, "west-2", TODAY, 35)
    untold = by_both(ask(demo_client, **asked))
    assert {event.sequence for event in untold.values()} == {0}
    told = ask(demo_client)
    assert 1 in {event.sequence for event in by_both(told).values()}
    supposed = ask(demo_client, **asked)
    assert supposed == ask(demo_client, **asked)
    assert ask(demo_client) == told
    assert_rfc_5545(supposed)
    events = by_both(told)
    for key, event in by_both(supposed).items():
        assert event.sequence == (events[key].sequence if key in events else 0)
        assert event.status == "CONFIRMED"


def test_a_what_if_comes_first_and_leaves_no_trace(demo_client: TestClient) -> None:
    ask(demo_client, as_of="2026-04-01")
    assert {event.sequence for event in by_both(ask(demo_client)).values()} == {0}


@pytest.mark.parametrize(
    "name",
    ['Lull, Copper; "late"\nand \\north', "Lull" + "é" * 196],
)
def test_a_cultivar_of_any_name_comes_back_whole(demo_client: TestClient, name: str) -> None:
    cultivar = demo_client.get("/v1/cultivars/copper-lull").json()
    body = {key: value for key, value in cultivar.items() if key != "cultivar"} | {"name": name}
    assert demo_client.put("/v1/cultivars/copper-lull", json=body).status_code == 200
    stream = ask(demo_client)
    assert_rfc_5545(stream)
    assert by_both(stream)[uid("bloom/west-2")].summary.startswith(f"Block west-2 ({name}): bloom ")


def put_another_species(client: TestClient) -> None:
    """A cultivar of another species than all that the fit knows, which gives it no forecast."""
    for known in client.get("/v1/cultivars").json()["cultivars"]:
        client.patch(
            f"/v1/cultivars/{known['cultivar']}", json={"species": "Vitis exempli"}
        ).raise_for_status()
    new = {"name": "Ember Sedge", "flower_type": "perfect", "species": "Vitis alia"}
    client.put("/v1/cultivars/ember-sedge", json=new).raise_for_status()


def test_a_block_without_a_forecast_is_named_in_the_calendar(demo_client: TestClient) -> None:
    put_another_species(demo_client)
    demo_client.put(f"{VINEYARD}/blocks/far-1", json={"cultivar": "ember-sedge", "x_m": 900, "y_m": 0})
    stream = ask(demo_client)
    assert uid("bloom/far-1") not in by_both(stream)
    (description,) = re.findall("^DESCRIPTION:(.*)$", stream.decode().replace("\r\n ", ""), re.M)[:1]
    assert "No bloom forecast for block far-1 (Ember Sedge)" in description


def test_a_calendar_without_any_forecast_still_holds_an_event(demo_client: TestClient) -> None:
    put_another_species(demo_client)
    path = "/v1/vineyards/far"
    demo_client.put(path, json={"name": "Far", "station": demo_weather.STATION.key})
    demo_client.put(f"{path}/blocks/far-1", json={"cultivar": "ember-sedge", "x_m": 0, "y_m": 0})
    assert demo_client.get(f"{path}/calendar.ics").status_code == 409
    (fit,) = demo_client.get("/v1/fits").json()["fits"]
    assert demo_client.put(f"{path}/fit", json={"fit": fit["id"]}).status_code == 201
    stream = demo_client.get(f"{path}/calendar.ics").content
    assert_rfc_5545(stream)
    (event,) = by_both(stream).values()
    assert event.summary == "No bloom forecast yet"
    assert "far-1" in event.description


def test_no_such_vineyard(demo_client: TestClient) -> None:
    answer = demo_client.get("/v1/vineyards/nowhere/calendar.ics")
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"


def test_a_vineyard_made_again_under_its_name_goes_on_counting(demo_client: TestClient) -> None:
    visit(demo_client, "west-2", TODAY, 35)
    ask(demo_client)
    visit(demo_client, "west-2", TODAY, 60)
    told = by_both(ask(demo_client))
    body = demo_client.get(VINEYARD).json()
    files = demo_weather.files()
    assert demo_client.delete(VINEYARD).is_success
    assert demo_client.get(FEED).status_code == 404
    kept = {key: body[key] for key in ("name", "station", "timezone") if key in body}
    assert demo_client.put(VINEYARD, json=kept).status_code == 201
    for path, name in (("planting", "planting.csv"), ("bloom-log", "bloom_log.csv")):
        sent = demo_client.post(
            f"{VINEYARD}/{path}", content=files[name], headers={"Content-Type": "text/csv"}
        )
        assert sent.status_code == 200, sent.text
    [fit] = demo_client.get("/v1/fits").json()["fits"]
    assert demo_client.put(f"{VINEYARD}/fit", json={"fit": fit["id"]}).is_success
    again = by_both(ask(demo_client))
    assert told.keys() <= again.keys()
    assert max(event.sequence for event in told.values()) > 0
    for key, event in again.items():
        if key in told:
            more = 0 if said(event) == said(told[key]) else 1
            assert event.sequence >= told[key].sequence + more


def test_a_trips_uid_is_that_of_a_task_on_it(
    demo_client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Over nine days in which the plan moves: a subscriber who opens the event finds the task it was made for."""
    made_for: dict[str, str] = {}
    standing: dict[str, str] = {}
    for days in range(9):
        today = TODAY + dt.timedelta(days=days)
        set_today(monkeypatch, today)
        if days % 3 == 1:
            visit(demo_client, ("west-2", "middle-1", "west-4")[days // 3 % 3], today, 7.0 * days)
        events = by_both(ask(demo_client))
        plan = demo_client.get(f"{VINEYARD}/scouting", params={"as_of": today.isoformat()}).json()
        for trip in plan["trips"]:
            tasks = [f"{task['task']}/{task['block']}" for task in trip["tasks"]]
            # a trip whose day is over stays under its own name, also where its task is on a later one
            (name,) = [
                task
                for task in tasks
                if (event := events.get(uid(f"trip/{task}"))) is not None
                and (event.status, event.start.isoformat()) == ("CONFIRMED", trip["date"])
            ]
            event = events[uid(f"trip/{name}")]
            made_for[event.uid] = name
        for key, name in made_for.items():
            if standing.get(key) == "CANCELLED" and events[key].status == "CONFIRMED":
                assert name in {
                    f"{task['task']}/{task['block']}" for trip in plan["trips"] for task in trip["tasks"]
                }
        standing = {key: event.status for key, event in events.items()}
    assert len(made_for) >= 2
