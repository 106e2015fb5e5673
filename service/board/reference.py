"""The API reference as a page: made from the API document, so that it can say nothing else."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from service.board.markdown import rendered
from service.board.pages import page
from service.board.schema_words import Field, fields_of, holds, said_of, shapes

FORM = "multipart/form-data"
Part = Mapping[str, Any]

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True)
class Content:
    """What a body may be: its media type, and what it holds."""

    media_type: str
    holds: Markup
    fields: list[Field]


@dataclass(frozen=True)
class Answer:
    """One status of an operation that is no problem."""

    status: str
    said: str
    contents: list[Content]


@dataclass(frozen=True)
class Shown:
    """An example: a request and what it answers, as text."""

    summary: str
    asked: str
    body: str
    status: str
    answer: str


@dataclass(frozen=True)
class Operation:
    """One method of one path."""

    key: str
    method: str
    path: str
    summary: str
    said: Markup
    parameters: list[tuple[str, Field]]
    bodies: list[Content]
    answers: list[Answer]
    problems: list[str]
    examples: list[Shown]


def groups(document: Part) -> Mapping[str, list[Operation]]:
    """Operations by their first tag, in the order of the document."""
    found: dict[str, list[Operation]] = defaultdict(list)
    for path, methods in document["paths"].items():
        for method, told in methods.items():
            found[told["tags"][0]].append(_operation(path, method.upper(), told))
    return found


def _operation(path: str, method: str, told: Part) -> Operation:
    answers, problems = {}, []
    for status, answer in told["responses"].items():
        if status < "400":
            answers[status] = answer
        else:
            problems.append(status)
    return Operation(
        key=told["operationId"],
        method=method,
        path=path,
        summary=told["summary"],
        said=rendered(told["description"]),
        parameters=[(parameter["in"], _parameter(parameter)) for parameter in told.get("parameters", ())],
        bodies=_contents(told.get("requestBody", {})),
        answers=[
            Answer(status, answer["description"], _contents(answer))
            for status, answer in sorted(answers.items())
        ],
        problems=sorted(problems),
        examples=list(_examples(path, method, told)),
    )


def _parameter(told: Part) -> Field:
    schema = {**told["schema"], **({"description": told["description"]} if "description" in told else {})}
    return Field(told["name"], holds(schema), told.get("required", False), said_of(schema))


def _contents(holder: Part) -> list[Content]:
    return [
        Content(media_type, holds(media["schema"]), fields_of(media["schema"]))
        for media_type, media in holder.get("content", {}).items()
    ]


def _examples(path: str, method: str, told: Part) -> Iterator[Shown]:
    """Examples by name: parameters, body and answer of one name are one example."""
    sent = _by_name(told.get("requestBody", {}))
    answered = {
        name: (status, *found)
        for status, answer in told["responses"].items()
        for name, found in _by_name(answer).items()
    }
    for name in dict.fromkeys((*sent, *answered)):
        values = {
            parameter["name"]: (parameter["in"], parameter["examples"][name]["value"])
            for parameter in told.get("parameters", ())
            if name in parameter.get("examples", {})
        }
        query = urlencode({key: value for key, (where, value) in values.items() if where == "query"})
        address = path
        for key, (where, value) in values.items():
            if where == "path":
                address = address.replace(f"{{{key}}}", quote(value))
        media_type, summary, body = sent.get(name, ("", "", None))
        status, got, answer_summary, answer = answered.get(name, ("", "", "", None))
        headers = [f"Content-Type: {media_type}"] if media_type else []
        headers += [f"Accept: {got}"] if got == "text/csv" else []
        yield Shown(
            summary=summary or answer_summary,
            asked="\n".join([f"{method} {address}{'?' + query if query else ''}", *headers]),
            body=_form(body) if media_type == FORM else _text(body),
            status=status,
            answer=_text(answer),
        )


def _by_name(holder: Part) -> Mapping[str, tuple[str, str, Any]]:
    """Media type, summary and value of each example of a body."""
    return {
        name: (media_type, example["summary"], example["value"])
        for media_type, media in holder.get("content", {}).items()
        for name, example in media.get("examples", {}).items()
    }


def _form(body: Mapping[str, str]) -> str:
    return "\n".join(f"{name}={value}" for name, value in body.items())


def _text(value: object) -> str:
    if value is None or isinstance(value, str):
        return value or ""
    return json.dumps(value, indent=1, ensure_ascii=False)


@router.get("/docs")
def reference(request: Request) -> HTMLResponse:
    """Every operation with its parameters, bodies, answers and examples."""
    document = request.app.openapi()
    return page(
        "reference.html",
        summary=document["info"]["summary"],
        said=rendered(document["info"]["description"]),
        groups=groups(document),
        shapes=list(shapes(document)),
    )
