"""Every route of the API document: refused without a key, what one may with each role, and other growers' things."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.routing import iter_route_contexts

from service.api.document import examples
from tests.access.conftest import OWN_PAGE, Door
from tests.api.test_examples import ask, is_answered, told

PUBLIC = {("get", "/healthz"), ("get", "/readyz"), ("get", "/metrics")}
READERS_MAY = {("post", "/v1/bloom-report")}  # it stores nothing
MANAGERS_ONLY_READ = {("get", "/v1/keys"), ("get", "/v1/export")}
RECORDERS_MAY = {
    ("post", "/v1/vineyards/{vineyard}/visits"),
    ("patch", "/v1/vineyards/{vineyard}/visits/{visit}"),
    ("delete", "/v1/vineyards/{vineyard}/visits/{visit}"),
    ("put", "/v1/vineyards/{vineyard}/blocks/{block}/frost/{season}"),
    ("delete", "/v1/vineyards/{vineyard}/blocks/{block}/frost/{season}"),
    ("post", "/v1/vineyards/{vineyard}/calendar-link"),
    ("post", "/v1/vineyards/{vineyard}/set-counts"),
    ("delete", "/v1/vineyards/{vineyard}/set-counts/{count}"),
    ("post", "/v1/vineyards/{vineyard}/crop-counts"),
    ("delete", "/v1/vineyards/{vineyard}/crop-counts/{count}"),
    ("post", "/v1/changes/{change}/undo"),  # of what it recorded
}
MAKES_ONES_OWN = {
    ("put", "/v1/stations/{station}"),
    ("put", "/v1/cultivars/{cultivar}"),
    ("put", "/v1/vineyards/{vineyard}"),
}
# what no example deletes, in an order in which it can be deleted
DELETED = (
    "/v1/vineyards/sandlark-bend/blocks/west-1/frost/2023",
    "/v1/vineyards/sandlark-bend",
    "/v1/vineyards/fallow-spoke",
    "/v1/fits/25be92c99a3e",
    "/v1/cultivars/copper-lull",
    "/v1/stations/sandlark-mast",
)
FILLED = {"season": "2025", "date": "2025-05-01", "change": "1"}


def operations(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Method, path and operation, but for those that anybody may ask."""
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            if (method, path) not in PUBLIC:
                yield method, path, operation


def filled(path: str) -> str:
    return re.sub(r"\{(\w+)\}", lambda found: FILLED.get(found[1], "none"), path)


def test_without_a_key_every_route_is_refused(door: Door, document: dict[str, Any]) -> None:
    stranger = door.client()
    asked = list(operations(document))
    assert len(asked) >= 60
    for method, path, _ in asked:
        assert stranger.request(method, filled(path)).status_code == 401, (method, path)


def test_each_role_may_what_it_says_and_no_more(door: Door, document: dict[str, Any]) -> None:
    reader, recorder = door.client_of("read", "ann"), door.client_of("record", "ann")
    for method, path, _ in operations(document):
        by_reader = reader.request(method, filled(path)).status_code
        by_recorder = recorder.request(method, filled(path)).status_code
        reads = (method == "get" and (method, path) not in MANAGERS_ONLY_READ) or (
            method,
            path,
        ) in READERS_MAY
        records = reads or (method, path) in RECORDERS_MAY
        assert (by_reader != 403, by_recorder != 403) == (reads, records), (method, path)
    assert {(method, path) for method, path, _ in operations(document)} >= RECORDERS_MAY


def test_a_grower_that_is_not_ones_own_is_not_there(door: Door, document: dict[str, Any]) -> None:
    door.client_of("manage", "ann")
    bea = door.client_of("manage", "bea")
    asked = 0
    for method, path, operation in operations(document):
        if "grower" in {parameter["name"] for parameter in operation.get("parameters", ())}:
            answer = bea.request(method, filled(path), params={"grower": "ann"})
            assert answer.status_code == 404, (method, path, answer.text)
            asked += 1
    assert asked >= 55


@pytest.mark.slow
def test_of_another_growers_things_every_route_knows_nothing(door: Door, document: dict[str, Any]) -> None:
    """The session of the examples by one grower; before each step another one asks the same."""
    templates = [(method, path) for method, path, _ in operations(document)]
    ann, bea = door.client_of("manage", "ann"), door.client_of("manage", "bea")
    kept: dict[str, str] = {}
    answered = set()
    for example in examples():
        route = _route(templates, example.method, example.path)
        if route is not None and example.status < 300 and "{" in route[1] and route not in MAKES_ONES_OWN:
            other = ask(bea, example, kept)
            assert other.status_code == 404, (example.name, other.text)
        elif route is not None and route[0] == "get" and "{" not in route[1]:
            assert "sandlark" not in ask(bea, example, kept).text.partition('"instance"')[0], example.name
        answer = ask(ann, example, kept)
        for _ in range(600):
            if not example.patient or is_answered(example, answer):
                break
            time.sleep(0.2)
            answer = ask(ann, example, kept)
        assert answer.status_code == example.status, (example.name, answer.text)
        if answer.status_code < 300:
            answered.add(route)
        kept |= {name: told(answer, place) for name, place in example.keep.items()}
    for path in DELETED:
        assert bea.delete(path).status_code == 404, path
        assert ann.delete(path).status_code == 200, path
        answered.add(_route(templates, "delete", path))
    assert set(templates) - answered == set()
    with door.store.transaction("bea", read_only=True) as records:
        assert records.changes.all() == ()


def _route(templates: list[tuple[str, str]], method: str, path: str) -> tuple[str, str] | None:
    """The route of a path; one in words goes before one with a place to fill."""
    plain = re.sub("[{}]", "", path.partition("?")[0])
    found = [
        each
        for each in templates
        if each[0] == method.lower() and re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", each[1]), plain)
    ]
    return min(found, key=lambda each: each[1].count("{"), default=None)


PUBLIC_PAGES = {
    "/sign-in",
    "/sign-out",
    "/phone/{link}",
    "/help",
    "/help/{name}",
    "/problems/{slug}",
    "/docs",
    "/file-templates/{name}",
    "/service-worker.js",
}


def test_every_page_asks_for_a_key_but_those_that_show_nothing_of_a_grower(
    door: Door, document: dict[str, Any]
) -> None:
    stranger, asked = door.client(), set()
    documented = set(document["paths"]) | {"/openapi.json"}
    for route in iter_route_contexts(door.app.routes):
        path = route.path
        if path is None or path in documented | PUBLIC_PAGES or not route.methods:
            continue
        for method in route.methods:
            answer = stranger.request(method, filled(path), headers=OWN_PAGE)
            assert answer.status_code == 401, (method, path, answer.text)
            asked.add((method, path))
    assert len(asked) >= 15
