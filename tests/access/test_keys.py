"""Keys over HTTP: who comes in with which, what each may do, and how they end."""

from __future__ import annotations

import asyncio
import datetime as dt
import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from starlette.types import Message

from service import clock
from service.web import access
from tests.access.conftest import Door
from tests.api.asking import VINEYARD, assert_problem, put_vineyard, send_csv

LOOK = [{"date": "2026-05-20", "block": "b1", "percent_open": 12}]


def test_a_key_lets_in_and_tells_who_one_is(door: Door) -> None:
    ann = door.client_of("manage", "ann", name="Ann's desk")
    me = ann.get("/v1/me").json()
    assert (me["name"], me["role"], me["growers"], me["expires_at"]) == (
        "Ann's desk",
        "manage",
        ["ann"],
        None,
    )
    refused = door.client().get("/v1/me")
    assert_problem(refused, 401, "a key is needed")
    assert refused.headers["www-authenticate"] == "Bearer"


@pytest.mark.usefixtures("quick_refusals")
def test_a_wrong_key_and_one_that_is_no_secret_are_refused(door: Door) -> None:
    key, secret = door.key("Ann", "manage", "ann")
    for wrong in (key.id, secret[:-1], secret + "x", ""):
        assert_problem(door.client(wrong).get("/v1/stations"), 401)
    garbled = {b"Authorization": b"Bearer \xff"}
    assert_problem(door.client().get("/v1/stations", headers=garbled), 401)
    basic = door.client()
    basic.headers["Authorization"] = f"Basic {secret}"
    assert basic.get("/v1/stations").status_code == 401


def test_what_was_recorded_names_the_key(door: Door) -> None:
    ann, ida = (
        door.client_of("manage", "ann", name="Ann"),
        door.client_of("record", "ann", name="Ida's phone"),
    )
    put_vineyard(ann)
    answer = ida.post(f"{VINEYARD}/visits", json=LOOK)
    assert answer.status_code == 200, answer.text
    latest, *_, first = ann.get("/v1/changes").json()["changes"]
    assert (latest["by"], first["by"]) == ("Ida's phone", "Ann")
    assert str(latest["change"]) == answer.headers["capfall-change"]


def test_a_recorder_writes_what_is_seen_and_nothing_else(door: Door) -> None:
    ann, ida = door.client_of("manage", "ann"), door.client_of("record", "ann")
    put_vineyard(ann)
    assert ida.post(f"{VINEYARD}/visits", json=LOOK).status_code == 200
    assert ida.put(f"{VINEYARD}/blocks/b1/frost/2026").status_code == 201
    assert ida.post(f"{VINEYARD}/calendar-link").status_code == 201
    for refused in (
        ida.delete(VINEYARD),
        ida.put("/v1/stations/other", json={"name": "x", "latitude": 1, "longitude": 1}),
        send_csv(ida, f"{VINEYARD}/planting", "block\n"),
        ida.get("/v1/keys"),
        ida.post("/v1/changes/1/undo"),
    ):
        assert_problem(
            refused, 403, "a key that may manage everything is needed", "this one may record visits"
        )
    assert ann.get(VINEYARD).status_code == 200


def test_a_recorder_undoes_what_it_has_recorded_itself(door: Door) -> None:
    ann, ida = door.client_of("manage", "ann"), door.client_of("record", "ann", name="Ida's phone")
    other = door.client_of("record", "ann", name="Bo's phone")
    put_vineyard(ann)
    sent = ida.post(f"{VINEYARD}/visits", json=LOOK)
    undo = f"/v1/changes/{sent.headers['capfall-change']}/undo"
    assert_problem(other.post(undo), 403, "undo what it recorded itself")
    assert_problem(door.client_of("read", "ann").post(undo), 403)
    undone = ida.post(undo)
    assert undone.status_code == 200, undone.text
    assert ann.get(f"{VINEYARD}/visits").json()["visits"] == []
    again = ida.post(f"/v1/changes/{undone.headers['capfall-change']}/undo")
    assert again.status_code == 200, again.text
    assert len(ann.get(f"{VINEYARD}/visits").json()["visits"]) == 1
    assert_problem(ida.post("/v1/changes/999/undo"), 404)


def test_a_recorder_that_is_called_like_a_manager_undoes_nothing_of_the_manager(door: Door) -> None:
    ann, phone = door.client_of("manage", "ann", name="Ann"), door.client_of("record", "ann", name="Ann")
    put_vineyard(ann)
    assert_problem(phone.post("/v1/changes/1/undo"), 403)
    assert ann.get(VINEYARD).status_code == 200


def test_a_key_of_several_growers_names_one(door: Door) -> None:
    ann, bea = door.client_of("manage", "ann"), door.client_of("manage", "bea")
    put_vineyard(ann)
    adviser = door.client_of("manage", "ann", "bea")
    assert_problem(adviser.get("/v1/vineyards"), 422, "name one of ann, bea")
    assert [each["vineyard"] for each in adviser.get("/v1/vineyards?grower=ann").json()["vineyards"]] == [
        "hollow"
    ]
    assert adviser.get("/v1/vineyards?grower=bea").json()["vineyards"] == []
    assert_problem(adviser.get("/v1/vineyards?grower=cid"), 404, "cid")
    assert_problem(bea.get("/v1/vineyards?grower=ann"), 404, "ann")
    assert_problem(bea.get(VINEYARD), 404)
    place = {"name": "Bea's", "latitude": 33.5, "longitude": -84.0}
    assert adviser.put("/v1/stations/shed?grower=bea", json=place).status_code == 201
    assert bea.get("/v1/stations/shed").status_code == 200
    assert ann.get("/v1/stations/shed").status_code == 404


def test_keys_are_made_listed_and_revoked(door: Door) -> None:
    ann = door.client_of("manage", "ann", name="Ann")
    made = ann.post("/v1/keys", json={"name": "Ida", "role": "read"})
    assert made.status_code == 201, made.text
    ida = door.client(made.json()["secret"])
    assert ida.get("/v1/me").json()["key"] == made.json()["key"]
    listed = ann.get("/v1/keys")
    assert [each["name"] for each in listed.json()["keys"]] == ["Ann", "Ida"]
    assert "capfall-" not in listed.text
    left = ann.delete(f"/v1/keys/{made.json()['key']}")
    assert [each["name"] for each in left.json()["keys"]] == ["Ann"]
    assert ida.get("/v1/me").status_code == 401
    assert_problem(ann.delete(f"/v1/keys/{made.json()['key']}"), 404)


def test_nobody_hands_on_more_than_is_theirs(door: Door) -> None:
    over = clock.now() + dt.timedelta(days=3)
    _, secret = door.key("Ann", "manage", "ann", expires_at=over)
    door.key("Bea", "manage", "bea")
    ann = door.client(secret)
    assert_problem(ann.post("/v1/keys", json={"name": "x", "role": "read", "growers": ["bea"]}), 404, "bea")
    later = (over + dt.timedelta(days=1)).isoformat()
    told = ann.post("/v1/keys", json={"name": "x", "role": "read", "expires_at": later})
    assert_problem(told, 422, "expires_at")
    made = ann.post("/v1/keys", json={"name": "x", "role": "read"}).json()
    assert dt.datetime.fromisoformat(made["expires_at"]) == over
    for name in ("", " ", "a\nb", "a\0b", "x" * 64):
        assert_problem(ann.post("/v1/keys", json={"name": name, "role": "read"}), 422)


def test_of_other_growers_a_list_tells_nothing_and_revoking_takes_away_ones_own(door: Door) -> None:
    key, secret = door.key("Adviser", "manage", "ann", "bea")
    ann, adviser = door.client_of("manage", "ann", name="Ann"), door.client(secret)
    door.key("Bea", "manage", "bea")
    assert "bea" not in ann.get("/v1/keys").text.lower()
    assert ann.delete(f"/v1/keys/{key.id}").status_code == 200
    assert adviser.get("/v1/me").json()["growers"] == ["bea"]
    assert [each["name"] for each in ann.get("/v1/keys").json()["keys"]] == ["Ann"]


@pytest.mark.usefixtures("quick_refusals")
def test_a_key_ends_at_its_time(door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    now = clock.now()
    _, secret = door.key("Ann", "read", "ann", expires_at=now + dt.timedelta(hours=1))
    ann = door.client(secret)
    assert ann.get("/v1/me").status_code == 200
    monkeypatch.setattr(clock, "now", lambda: now + dt.timedelta(hours=1, seconds=1))
    assert_problem(ann.get("/v1/me"), 401, "its time is over")


def test_a_wrong_key_waits_and_a_right_one_does_not(door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(access, "WRONG_KEY_SECONDS", 4.0)
    monkeypatch.setattr(access, "MOST_WAITING", 3)
    ann, stranger = door.client_of("read", "ann"), door.client("wrong")
    with ThreadPoolExecutor(5) as threads:
        guesses = [threads.submit(lambda: stranger.get("/v1/me").status_code) for _ in range(5)]
        until = time.monotonic() + 3
        while door.app.state.wrong_keys.waiting < 3 and time.monotonic() < until:
            time.sleep(0.02)
        assert ann.get("/v1/me").status_code == 200
        assert sum(not guess.done() for guess in guesses) >= 3  # they wait still
        assert sorted(guess.result() for guess in guesses) == [401, 401, 401, 429, 429]


def test_a_calendar_link_shows_one_calendar_and_nothing_else(door: Door) -> None:
    ann, anybody = door.client_of("manage", "ann"), door.client()
    put_vineyard(ann)
    ann.put("/v1/vineyards/other", json={"name": "Other"})
    link = ann.post(f"{VINEYARD}/calendar-link").json()
    address = link["url"].removeprefix("https://vines.example")
    assert link["webcal"] == f"webcal://vines.example{address}"
    assert_problem(anybody.get(address), 422, "no temperatures")  # it was let in
    assert_problem(anybody.get(address.replace("hollow", "other")), 404)
    secret = address.partition("key=")[2]
    assert_problem(door.client(secret).get("/v1/vineyards"), 403, "this one may show one calendar")
    assert_problem(anybody.get(f"/v1/vineyards?key={secret}"), 401)
    assert ann.delete(f"/v1/keys/{link['key']}").status_code == 200
    assert anybody.get(address).status_code == 401
    assert_problem(ann.post("/v1/vineyards/none/calendar-link"), 404)


@pytest.mark.usefixtures("quick_refusals")
def test_a_calendar_link_goes_with_the_key_that_made_it(door: Door) -> None:
    ann = door.client_of("manage", "ann")
    put_vineyard(ann)
    key, secret = door.key("Ida", "record", "ann")
    address = door.client(secret).post(f"{VINEYARD}/calendar-link").json()["url"]
    assert_problem(door.client().get(address), 422, "no temperatures")  # it was let in
    ann.delete(f"/v1/keys/{key.id}")
    assert door.client().get(address).status_code == 401


@pytest.mark.usefixtures("quick_refusals")
@pytest.mark.parametrize(
    "header", [(b"accept", b"*/*"), (b"authorization", b"Bearer wrong"), (b"cookie", b"capfall=x")]
)
def test_what_a_stranger_sends_is_not_even_read(door: Door, header: tuple[bytes, bytes]) -> None:
    scope = {
        "type": "http",
        "method": "POST",
        "path": "/v1/fits/import",
        "raw_path": b"/v1/fits/import",
        "query_string": b"",
        "root_path": "",
        "scheme": "http",
        "headers": [(b"host", b"vines.example"), (b"content-type", b"application/json"), header],
        "client": ("203.0.113.9", 50000),
        "server": ("vines.example", 80),
        "http_version": "1.1",
    }
    sent: list[Message] = []

    async def receive() -> Message:
        raise AssertionError("the body is read")

    async def send(message: Message) -> None:
        sent.append(message)

    asyncio.run(door.app(scope, receive, send))
    assert sent[0]["status"] == (403 if header[0] == b"cookie" else 401)


def test_a_form_of_one_who_is_no_longer_signed_in_leads_to_the_sign_in_page(door: Door) -> None:
    answer = door.client().post("/phones", data={"name": "x"}, headers={"Accept": "text/html"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
