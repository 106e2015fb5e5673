"""Every example of the API document runs, in order, as one session on an empty store."""

from __future__ import annotations

import json
import time
from typing import Any

import pytest
from fastapi.testclient import TestClient

from service.api.document import Example, examples
from tests.api.asking import Answer

pytestmark = pytest.mark.slow


def is_part(expected: Any, answer: Any) -> bool:
    """Whether an answer holds what is expected: fields may be left out, and the end of a list or of a text ("...")."""
    match expected:
        case str() if expected.endswith("..."):
            return isinstance(answer, str) and answer.startswith(expected[:-3])
        case dict():
            return isinstance(answer, dict) and all(
                key in answer and is_part(value, answer[key]) for key, value in expected.items()
            )
        case [_, *_]:
            return (
                isinstance(answer, list)
                and len(expected) <= len(answer)
                and all(is_part(value, got) for value, got in zip(expected, answer, strict=False))
            )
        case _:
            return type(expected) is type(answer) and bool(expected == answer)


def ask(client: TestClient, example: Example, kept: dict[str, str]) -> Answer:
    """Send an example's request, with kept values in its path."""
    path = example.path.format(**kept)
    if example.files:
        files = {field: (name, example.content_of(field)) for field, name in example.files.items()}
        return client.request(example.method, path, files=files, data=example.form)
    content = example.body if isinstance(example.body, str) else json.dumps(example.body)
    return client.request(
        example.method,
        path,
        headers={"Content-Type": example.sends, **example.headers},
        content=None if example.body is None else content.encode(),
    )


def told(response: Answer, place: str) -> str:
    """What an answer tells in a header, or at a place of its body as in ``visits.0.visit``."""
    if place in response.headers:
        return str(response.headers[place])
    found = response.json()
    for part in place.split("."):
        found = found[int(part) if part.isdigit() else part]
    return str(found)


def is_answered(example: Example, response: Answer) -> bool:
    """Whether the answer is the one that the example tells."""
    if response.status_code != example.status:
        return False
    return isinstance(example.answer, str) or is_part(example.answer, response.json())


def test_the_examples_run_in_order(client: TestClient) -> None:
    ran = 0
    kept: dict[str, str] = {}
    for example in examples():
        response = ask(client, example, kept)
        for _ in range(600):
            if not example.patient or is_answered(example, response):
                break
            time.sleep(0.2)
            response = ask(client, example, kept)
        kept |= {name: told(response, place) for name, place in example.keep.items()}
        assert response.status_code == example.status, (example.name, response.text)
        if isinstance(example.answer, str):
            assert response.text.startswith(example.answer), example.name
        elif example.answer is not None:
            assert is_part(example.answer, response.json()), (example.name, response.text)
        ran += 1
    assert ran >= 20


def test_a_part_must_fit() -> None:
    answer = {"a": 1, "b": [{"c": 1.0, "d": None}, {"c": 2.0}]}
    assert is_part({"b": [{"c": 1.0}]}, answer)
    assert not is_part({"b": []}, answer)
    assert is_part("ab...", "abc")
    assert not is_part("ac...", "abc")
    assert not is_part("ab...", None)
    assert not is_part({"b": [{"c": 2.0}]}, answer)
    assert not is_part({"a": 1, "e": None}, answer)


def test_every_operation_has_an_example_and_is_described(document: dict[str, Any]) -> None:
    paths = document["paths"]
    assert len(paths) >= 14
    for path, operations in paths.items():
        for method, operation in operations.items():
            where = f"{method} {path}"
            assert operation["summary"], where
            assert operation["description"], where
            shown = [
                media["examples"]
                for holder in [operation.get("requestBody", {}), *operation["responses"].values()]
                for media in holder.get("content", {}).values()
                if "examples" in media
            ]
            if method != "delete":
                assert shown, f"{where} has no example in openapi_examples"
            if method in {"put", "post", "patch"} and "requestBody" in operation:
                bodies = operation["requestBody"]["content"].values()
                assert any("examples" in media for media in bodies), f"{where} shows no body"


def test_every_problem_is_documented_in_its_media_type(document: dict[str, Any]) -> None:
    assert "ProblemDetails" in document["components"]["schemas"]
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            failures = {
                status: answer for status, answer in operation["responses"].items() if status >= "400"
            }
            assert {"422", "500"} <= failures.keys(), (method, path)
            for answer in failures.values():
                assert list(answer["content"]) == ["application/problem+json"], (method, path)
