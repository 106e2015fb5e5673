"""The OpenAPI document, with the examples that the tests run."""

from __future__ import annotations

import importlib.resources
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from service.api.responses import OF_A_GROWER, WITH_BODY, Responses
from service.api.schemas import ProblemDetails
from service.web.uploads import JSON, MULTIPART

FOLDER = importlib.resources.files("openapi_examples")


@dataclass(frozen=True)
class Example:
    """One request and what it answers, from a file of ``openapi_examples``.

    In the order of their names the examples are one session on an empty store. A body is JSON, or the text
    that ``body_file`` names, or a form whose ``files`` name texts too. An expected body is a part of the
    answer: fields may be left out, and the end of a list or text that has begun (of a field's, "..." stands for it).
    ``keep`` names what later paths stand for (``{fit}``): a header of the answer, or a place in its body, as
    ``visits.0.visit``. One that is ``patient`` is asked until it is answered so.
    """

    name: str
    summary: str
    method: str
    path: str
    headers: dict[str, str]
    body: Any
    form: dict[str, str]
    files: dict[str, str]
    status: int
    answer: Any
    keep: dict[str, str]
    patient: bool

    @property
    def sends(self) -> str:
        """Media type of the request."""
        return MULTIPART if self.files else self.headers.get("Content-Type", JSON)

    def content_of(self, field: str) -> str:
        """The text of one of a form's files."""
        return (FOLDER / self.files[field]).read_text(encoding="utf-8")


def examples() -> Iterator[Example]:
    """All examples, in order."""
    for file in sorted(FOLDER.iterdir(), key=lambda file: file.name):
        if file.name.endswith(".json"):
            yield _read(file.name, json.loads(file.read_text(encoding="utf-8")))


def _read(name: str, told: dict[str, Any]) -> Example:
    request, response = told["request"], told["response"]
    body = request.get("body")
    if "body_file" in request:
        body = (FOLDER / request["body_file"]).read_text(encoding="utf-8")
    return Example(
        name=name.removesuffix(".json"),
        summary=told["summary"],
        method=request["method"],
        path=request["path"],
        headers=request.get("headers", {}),
        body=body,
        form=request.get("form", {}),
        files=request.get("files", {}),
        status=response["status"],
        answer=response.get("body"),
        keep=told.get("keep", {}),
        patient=told.get("patient", False),
    )


def document(app: FastAPI) -> dict[str, Any]:
    """The OpenAPI document of an app, made once."""
    if app.openapi_schema is None:
        made = get_openapi(
            title=app.title,
            version=app.version,
            summary=app.summary,
            description=app.description,
            routes=app.routes,
        )
        problem = ProblemDetails.model_json_schema(ref_template="#/components/schemas/{model}")
        made["components"]["schemas"] |= {**problem.pop("$defs"), ProblemDetails.__name__: problem}
        made["components"]["securitySchemes"] = {"key": {"type": "http", "scheme": "bearer"}}
        made["security"] = [{}, {"key": []}]  # open access asks for none
        for operation in (operation for path in made["paths"].values() for operation in path.values()):
            if "requestBody" in operation:
                _may_answer(operation, WITH_BODY)
            if any(parameter["name"] == "grower" for parameter in operation.get("parameters", [])):
                _may_answer(operation, OF_A_GROWER)
        for example in examples():
            _show(example, made["paths"])
        app.openapi_schema = made
    return app.openapi_schema


def _may_answer(operation: dict[str, Any], responses: Responses) -> None:
    operation["responses"] |= {str(status): told for status, told in responses.items()}


def _show(example: Example, paths: dict[str, Any]) -> None:
    """Write an example into the operation that it calls."""
    asked = urlsplit(example.path)
    template, found = _route(asked.path, paths)
    operation = paths[template][example.method.lower()]
    values = {**found, **dict(parse_qsl(asked.query))}
    for parameter in operation.get("parameters", []):
        if parameter["name"] in values and not values[parameter["name"]].startswith("{"):
            shown = parameter.setdefault("examples", {})
            shown[example.name] = {"summary": example.summary, "value": values[parameter["name"]]}
    body = example.body
    if example.files:  # as curl takes it
        body = {**{field: f"@{name}" for field, name in example.files.items()}, **example.form}
    if body is not None:
        _add(operation["requestBody"]["content"][example.sends], example, body)
    if example.answer is not None:
        content = operation["responses"][str(example.status)]["content"]
        kind = example.headers.get("Accept", JSON) if example.status < 400 else next(iter(content))
        _add(content[kind], example, example.answer)


def _add(media: dict[str, Any], example: Example, value: Any) -> None:
    media.setdefault("examples", {})[example.name] = {"summary": example.summary, "value": value}


def _route(path: str, templates: dict[str, Any]) -> tuple[str, dict[str, str]]:
    for template in templates:
        found = re.fullmatch(re.sub(r"\{(\w+)\}", r"(?P<\1>[^/]+)", template), path)
        if found:
            return template, found.groupdict()
    raise LookupError(f"no route for the example's path {path}")
