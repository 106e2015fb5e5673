"""Vineyards."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import Request, Response

from models.vineyard.frost import FrostLimits
from service.api.change_schemas import WriteReceipt
from service.api.editing import IfMatch, Patch, check_unchanged, patch_of, patched, tagged
from service.api.listing import AS_CSV, PageAsked, csv_answer, paged
from service.api.part import part
from service.api.planting_schemas import VineyardAnswer, VineyardBody, VineyardList
from service.api.responses import created_or_replaced, problems, wants_csv
from service.store.records import Vineyard
from service.web.keys import VineyardKey
from service.web.records import Reading, Writing

router = part("/v1/vineyards", "vineyards")


def answer(vineyard: Vineyard) -> VineyardAnswer:
    """A vineyard as the client sees it."""
    fields = asdict(vineyard)
    return VineyardAnswer(vineyard=fields.pop("key"), **fields)


def from_body(key: str, body: VineyardBody) -> Vineyard:
    """The vineyard that a client tells."""
    weekdays, limits = body.scouting_weekdays, body.frost_limits
    fields = {
        **body.model_dump(),
        "scouting_weekdays": None if weekdays is None else tuple(weekdays),
        "frost_limits": None if limits is None else FrostLimits(**limits.model_dump()),
    }
    return Vineyard(key, **fields)


@router.get("", summary="List vineyards", response_model=VineyardList, responses=AS_CSV)
def list_vineyards(request: Request, records: Reading, page: PageAsked) -> VineyardList | Response:
    """All of the grower's vineyards, by identifier; as CSV with `Accept: text/csv`."""
    vineyards, next_page = paged(records.vineyards.all(), page, lambda vineyard: (vineyard.key,))
    answers = [answer(vineyard) for vineyard in vineyards]
    if wants_csv(request):
        columns = ["vineyard", *VineyardBody.model_fields]
        return csv_answer(request, columns, [each.model_dump() for each in answers], next_page)
    return VineyardList(vineyards=answers, next=next_page)


@router.put(
    "/{vineyard}",
    summary="Create or replace a vineyard",
    responses={201: {"model": VineyardAnswer}, **problems(412)},
)
def put_vineyard(
    key: VineyardKey, body: VineyardBody, response: Response, records: Writing, if_match: IfMatch = None
) -> VineyardAnswer:
    """Create a vineyard (201) or replace its name, station and reach (200). Blocks and observations stay.

    Without a station it can hold blocks, but nothing can be forecast or logged for it.
    """
    check_unchanged(if_match, lambda: answer(records.vineyards.get(key)))
    vineyard = from_body(key, body)
    created_or_replaced(response, new=records.vineyards.put(vineyard))
    return tagged(response, answer(vineyard))


@router.patch(
    "/{vineyard}",
    summary="Change fields of a vineyard",
    responses=problems(404, 412),
    openapi_extra=patch_of(VineyardBody),
)
def patch_vineyard(
    key: VineyardKey, patch: Patch, response: Response, records: Writing, if_match: IfMatch = None
) -> VineyardAnswer:
    """Change the fields that are named; the others stay."""
    current = answer(records.vineyards.get(key))
    check_unchanged(if_match, lambda: current)
    vineyard = from_body(key, patched(VineyardBody, current, patch))
    records.vineyards.put(vineyard)
    return tagged(response, answer(vineyard))


@router.get("/{vineyard}", summary="Show a vineyard", responses=problems(404))
def get_vineyard(key: VineyardKey, response: Response, records: Reading) -> VineyardAnswer:
    """Name, station and reach of a vineyard."""
    return tagged(response, answer(records.vineyards.get(key)))


@router.delete("/{vineyard}", summary="Delete a vineyard", responses=problems(404, 412))
def delete_vineyard(key: VineyardKey, records: Writing, if_match: IfMatch = None) -> WriteReceipt:
    """Delete a vineyard with its blocks and all that was observed there. Its station stays."""
    check_unchanged(if_match, lambda: answer(records.vineyards.get(key)))
    records.vineyards.delete(key)
    return WriteReceipt.of(records.journal)
