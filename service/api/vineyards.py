"""Vineyards."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter, Response

from service.api.responses import created_or_replaced, problems
from service.api.schemas import VineyardAnswer, VineyardBody, VineyardList
from service.store.records import Vineyard
from service.web.keys import VineyardKey
from service.web.records import Reading, Writing

router = APIRouter(prefix="/v1/vineyards", tags=["vineyards"])


def answer(vineyard: Vineyard) -> VineyardAnswer:
    """A vineyard as the client sees it."""
    fields = asdict(vineyard)
    return VineyardAnswer(vineyard=fields.pop("key"), **fields)


@router.get("", summary="List vineyards")
def list_vineyards(records: Reading) -> VineyardList:
    """All of the grower's vineyards, by identifier."""
    return VineyardList(vineyards=[answer(vineyard) for vineyard in records.vineyards.all()])


@router.put("/{vineyard}", summary="Create or replace a vineyard", responses={201: {"model": VineyardAnswer}})
def put_vineyard(
    key: VineyardKey, body: VineyardBody, response: Response, records: Writing
) -> VineyardAnswer:
    """Create a vineyard (201) or replace its name, station and reach (200). Blocks and observations stay.

    Without a station it can hold blocks, but nothing can be forecast or logged for it.
    """
    weekdays = body.scouting_weekdays
    fields = {**body.model_dump(), "scouting_weekdays": None if weekdays is None else tuple(weekdays)}
    vineyard = Vineyard(key, **fields)
    created_or_replaced(response, new=records.vineyards.put(vineyard))
    return answer(vineyard)


@router.get("/{vineyard}", summary="Show a vineyard", responses=problems(404))
def get_vineyard(key: VineyardKey, records: Reading) -> VineyardAnswer:
    """Name, station and reach of a vineyard."""
    return answer(records.vineyards.get(key))


@router.delete("/{vineyard}", summary="Delete a vineyard", status_code=204, responses=problems(404))
def delete_vineyard(key: VineyardKey, records: Writing) -> None:
    """Delete a vineyard with its blocks and all that was observed there."""
    records.vineyards.delete(key)
