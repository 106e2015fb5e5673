"""Shorthand for requests that many tests make, and the one shape of a problem."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol, cast

from fastapi.testclient import TestClient

from service.web.kept import KeptAnswers

if TYPE_CHECKING:
    from fastapi import FastAPI

CSV = {"Content-Type": "text/csv"}
STATION = "/v1/stations/hollow-gauge"
VINEYARD = "/v1/vineyards/hollow"


class Answer(Protocol):
    """What these tests need of a response."""

    @property
    def status_code(self) -> int: ...
    @property
    def text(self) -> str: ...
    @property
    def content(self) -> bytes: ...
    @property
    def headers(self) -> Any: ...
    def json(self) -> Any: ...


def send_csv(client: TestClient, path: str, text: str | bytes, **query: str) -> Answer:
    """POST a CSV body."""
    content = text.encode() if isinstance(text, str) else text
    return client.post(path, params=query, headers=CSV, content=content)


def assert_problem(answer: Answer, status: int, *said: str) -> dict[str, Any]:
    """A problem of the one shape, with this status and all of these words somewhere in it."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    body: dict[str, Any] = answer.json()
    assert list(body) == ["type", "title", "status", "detail", "instance", "errors"]
    assert body["status"] == status
    assert body["type"].startswith("/problems/")
    assert body["instance"].startswith("/")
    assert body["title"]
    assert body["detail"]
    for error in body["errors"]:
        assert list(error) == ["where", "problem"]
        assert error["where"]
        assert error["problem"]
    for words in said:
        assert words in answer.text
    return body


def put_vineyard(client: TestClient, *, station: bool = True) -> None:
    """A station, a vineyard and two blocks, one of them pistillate."""
    place = {"name": "Hollow gauge", "latitude": 33.5, "longitude": -84.0, "elevation_m": 250}
    vineyard = {"name": "Hollow", "station": "hollow-gauge" if station else None}
    assert client.put(STATION, json=place).status_code == 201
    assert client.put(VINEYARD, json=vineyard).status_code == 201
    planting = (
        "block,cultivar,flower_type,x_m,y_m\nb1,Thimble Ash,pistillate,0,0\nb2,Loam Whistle,perfect,6,0\n"
    )
    assert send_csv(client, f"{VINEYARD}/planting", planting).status_code == 200


def forget_answers(client: TestClient) -> None:
    """Let the service compute anew what it has kept: its code was changed, which no change of data tells."""
    cast("FastAPI", client.app).state.kept = KeptAnswers()
