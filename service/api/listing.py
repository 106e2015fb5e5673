"""Lists, page by page, as JSON or as CSV."""

from __future__ import annotations

import base64
import csv
import io
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Annotated, Any, NamedTuple, TypeVar

from fastapi import Depends, Query, Request, Response

from models.errors import BadInput, Problem
from service.api.responses import Responses
from service.ingest.formulas import as_text
from service.web.uploads import CSV

Row = TypeVar("Row")
Order = tuple[str | int, ...]

MOST_ROWS = 1000
AS_CSV: Responses = {200: {"content": {CSV: {"schema": {"type": "string"}}}}}


class Page(NamedTuple):
    """Which rows of a list are asked for: at most ``limit``, after the one that ``after`` stands for."""

    limit: int | None
    after: Order | None


def page_asked(
    limit: Annotated[
        int | None, Query(ge=1, le=MOST_ROWS, description="The most rows to answer; by default all.")
    ] = None,
    cursor: Annotated[
        str | None, Query(max_length=1000, description="The `next` of the page before.")
    ] = None,
) -> Page:
    """The page that the query names. Raises BadInput (the cursor)."""
    if cursor is None:
        return Page(limit, None)
    try:
        told = json.loads(base64.urlsafe_b64decode(cursor.encode("ascii")))
    except ValueError:
        told = None
    if not isinstance(told, list) or not all(isinstance(part, str | int) for part in told):
        raise BadInput("the cursor cannot be read", [Problem("query.cursor", "give the `next` of a page")])
    return Page(limit, tuple(told))


PageAsked = Annotated[Page, Depends(page_asked)]


def cursor_after(order: Order) -> str:
    """The cursor of the rows after one."""
    return base64.urlsafe_b64encode(json.dumps(order, separators=(",", ":")).encode()).decode("ascii")


def paged(
    rows: Sequence[Row], page: Page, order: Callable[[Row], Order], *, newest_first: bool = False
) -> tuple[list[Row], str | None]:
    """The rows of a page, and the cursor of the next one. ``order`` is what the rows are sorted by.

    Raises BadInput (a cursor of another list).
    """
    left = list(rows)
    if page.after is not None:
        after = page.after
        try:
            left = [row for row in rows if (order(row) < after if newest_first else order(row) > after)]
        except TypeError:
            problem = Problem("query.cursor", "it belongs to another list")
            raise BadInput("the cursor cannot be read", [problem]) from None
    if page.limit is None or len(left) <= page.limit:
        return left, None
    return left[: page.limit], cursor_after(order(left[page.limit - 1]))


def csv_answer(
    request: Request, columns: Sequence[str], rows: Iterable[Mapping[str, Any]], next_page: str | None = None
) -> Response:
    """Rows as CSV; where there is a next page, `Link` tells its address (RFC 8288)."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([_cell(row.get(column)) for column in columns] for row in rows)
    headers = {"Vary": "Accept"}
    if next_page is not None:
        headers["Link"] = f'<{request.url.include_query_params(cursor=next_page)}>; rel="next"'
    return Response(text.getvalue(), media_type=CSV, headers=headers)


def _cell(value: Any) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case [dict(), *_]:
            return as_text(json.dumps(value))
        case list() | tuple():
            return as_text(";".join(map(str, value)))
        case dict():
            return as_text(json.dumps(value))
        case float():
            return repr(value)
        case str():
            return as_text(value)
    return str(value)
