"""Cultivars."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import Request, Response

from models.records import Cultivar, PollenNote
from service.api.change_schemas import WriteReceipt
from service.api.editing import IfMatch, Patch, check_unchanged, patch_of, patched, tagged
from service.api.listing import AS_CSV, PageAsked, csv_answer, paged
from service.api.part import part
from service.api.planting_schemas import CultivarAnswer, CultivarBody, CultivarList
from service.api.responses import created_or_replaced, problems, wants_csv
from service.ingest.planting import default_viable_pollen
from service.web.keys import CultivarKey
from service.web.records import Reading, Writing

router = part("/v1/cultivars", "cultivars")


def answer(cultivar: Cultivar) -> CultivarAnswer:
    """A cultivar as the client sees it."""
    fields = asdict(cultivar)
    return CultivarAnswer(cultivar=fields.pop("key"), **fields)


def from_body(key: str, body: CultivarBody) -> Cultivar:
    """The cultivar that a client tells."""
    fields = body.model_dump()
    fields["pollen_notes"] = tuple(PollenNote(**note) for note in fields["pollen_notes"])
    if body.viable_pollen is None:
        fields["viable_pollen"] = default_viable_pollen(body.flower_type)
    return Cultivar(key, **fields)


@router.get("", summary="List cultivars", response_model=CultivarList, responses=AS_CSV)
def list_cultivars(request: Request, records: Reading, page: PageAsked) -> CultivarList | Response:
    """All of the grower's cultivars, by identifier; as CSV with `Accept: text/csv`."""
    cultivars, next_page = paged(records.cultivars.all(), page, lambda cultivar: (cultivar.key,))
    answers = [answer(cultivar) for cultivar in cultivars]
    if wants_csv(request):
        columns = ["cultivar", *CultivarBody.model_fields]
        return csv_answer(request, columns, [each.model_dump(mode="json") for each in answers], next_page)
    return CultivarList(cultivars=answers, next=next_page)


@router.put(
    "/{cultivar}",
    summary="Create or replace a cultivar",
    responses={201: {"model": CultivarAnswer}, **problems(412)},
)
def put_cultivar(
    key: CultivarKey, body: CultivarBody, response: Response, records: Writing, if_match: IfMatch = None
) -> CultivarAnswer:
    """Create a cultivar (201) or replace it (200).

    Left out, `viable_pollen` follows the flower type: false for pistillate, true for the others. It is a
    field of its own since the pollen of a perfect cultivar can fail.
    """
    check_unchanged(if_match, lambda: answer(records.cultivars.get(key)))
    cultivar = from_body(key, body)
    created_or_replaced(response, new=records.cultivars.put(cultivar))
    return tagged(response, answer(cultivar))


@router.patch(
    "/{cultivar}",
    summary="Change fields of a cultivar",
    responses=problems(404, 412),
    openapi_extra=patch_of(CultivarBody),
)
def patch_cultivar(
    key: CultivarKey, patch: Patch, response: Response, records: Writing, if_match: IfMatch = None
) -> CultivarAnswer:
    """Change the fields that are named; the others stay.

    With another `flower_type` the pollen follows it, unless it was told otherwise (a perfect cultivar whose pollen
    fails) or is named beside. `viable_pollen: null` follows the flower type again.
    """
    current = answer(records.cultivars.get(key))
    check_unchanged(if_match, lambda: current)
    followed = current.viable_pollen == default_viable_pollen(current.flower_type)
    cultivar = from_body(
        key, patched(CultivarBody, current, {"viable_pollen": None, **patch} if followed else patch)
    )
    records.cultivars.put(cultivar)
    return tagged(response, answer(cultivar))


@router.get("/{cultivar}", summary="Show a cultivar", responses=problems(404))
def get_cultivar(key: CultivarKey, response: Response, records: Reading) -> CultivarAnswer:
    """Flower type and pollen of a cultivar."""
    return tagged(response, answer(records.cultivars.get(key)))


@router.delete("/{cultivar}", summary="Delete a cultivar", responses=problems(404, 409, 412))
def delete_cultivar(key: CultivarKey, records: Writing, if_match: IfMatch = None) -> WriteReceipt:
    """Delete a cultivar; refused (409) while a block or an observation names it."""
    check_unchanged(if_match, lambda: answer(records.cultivars.get(key)))
    records.cultivars.delete(key)
    return WriteReceipt.of(records.journal)
