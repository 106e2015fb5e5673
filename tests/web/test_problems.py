"""Every source of error answers in one shape, and nothing of an unexpected one leaks."""

from __future__ import annotations

import logging
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from models.errors import MissingDays, NotEnoughData
from service.app import create_app
from service.settings import Settings
from service.store.errors import AlreadyThere
from tests.api.asking import STATION, VINEYARD, assert_problem, put_vineyard

PLACE = {"name": "Hollow gauge", "latitude": 33.5, "longitude": -84.0}


@pytest.fixture
def failing(settings: Settings) -> Iterator[TestClient]:
    """A service with routes that fail in one way each."""
    app = create_app(settings)
    failures: dict[str, Exception] = {
        "secret": RuntimeError("password=plum"),
        "lookup": KeyError("plum"),
        "days": MissingDays("temperatures are missing"),
        "data": NotEnoughData("one season only"),
        "taken": AlreadyThere("fit", "a1"),
    }

    @app.get("/fail/{how}")
    def fail(how: str) -> None:
        raise failures[how]

    with TestClient(
        app,
        base_url="http://127.0.0.1:8000",
        client=("127.0.0.1", 50000),
        raise_server_exceptions=False,
    ) as client:
        yield client


@pytest.mark.parametrize("how", ["secret", "lookup"])
def test_an_unexpected_error_tells_nothing_and_is_logged(
    failing: TestClient, how: str, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.ERROR):
        answer = failing.get(f"/fail/{how}")
    assert assert_problem(answer, 500)["type"] == "/problems/internal"
    assert "plum" not in answer.text
    assert "GET /fail/{how} failed" in caplog.text  # the template, as an address may name places


@pytest.mark.parametrize(
    ("how", "status", "kind"),
    [("days", 422, "missing-days"), ("data", 422, "not-enough-data"), ("taken", 409, "already-there")],
)
def test_an_error_raised_on_purpose_has_its_own_kind(
    failing: TestClient, how: str, status: int, kind: str
) -> None:
    assert assert_problem(failing.get(f"/fail/{how}"), status)["type"] == f"/problems/{kind}"


def test_what_is_not_there(client: TestClient) -> None:
    assert_problem(client.get("/v1/orchards"), 404, "GET /v1/orchards")
    assert_problem(client.get("/v1/stations/"), 404)
    for path in (STATION, "/v1/cultivars/none", VINEYARD, f"{VINEYARD}/blocks/b1", f"{VINEYARD}/visits"):
        assert assert_problem(client.get(path), 404)["type"] == "/problems/not-found"
    for path in (STATION, "/v1/cultivars/none", VINEYARD, f"{VINEYARD}/blocks/b1"):
        assert_problem(client.delete(path), 404)


def test_a_method_that_is_not_offered(client: TestClient) -> None:
    answer = client.post(STATION)
    assert_problem(answer, 405)
    assert answer.headers["allow"]


@pytest.mark.parametrize(
    ("body", "where"),
    [
        ("{", "body."),
        ("[]", "body"),
        ("{}", "body.latitude"),
        ('{"name": "a", "latitude": 91, "longitude": 0}', "body.latitude"),
        ('{"name": "a", "latitude": NaN, "longitude": 0}', "body.latitude"),
        ('{"name": "a", "latitude": "north", "longitude": 0}', "body.latitude"),
        ('{"name": " ", "latitude": 1, "longitude": 0}', "body.name"),
        ('{"name": "a\\u0000", "latitude": 1, "longitude": 0}', "body.name"),
        ('{"name": "\\ud800", "latitude": 1, "longitude": 0}', "body.name"),
        ('{"name": "a", "latitude": 1, "longitude": 0, "height": 3}', "body.height"),
    ],
)
def test_a_wrong_body_is_located(client: TestClient, body: str, where: str) -> None:
    answer = client.put(STATION, content=body.encode(), headers={"Content-Type": "application/json"})
    problem = assert_problem(answer, 422)
    assert any(error["where"].startswith(where) for error in problem["errors"]), answer.text
    assert_problem(client.get(STATION), 404)


def test_json_must_be_sent_as_json(client: TestClient) -> None:
    assert_problem(client.put(STATION, content=b'{"name": "a"}', headers={"Content-Type": "text/plain"}), 422)


@pytest.mark.parametrize("slug", ["Upper", "-dash", "a_b", "a" * 64, "two words", "é"])
def test_an_identifier_is_a_slug(client: TestClient, slug: str) -> None:
    assert_problem(client.put(f"/v1/stations/{slug}", json=PLACE), 422, "path.station")


def test_references_must_exist_and_what_is_used_stays(client: TestClient) -> None:
    vineyard = {"name": "Hollow", "station": "hollow-gauge"}
    assert_problem(client.put(VINEYARD, json=vineyard), 422, "hollow-gauge")
    put_vineyard(client)
    block = {"cultivar": "no-such", "x_m": 0, "y_m": 0}
    assert_problem(client.put(f"{VINEYARD}/blocks/b3", json=block), 422, "no-such")
    block = {"cultivar": "thimble-ash", "x_m": 0, "y_m": 0, "neighbours": ["b3"]}
    assert_problem(client.put(f"{VINEYARD}/blocks/b3", json=block), 422, "body.neighbours")
    assert_problem(client.delete(STATION), 409, "vineyard hollow")
    assert_problem(client.delete("/v1/cultivars/thimble-ash"), 409, "b1")


def test_the_store_may_be_away(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    assert client.get("/readyz").json() == {"status": "ok"}
    monkeypatch.setattr("service.store.engine.Store.is_answering", lambda _: False)
    assert_problem(client.get("/readyz"), 503)
    assert client.get("/healthz").json() == {"status": "ok"}
