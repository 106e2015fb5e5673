"""What routes ask for: the grower's records in one transaction, identifiers, and uploaded files."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Any

from fastapi import Depends, HTTPException, Path, Query, Request, Response
from starlette.datastructures import UploadFile

from models.errors import BadInput, Problem
from service.access import Grower
from service.api.schemas import SLUG, Units
from service.ingest.report import OnBadRows
from service.jobs import JobRunner
from service.store.engine import Store
from service.store.repositories import Repositories

CSV = "text/csv"
JSON = "application/json"
MULTIPART = "multipart/form-data"


def store(request: Request) -> Store:
    """The store of the app that serves this request."""
    kept = request.app.state.store
    assert isinstance(kept, Store)
    return kept


def jobs(request: Request) -> JobRunner:
    """What runs the long work of the app that serves this request."""
    runner = request.app.state.jobs
    assert isinstance(runner, JobRunner)
    return runner


Preview = Annotated[
    bool, Query(description="Answer as if it were done: the same receipt, and nothing is stored.")
]


def reading(request: Request, grower: Grower) -> Iterator[Repositories]:
    """The grower's records, to read."""
    with store(request).transaction(grower, read_only=True) as records:
        yield records


@contextmanager
def changing(request: Request, grower: str, *, preview: bool) -> Iterator[Repositories]:
    """A transaction of a request, whose answer names the change; a preview makes none."""
    with store(request).transaction(grower, preview=preview) as records:
        yield records
    if not preview:
        request.state.change = records.journal.number


def writing(request: Request, grower: Grower, preview: Preview = False) -> Iterator[Repositories]:
    """The grower's records, to change: all of it at the end of the route, or nothing after an error."""
    with changing(request, grower, preview=preview) as records:
        yield records


# With "function" the transaction ends before the answer leaves: what a client was told is stored, is stored.
Reading = Annotated[Repositories, Depends(reading, scope="function")]
Writing = Annotated[Repositories, Depends(writing, scope="function")]

StationKey = Annotated[
    str, Path(alias="station", pattern=SLUG, description="The station's identifier, a slug.")
]
CultivarKey = Annotated[
    str, Path(alias="cultivar", pattern=SLUG, description="The cultivar's identifier, a slug.")
]
VineyardKey = Annotated[
    str, Path(alias="vineyard", pattern=SLUG, description="The vineyard's identifier, a slug.")
]
BlockKey = Annotated[str, Path(alias="block", pattern=SLUG, description="The block's identifier, a slug.")]

UnitsQuery = Annotated[
    Units, Query(alias="units", description="`us` speaks °F, °F·day and ft, in the query as in the answer.")
]
DateFormat = Annotated[
    str | None,
    Query(
        max_length=40, description="How dates are written, as in `%d/%m/%Y`; needed unless they are ISO 8601."
    ),
]

OnBadRowsQuery = Annotated[
    OnBadRows,
    Query(description="`skip` takes the rows that can be read and lists the others; else all or nothing."),
]


def media_type(request: Request) -> str:
    """The media type of the request's body, without parameters."""
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


async def csv_file(request: Request) -> bytes:
    """An uploaded CSV file: the body itself, or the field ``file`` of a form.

    Raises
    ------
    HTTPException
        415 if the body is of another media type.
    BadInput
        If the form holds no file.
    """
    sent = media_type(request)
    if sent == CSV:
        return await request.body()
    if sent == MULTIPART:
        async with request.form(max_files=1, max_fields=1) as form:
            part = form.get("file")
            if not isinstance(part, UploadFile):
                raise BadInput(
                    "the form holds no file", [Problem("body.file", "send the CSV file in this field")]
                )
            return await part.read()
    raise HTTPException(
        415,
        f"send the file as {CSV} (curl: -H 'Content-Type: {CSV}' --data-binary @file.csv) "
        "or as the field 'file' of a form (curl: -F file=@file.csv)",
    )


CsvFile = Annotated[bytes, Depends(csv_file)]


def csv_upload(*, json_schema: dict[str, Any] | None = None) -> dict[str, Any]:
    """The OpenAPI description of a body that `csv_file` reads, beside JSON where a schema is given."""
    file = {"type": "string", "format": "binary"}
    form = {
        "type": "object",
        "properties": {"file": file},
        "required": ["file"],
        "additionalProperties": False,
    }
    content = {CSV: {"schema": {"type": "string"}}, MULTIPART: {"schema": form}}
    if json_schema is not None:
        content[JSON] = {"schema": json_schema}
    return {"requestBody": {"required": True, "content": content}}


def created_or_replaced(response: Response, *, new: bool) -> None:
    """Answer 201 for a new thing, else 200."""
    response.status_code = 201 if new else 200


def wants_csv(request: Request) -> bool:
    """Whether the client prefers CSV to JSON."""
    accepted = request.headers.get("accept", "")
    return CSV in accepted and JSON not in accepted


def today() -> dt.date:
    """The day on this machine's calendar: the one place where an answer looks at the clock."""
    return dt.datetime.now(dt.UTC).astimezone().date()
