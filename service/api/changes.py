"""What was changed in the grower's data, and how it is taken back."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from fastapi import Path, Query, Request, Response
from pydantic import AwareDatetime

from models.errors import BadInput, Problem
from service.api.change_schemas import ChangeAnswer, ChangeList, WriteReceipt
from service.api.listing import AS_CSV, PageAsked, csv_answer, cursor_after
from service.api.part import part
from service.api.responses import problems, wants_csv
from service.usecases.documents import Slug
from service.web.access import Asked, needs
from service.web.days import WrittenOut
from service.web.records import Reading, Writing
from service.web.undoing import check_may_undo

router = part("/v1/changes", "changes")

DEFAULT_LIMIT = 100

Number = Annotated[
    int, Path(alias="change", ge=1, le=2**31 - 1, description="The change, as `Capfall-Change` names it.")
]


@router.get("", summary="List changes", response_model=ChangeList, responses=AS_CSV)
def list_changes(
    request: Request,
    records: Reading,
    page: PageAsked,
    vineyard: Annotated[Slug | None, Query(description="Only what was changed in this vineyard.")] = None,
    station: Annotated[Slug | None, Query(description="Only what was changed at this station.")] = None,
    since: Annotated[
        AwareDatetime | dt.date | None,
        WrittenOut,
        Query(description="Only changes from this moment or day on (UTC)."),
    ] = None,
) -> ChangeList | Response:
    """Every request that wrote something, newest first: when, who, what in words, and how many rows.

    `undone` ones hold no more. By default the newest 100. As CSV with `Accept: text/csv`.
    """
    owners = {kind: key for kind, key in (("vineyard", vineyard), ("station", station)) if key is not None}
    limit = page.limit or DEFAULT_LIMIT
    found = records.changes.all(
        owners=owners, since=_moment(since), before=_number_of(page.after), limit=limit + 1
    )
    changes = [ChangeAnswer.of(change) for change in found[:limit]]
    next_page = cursor_after((changes[-1].change,)) if len(found) > limit else None
    if wants_csv(request):
        rows = [change.model_dump(mode="json") for change in changes]
        return csv_answer(request, list(ChangeAnswer.model_fields), rows, next_page)
    return ChangeList(changes=changes, next=next_page)


@router.post("/{change}/undo", summary="Undo a change", responses=problems(404, 409))
@needs("record")
def undo_change(change: Number, records: Writing, who: Asked) -> WriteReceipt:
    """Put back what the change wrote. That is a change of its own, so it can be undone again: what
    `Capfall-Change` names then brings back what was undone.

    Refused (409) if it is undone already, or while a later change that holds wrote the same rows or needs
    them: `errors` name those. Undo them first. Not undone are jobs and what a calendar has been told.
    A key of role `record` undoes what it has recorded itself.
    """
    check_may_undo(who, records.changes.get(change))
    records.changes.undo(change)
    return WriteReceipt.of(records.journal)


def _moment(since: dt.datetime | dt.date | None) -> dt.datetime | None:
    if since is None or isinstance(since, dt.datetime):
        return since
    return dt.datetime.combine(since, dt.time(), dt.UTC)


def _number_of(after: tuple[str | int, ...] | None) -> int | None:
    if after is None:
        return None
    match after:
        case (int(number),) if 0 < number < 2**31:
            return number
    raise BadInput("the cursor cannot be read", [Problem("query.cursor", "it belongs to another list")])
