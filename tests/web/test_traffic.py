"""Ids, log lines and numbers of requests; turns for heavy work; and what a database in trouble is answered."""

from __future__ import annotations

import asyncio
import json
import logging
import sqlite3
import sys
from pathlib import Path

import pytest
from fastapi import FastAPI, HTTPException
from fastapi.testclient import TestClient

from service.logs import REQUEST, JsonLines, config
from service.web import turns
from service.web.turns import Turns
from tests.api.asking import CSV, STATION, VINEYARD, assert_problem, put_vineyard

SECRET = "whisper-key"


def test_every_answer_has_the_id_of_its_request(client: TestClient) -> None:
    assert (
        client.get("/healthz", headers={"X-Request-ID": "field-7.a_b"}).headers["x-request-id"]
        == "field-7.a_b"
    )
    made = {client.get(path).headers["x-request-id"] for path in ("/healthz", "/v1/orchards", "/")}
    assert len(made) == 3
    for wrong in ("a b", "x" * 65, "a;b"):
        assert client.get("/healthz", headers={"X-Request-ID": wrong}).headers["x-request-id"] != wrong


def test_a_log_line_tells_the_route_and_nothing_of_keys_and_places(
    client: TestClient, caplog: pytest.LogCaptureFixture
) -> None:
    put_vineyard(client)
    caplog.clear()
    with caplog.at_level(logging.INFO, "service"):
        client.get(f"{VINEYARD}/calendar.ics?key={SECRET}", headers={"Authorization": f"Bearer {SECRET}"})
        client.get(f"{VINEYARD}/forecast", headers={"X-Request-ID": "one"})
    lines = [JsonLines().format(record) for record in caplog.records if record.name.startswith("service")]
    assert len(lines) == 2
    told = [json.loads(line) for line in lines]
    assert [(each["method"], each["route"]) for each in told] == [
        ("GET", "/v1/vineyards/{vineyard}/calendar.ics"),
        ("GET", "/v1/vineyards/{vineyard}/forecast"),
    ]
    assert all(each["status"] >= 400 and each["ms"] >= 0 for each in told)
    for private in (SECRET, "hollow", "33.5", "84"):
        assert private not in "".join(json.dumps({**each, "at": "", "ms": 0}) for each in told)


def test_an_error_in_the_log_tells_where_it_was_raised_and_not_what_it_held() -> None:
    try:
        raise ValueError(SECRET)
    except ValueError:
        record = logging.LogRecord("service", logging.ERROR, "", 1, "failed", None, sys.exc_info())
    REQUEST.set("seven")
    told = json.loads(JsonLines().format(record))
    assert (told["error"], told["request"], told["message"]) == ("ValueError", "seven", "failed")
    assert "test_traffic.py" in told["trace"][0]
    assert SECRET not in json.dumps(told)
    loggers = config()["loggers"]
    assert loggers["uvicorn.access"] == {"handlers": [], "propagate": False, "level": "CRITICAL"}


def test_numbers_for_prometheus(client: TestClient) -> None:
    assert client.get("/v1/stations").status_code == 200
    assert client.get("/v1/stations").status_code == 200
    client.get("/v1/orchards")
    text = client.get("/metrics").text
    assert 'capfall_requests_total{method="GET",route="/v1/stations",status="200"} 2.0' in text
    assert 'capfall_requests_total{method="GET",route="none",status="404"} 1.0' in text
    assert "capfall_requests_waiting 0.0" in text


def test_long_answers_are_packed(client: TestClient) -> None:
    packed = client.get("/openapi.json", headers={"Accept-Encoding": "gzip"})
    plain = client.get("/openapi.json", headers={"Accept-Encoding": "identity"})
    assert packed.headers["content-encoding"] == "gzip"
    assert packed.json() == plain.json()
    assert int(packed.headers["content-length"]) < int(plain.headers["content-length"]) / 4
    assert "content-encoding" not in client.get("/healthz").headers


def test_turns_are_few_and_so_are_those_that_wait(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(turns, "MOST_WAITING", 3)
    together = most = 0

    async def main() -> list[int | BaseException]:
        here = Turns(2)

        async def ask() -> int:
            nonlocal together, most
            async with here.turn():
                together += 1
                most = max(most, together)
                assert here.taken <= 2
                await asyncio.sleep(0.05)
                together -= 1
            return 200

        return await asyncio.gather(*(ask() for _ in range(8)), return_exceptions=True)

    came = asyncio.run(main())
    assert most == 2
    assert came.count(200) == 5
    refused = [error for error in came if isinstance(error, HTTPException)]
    assert [error.status_code for error in refused] == [503] * 3


def test_who_waits_too_long_is_sent_away_and_leaves_the_turn_to_others(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(turns, "LONGEST_WAIT_SECONDS", 0.05)

    async def main() -> None:
        here = Turns(1)
        async with here.turn():
            with pytest.raises(HTTPException) as refused:
                async with here.turn():
                    pass
            assert refused.value.status_code == 503
        async with here.turn():
            assert (here.taken, here.waiting) == (1, 0)
        assert here.taken == 0

    asyncio.run(main())


def test_heavy_routes_take_turns_and_light_ones_do_not(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_vineyard(client)
    monkeypatch.setattr(turns, "MOST_WAITING", 0)
    app = client.app
    assert isinstance(app, FastAPI)
    monkeypatch.setattr(app.state, "turns", Turns(0))
    for heavy in (f"{VINEYARD}/forecast", f"{VINEYARD}/scouting", f"{VINEYARD}/calendar.ics"):
        answer = client.get(heavy)
        assert_problem(answer, 503, "ask again a little later")
        assert answer.headers["retry-after"] == "5"
    assert client.post("/v1/fits", json={}).status_code == 503
    page = client.get("/vineyards/hollow")
    assert page.status_code == 503
    assert page.headers["content-type"].startswith("text/html")
    assert page.headers["retry-after"] == "5"
    assert client.get(VINEYARD).status_code == client.get("/healthz").status_code == 200


def test_a_database_in_trouble_is_503_and_then_all_is_well(
    client: TestClient, own_database: Path, caplog: pytest.LogCaptureFixture
) -> None:
    put_vineyard(client)
    away = own_database.with_suffix(".away")
    own_database.rename(away)
    visit = [{"date": "2026-05-18", "block": "b1", "percent_open": 0}]
    for answer in (
        client.get(VINEYARD),
        client.post(f"{VINEYARD}/visits", json=visit),
        client.get("/readyz"),
    ):
        assert assert_problem(answer, 503)["type"] == "/problems/unavailable"
        assert answer.headers["retry-after"] == "5"
        assert str(own_database) not in answer.text
    assert client.get("/").status_code == 503
    assert "the database cannot be used" in caplog.text
    assert client.get("/healthz").status_code == 200
    away.rename(own_database)
    assert client.get("/readyz").status_code == 200
    assert client.post(f"{VINEYARD}/visits", json=visit).status_code == 200
    with sqlite3.connect(own_database) as other:
        assert other.execute("SELECT count(*) FROM visits").fetchone() == (1,)
    other.close()


@pytest.mark.parametrize(
    "address", ["/v1/fits/%00", "/v1/jobs/a%00b", f"{VINEYARD}/visits?block=%00", "/vineyards/%00"]
)
def test_an_address_with_a_nul_is_refused(client: TestClient, address: str) -> None:
    assert_problem(client.get(address), 422, "NUL")


def test_a_nul_in_a_file_or_a_form_is_refused(client: TestClient) -> None:
    put_vineyard(client)
    for answer in (
        client.post(
            f"{VINEYARD}/visits", headers=CSV, content=b"date,block,percent_open,note\n2026-05-18,b1,0,a\0b\n"
        ),
        client.post(
            f"{VINEYARD}/visits", json=[{"date": "2026-05-18", "block": "b1", "bbch": 61, "note": "\0"}]
        ),
        client.put(STATION, json={"name": "\0", "latitude": 0, "longitude": 0}),
    ):
        assert_problem(answer, 422)
    page = client.post("/vineyards", data={"name": "a\0b", "latitude": "30", "longitude": "-80"})
    assert page.status_code == 422
