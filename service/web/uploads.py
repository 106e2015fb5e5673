"""Uploaded files."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from typing import Annotated, Any, TypeVar

from fastapi import Depends, HTTPException, Query, Request
from fastapi.exceptions import RequestValidationError
from pydantic import Field, TypeAdapter, ValidationError
from starlette.datastructures import UploadFile

from models.errors import BadInput, Problem
from service import clock
from service.ingest.options import Confirm, OnBadRows, ReadOptions

CSV = "text/csv"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
JSON = "application/json"
MULTIPART = "multipart/form-data"


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


ConfirmQuery = Annotated[
    Sequence[Confirm],
    Query(
        description="What a refusal doubted and is right all the same: `units` (and values that are far off the "
        "station's record), `dates`, `latitude`. May be given several times."
    ),
]

Row = TypeVar("Row")
MOST_ROWS = 20_000  # of one JSON list
AtMostRows = Field(max_length=MOST_ROWS)


def read_options(
    date_format: DateFormat = None, on_bad_rows: OnBadRowsQuery = "reject", confirm: ConfirmQuery = ()
) -> ReadOptions:
    """How the sender wants a file to be read; what is dated later than today cannot have been seen."""
    return ReadOptions(
        date_format=date_format, on_bad_rows=on_bad_rows, confirm=confirm, sent_on=clock.today()
    )


Options = Annotated[ReadOptions, Depends(read_options)]


def media_type(request: Request) -> str:
    """The media type of the request's body, without parameters."""
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


def rows_sent(rows: TypeAdapter[list[Row]]) -> Callable[[Request], Awaitable[bytes | list[Row]]]:
    """A dependency: the CSV file or workbook of a request, as `csv_file` takes it, or its JSON list of rows.

    Raises RequestValidationError where the list does not fit.
    """

    async def sent(request: Request) -> bytes | list[Row]:
        if media_type(request) != JSON:
            return await csv_file(request)
        try:
            return rows.validate_json(await request.body())
        except ValidationError as error:
            found = error.errors(include_url=False, include_input=False, include_context=False)
            raise RequestValidationError(
                [{**each, "loc": ("body", *each["loc"])} for each in found]
            ) from None

    return sent


async def csv_file(request: Request) -> bytes:
    """An uploaded CSV file or workbook: the body itself, or the field ``file`` of a form.

    Raises
    ------
    HTTPException
        415 if the body is of another media type.
    BadInput
        If the form holds no file.
    """
    sent = media_type(request)
    if sent in (CSV, XLSX):
        return await request.body()
    if sent == MULTIPART:
        async with request.form(max_files=1, max_fields=1) as form:
            part = form.get("file")
            if not isinstance(part, UploadFile):
                raise BadInput(
                    "the form holds no file",
                    [Problem("body.file", "send the CSV file or workbook in this field")],
                )
            return await part.read()
    raise HTTPException(
        415,
        f"send the file as {CSV} (curl: -H 'Content-Type: {CSV}' --data-binary @file.csv), an .xlsx workbook as "
        f"{XLSX}, or either as the field 'file' of a form (curl: -F file=@file.csv)",
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
    content = {CSV: {"schema": {"type": "string"}}, XLSX: {"schema": file}, MULTIPART: {"schema": form}}
    if json_schema is not None:
        content[JSON] = {"schema": json_schema}
    return {"requestBody": {"required": True, "content": content}}
