"""How a generated body becomes lines of JSON, for the process that asks anything."""

from __future__ import annotations

import json

import schemathesis

from service.api.everything import JSON_LINES


@schemathesis.serializer(JSON_LINES)
def lines_of(ctx: schemathesis.SerializationContext, value: object) -> bytes:  # noqa: ARG001 — as it is called
    """One line for each value of a list; text as it is."""
    if isinstance(value, str):
        return value.encode()
    values = value if isinstance(value, list) else [value]
    return "".join(json.dumps(each) + "\n" for each in values).encode()
