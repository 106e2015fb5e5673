"""JSON schemas of the API document in words: what a field holds, and the shapes that bodies have."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from service.board.markdown import in_line

Schema = Mapping[str, Any]

SIMPLE = {
    "string": "text",
    "integer": "whole number",
    "number": "number",
    "boolean": "true or false",
    "null": "null",
    "object": "object",
    "array": "list",
}
FORMATS = {"date": "date", "date-time": "date and time", "binary": "file"}
LIMITS = {
    "minimum": "at least {}",
    "exclusiveMinimum": "more than {}",
    "maximum": "at most {}",
    "exclusiveMaximum": "less than {}",
    "maxLength": "at most {} characters",
    "maxItems": "at most {} of them",
    "pattern": "matches `{}`",
}


@dataclass(frozen=True)
class Field:
    """One field of a shape, or one parameter."""

    name: str
    holds: Markup
    needed: bool
    said: Markup


@dataclass(frozen=True)
class Shape:
    """One component of the document: an object's fields, or what else it holds."""

    name: str
    said: Markup
    fields: list[Field]
    holds: Markup


def shapes(document: Schema) -> Iterator[Shape]:
    """All components, by name."""
    for name, schema in sorted(document["components"]["schemas"].items()):
        fields = fields_of(schema)
        yield Shape(name, said_of(schema), fields, Markup() if fields else holds(schema))


def fields_of(schema: Schema) -> list[Field]:
    """The fields of an object's schema."""
    needed = schema.get("required", ())
    return [
        Field(name, holds(field), name in needed, said_of(field))
        for name, field in schema.get("properties", {}).items()
    ]


def holds(schema: Schema) -> Markup:
    """What a schema takes, in a few words; a component is a link."""
    match schema:
        case {"$ref": str(reference)}:
            name = reference.rsplit("/", 1)[-1]
            return Markup('<a href="#{0}">{0}</a>').format(name)
        case {"anyOf": parts} | {"oneOf": parts}:
            return _either([holds(part) for part in parts])
        case {"allOf": [part]}:
            return holds(part)
        case {"enum": values}:
            return _either([_code(value) for value in values])
        case {"const": value}:
            return _code(value)
        case {"type": "array", "items": items}:
            return Markup("list of {}").format(holds(items))
        case {"type": "object", "additionalProperties": dict() as values}:
            return Markup("object, each field {}").format(holds(values))
        case {"format": str(form)} if form in FORMATS:
            return Markup(FORMATS[form])
        case {"type": str(kind)}:
            return Markup(SIMPLE[kind])
    return Markup("anything")


def said_of(schema: Schema) -> Markup:
    """Description, limits and default of a schema."""
    parts = [schema["description"].strip()] if "description" in schema else []
    bounds = [
        words.format(f"{part[name]:g}" if isinstance(part[name], float) else part[name])
        for part in (schema, *schema.get("anyOf", ()))
        for name, words in LIMITS.items()
        if name in part
    ]
    if bounds:
        listed = ", ".join(bounds)
        parts.append(f"{listed[0].upper()}{listed[1:]}.")
    if schema.get("default") is not None:
        parts.append(f"By default `{_plain(schema['default'])}`.")
    return in_line(" ".join(" ".join(parts).split()))


def _either(parts: list[Markup]) -> Markup:
    return Markup(" or ").join(parts)


def _code(value: object) -> Markup:
    return Markup("<code>{}</code>").format(_plain(value))


def _plain(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)
