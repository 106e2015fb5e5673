"""Looks at single blocks."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

from fastapi import Depends, Path, Query, Request, Response
from pydantic import TypeAdapter

from models.records import Visit
from service import clock
from service.api.change_schemas import WriteReceipt
from service.api.editing import IfMatch, Patch, check_unchanged, patch_of, patched, tagged
from service.api.listing import AS_CSV, PageAsked, csv_answer, paged
from service.api.observation_schemas import (
    ObservationReceipt,
    VisitAnswer,
    VisitBody,
    VisitHistory,
    VisitsAnswer,
    VisitVersionAnswer,
)
from service.api.part import part
from service.api.responses import UPLOAD, problems, wants_csv
from service.ingest.options import ReadOptions
from service.ingest.visits import ReadVisits
from service.usecases.documents import Slug
from service.usecases.observations import (
    Ground,
    change_visit,
    ground_of,
    read_visits_on,
    store_visits,
    store_visits_file,
)
from service.web.access import Grower, needs
from service.web.days import IsoDate
from service.web.keys import VineyardKey
from service.web.records import Reading, Writing, store
from service.web.uploads import (
    AtMostRows,
    ConfirmQuery,
    Options,
    csv_upload,
    rows_sent,
)

router = part("/v1/vineyards/{vineyard}/visits", "observations")

VisitId = Annotated[str, Path(alias="visit", max_length=63, description="The visit's identifier.")]
visits_sent = rows_sent(TypeAdapter(Annotated[list[VisitBody], AtMostRows]))


def visits_ahead(
    request: Request,
    grower: Grower,
    vineyard: VineyardKey,
    sent: Annotated[bytes | list[VisitBody], Depends(visits_sent)],
    options: Options,
) -> tuple[Ground, ReadVisits] | None:
    """A file, read before a transaction starts: a long one must not keep others waiting."""
    if not isinstance(sent, bytes):
        return None
    with store(request).transaction(grower, read_only=True) as records:
        ground = ground_of(records, vineyard)
    return ground, read_visits_on(ground, sent, options)


@router.post(
    "",
    summary="Record visits",
    responses=UPLOAD,
    openapi_extra=csv_upload(json_schema={"type": "array", "items": VisitBody.model_json_schema()}),
)
@needs("record")
def record_visits(
    vineyard: VineyardKey,
    sent: Annotated[bytes | list[VisitBody], Depends(visits_sent)],
    ahead: Annotated[tuple[Ground, ReadVisits] | None, Depends(visits_ahead)],
    records: Writing,
    options: Options,
) -> ObservationReceipt:
    """Take visits as a JSON list or a CSV file with the columns `date`, `block` (or `cultivar`) and
    `percent_open` or `bbch`; `observer` and `note` may stand beside them.

    A visit of the same day, block and observer takes the old one's place. "Not yet open" is worth recording
    too: that nobody looked says nothing.
    """
    if isinstance(sent, bytes):
        stored = store_visits_file(records, vineyard, sent, options=options, ahead=ahead)
    else:
        visits = [Visit(**{**body.model_dump(), "cultivar": body.cultivar or ""}) for body in sent]
        stored = store_visits(records, vineyard, visits, options=options)
    return ObservationReceipt.of(vineyard, stored)


@router.get("", summary="Show visits", response_model=VisitsAnswer, responses={**AS_CSV, **problems(404)})
def get_visits(
    request: Request,
    vineyard: VineyardKey,
    records: Reading,
    page: PageAsked,
    first: Annotated[IsoDate | None, Query(alias="from", description="First day.")] = None,
    last: Annotated[IsoDate | None, Query(alias="to", description="Last day.")] = None,
    block: Annotated[Slug | None, Query(description="Only this block.")] = None,
) -> VisitsAnswer | Response:
    """All visits that hold, by date; as CSV, which can be uploaded again, with `Accept: text/csv`."""
    found = [
        kept
        for kept in records.visits.kept(vineyard)
        if (first is None or first <= kept.visit.date)
        and (last is None or kept.visit.date <= last)
        and block in (None, kept.visit.block)
    ]
    visits, next_page = paged(found, page, lambda kept: kept.order)
    answers = [answer(kept.id, kept.visit) for kept in visits]
    if wants_csv(request):
        columns = [name for name in VisitAnswer.model_fields if name != "visit"]
        rows = [each.model_dump(mode="json") for each in answers]
        return csv_answer(request, [*columns, "visit"], rows, next_page)
    return VisitsAnswer(vineyard=vineyard, visits=answers, next=next_page)


@router.get("/{visit}", summary="Show a visit", responses=problems(404))
def get_visit(vineyard: VineyardKey, id: VisitId, response: Response, records: Reading) -> VisitAnswer:
    """One look at one block."""
    return tagged(response, answer(id, records.visits.get(vineyard, id)))


@router.patch(
    "/{visit}",
    summary="Change fields of a visit",
    responses=problems(404, 409, 412),
    openapi_extra=patch_of(VisitBody),
)
@needs("record")
def patch_visit(
    vineyard: VineyardKey,
    id: VisitId,
    patch: Patch,
    response: Response,
    records: Writing,
    confirm: ConfirmQuery = (),
    if_match: IfMatch = None,
) -> VisitAnswer:
    """Change the fields that are named; the others stay, and so does the visit's identifier.

    A new `block` brings its own cultivar, unless one is named. Refused (409) if another visit of that day, block
    and observer is there.
    """
    current = answer(id, records.visits.get(vineyard, id))
    check_unchanged(if_match, lambda: current)
    if "block" in patch and "cultivar" not in patch:
        patch = {**patch, "cultivar": None}
    body = patched(VisitBody, current, patch)
    changed = Visit(**{**body.model_dump(), "cultivar": body.cultivar or ""})
    options = ReadOptions(confirm=confirm, sent_on=clock.today())
    visit = change_visit(records, vineyard, id, changed, options=options)
    return tagged(response, answer(id, visit))


@router.delete("/{visit}", summary="Delete a visit", responses=problems(404, 412))
@needs("record")
def delete_visit(
    vineyard: VineyardKey, id: VisitId, records: Writing, if_match: IfMatch = None
) -> WriteReceipt:
    """Delete one look, as if nobody had been there."""
    check_unchanged(if_match, lambda: answer(id, records.visits.get(vineyard, id)))
    records.visits.delete(vineyard, id)
    return WriteReceipt.of(records.journal)


@router.get("/{visit}/history", summary="Show what a visit was", responses=problems(404))
def get_visit_history(vineyard: VineyardKey, id: VisitId, records: Reading) -> VisitHistory:
    """Every form that a visit has had, oldest first, with when and by whom it was replaced or deleted."""
    versions = [
        VisitVersionAnswer(
            **asdict(version.visit),
            stored_at=version.stored_at,
            superseded_at=version.superseded_at,
            superseded_by=version.superseded_by,
        )
        for version in records.visits.history(vineyard, id)
    ]
    return VisitHistory(vineyard=vineyard, visit=id, versions=versions)


def answer(id: str, visit: Visit) -> VisitAnswer:
    """A visit as the client sees it."""
    return VisitAnswer(visit=id, **asdict(visit))
