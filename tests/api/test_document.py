"""The API document: valid by the standard's own validator, whole, and true of what routes answer."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from fastapi.testclient import TestClient
from openapi_spec_validator import OpenAPIV31SpecValidator, validate

from tests.api.asking import put_vineyard

# What generated clients call: an id may be added, and none is renamed or taken away.
KEPT = """
    get_health list_stations put_station get_station delete_station upload_temperatures get_temperatures
    get_degree_days list_cultivars put_cultivar get_cultivar delete_cultivar list_vineyards put_vineyard
    get_vineyard delete_vineyard list_blocks put_block get_block delete_block upload_planting
    upload_bloom_log get_bloom_log record_visits get_visits list_frosted mark_block_frosted
    unmark_block_frosted create_fit list_fits take_over_fit show_fit share_fit run_hindcast get_hindcast
    show_job list_jobs cancel_job get_readiness get_forecast
    get_pollination get_scouting get_calendar get_planting_check report_from_files
"""
GARBLED = (
    ("application/json", b'{"name": "\xff"}'),
    ("application/json", b"["),
    ("multipart/form-data; boundary=x", b"--y\r\n"),
    ("multipart/form-data", b"no boundary"),
    ("text/csv", b"\x00"),
    ("text/plain", b"plain"),
)


def operations(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Path, method and operation, one by one."""
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            yield path, method, operation


def references(part: Any) -> Iterator[str]:
    """Every ``$ref`` in a part of the document."""
    if isinstance(part, dict):
        for key, value in part.items():
            if key == "$ref":
                yield value
            else:
                yield from references(value)
    elif isinstance(part, list):
        for value in part:
            yield from references(value)


def test_the_document_is_valid(document: dict[str, Any]) -> None:
    assert document["openapi"].startswith("3.1")
    validate(document, cls=OpenAPIV31SpecValidator)


def test_every_reference_leads_somewhere(document: dict[str, Any]) -> None:
    found = set(references(document))
    assert len(found) >= 40
    for reference in found:
        part: Any = document
        for step in reference.removeprefix("#/").split("/"):
            assert step in part, reference
            part = part[step]


def test_operation_ids_are_words_and_stay(document: dict[str, Any]) -> None:
    ids = [operation["operationId"] for _, _, operation in operations(document)]
    assert len(ids) == len(set(ids))
    assert [each for each in ids if not re.fullmatch(r"[a-z]+(_[a-z]+)+", each)] == []
    assert set(KEPT.split()) <= set(ids)


def test_what_a_garbled_body_is_answered_is_documented(client: TestClient, document: dict[str, Any]) -> None:
    met = set()
    for path, method, operation in operations(document):
        if "requestBody" in operation:
            for sent, body in GARBLED:
                answer = client.request(
                    method, re.sub(r"[{}]", "", path), headers={"Content-Type": sent}, content=body
                )
                assert str(answer.status_code) in operation["responses"], (method, path, sent, answer.text)
                met.add(answer.status_code)
            assert {"400", "413"} <= operation["responses"].keys(), (method, path)
    assert {400, 415, 422} <= met


def test_head_is_get_without_its_body(client: TestClient, document: dict[str, Any]) -> None:
    put_vineyard(client)
    places = {"station": "hollow-gauge", "vineyard": "hollow", "block": "b1", "cultivar": "thimble-ash"}
    seen = set()
    for path, method, _ in operations(document):
        if method == "get":
            address = re.sub(r"\{(\w+)\}", lambda found: places.get(found[1], "none"), path)
            head, get = client.head(address), client.get(address)
            assert head.content == b""
            assert (head.status_code, head.headers["content-type"], head.headers["content-length"]) == (
                get.status_code,
                get.headers["content-type"],
                get.headers["content-length"],
            ), path
            seen.add(get.status_code)
    assert {200, 404} <= seen
    for page in ("/", "/static/board.css"):
        assert client.head(page).status_code == 200
        assert client.head(page).content == b""


def test_options_and_refusals_tell_what_a_path_allows(client: TestClient, document: dict[str, Any]) -> None:
    for path in document["paths"]:
        address = re.sub(r"[{}]", "", path)
        own = {method for template, method, _ in operations(document) if template == address}
        methods = own or {
            method
            for template, method, _ in operations(document)
            if re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", template), address)
        }
        allowed = {method.upper() for method in methods} | {"OPTIONS"}
        allowed |= {"HEAD"} if "get" in methods else set()
        answers = [client.options(address), client.request("PURGE", address)]
        assert [answer.status_code for answer in answers] == [204, 405], path
        for answer in answers:
            assert set(answer.headers["allow"].split(", ")) == allowed, path
    assert client.options("/static/board.css").headers["allow"] == "GET, HEAD, OPTIONS"
    assert client.options("/v1/orchards").status_code == 404
    assert client.head("/v1/orchards").status_code == 404
