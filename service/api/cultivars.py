"""Cultivars."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter, Response

from models.records import Cultivar
from service.api.responses import created_or_replaced, problems
from service.api.schemas import CultivarAnswer, CultivarBody, CultivarList
from service.ingest.planting import default_viable_pollen
from service.web.keys import CultivarKey
from service.web.records import Reading, Writing

router = APIRouter(prefix="/v1/cultivars", tags=["cultivars"])


def answer(cultivar: Cultivar) -> CultivarAnswer:
    """A cultivar as the client sees it."""
    fields = asdict(cultivar)
    return CultivarAnswer(cultivar=fields.pop("key"), **fields)


@router.get("", summary="List cultivars")
def list_cultivars(records: Reading) -> CultivarList:
    """All of the grower's cultivars, by identifier."""
    return CultivarList(cultivars=[answer(cultivar) for cultivar in records.cultivars.all()])


@router.put("/{cultivar}", summary="Create or replace a cultivar", responses={201: {"model": CultivarAnswer}})
def put_cultivar(
    key: CultivarKey, body: CultivarBody, response: Response, records: Writing
) -> CultivarAnswer:
    """Create a cultivar (201) or replace it (200).

    Left out, `viable_pollen` follows the flower type: false for pistillate, true for the others. It is a
    field of its own since the pollen of a perfect cultivar can fail.
    """
    fields = body.model_dump()
    if body.viable_pollen is None:
        fields["viable_pollen"] = default_viable_pollen(body.flower_type)
    cultivar = Cultivar(key, **fields)
    created_or_replaced(response, new=records.cultivars.put(cultivar))
    return answer(cultivar)


@router.get("/{cultivar}", summary="Show a cultivar", responses=problems(404))
def get_cultivar(key: CultivarKey, records: Reading) -> CultivarAnswer:
    """Flower type and pollen of a cultivar."""
    return answer(records.cultivars.get(key))


@router.delete("/{cultivar}", summary="Delete a cultivar", status_code=204, responses=problems(404, 409))
def delete_cultivar(key: CultivarKey, records: Writing) -> None:
    """Delete a cultivar; refused (409) while a block or an observation names it."""
    records.cultivars.delete(key)
