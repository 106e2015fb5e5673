"""Blocks whose shoots froze."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

from fastapi import Path, Request, Response

from models.records import FrostedBlock
from service.api.change_schemas import WriteReceipt
from service.api.listing import AS_CSV, PageAsked, csv_answer, paged
from service.api.part import part
from service.api.planting_schemas import FrostBody, FrostMark, FrostMarks
from service.api.responses import created_or_replaced, problems, wants_csv
from service.ingest.dates import FIRST_YEAR, LAST_YEAR
from service.usecases.frost import mark_frosted
from service.web.access import needs
from service.web.keys import BlockKey, VineyardKey
from service.web.records import Reading, Writing

router = part("/v1/vineyards/{vineyard}", "observations")

Season = Annotated[int, Path(ge=FIRST_YEAR, le=LAST_YEAR, description="The season's label, a year.")]


@router.get(
    "/frost",
    summary="List frosted blocks",
    response_model=FrostMarks,
    responses={**AS_CSV, **problems(404)},
)
def list_frosted(
    request: Request, vineyard: VineyardKey, records: Reading, page: PageAsked
) -> FrostMarks | Response:
    """All blocks that were marked as frosted, with their seasons; as CSV with `Accept: text/csv`."""
    found, next_page = paged(records.frosted.all(vineyard), page, lambda each: (each.season, each.block))
    marks = [FrostMark(**asdict(each)) for each in found]
    if wants_csv(request):
        rows = [each.model_dump() for each in marks]
        return csv_answer(request, list(FrostMark.model_fields), rows, next_page)
    return FrostMarks(vineyard=vineyard, frosted=marks, next=next_page)


@router.put(
    "/blocks/{block}/frost/{season}",
    summary="Mark a block as frosted",
    responses={201: {"model": FrostMark}, **problems(404)},
)
@needs("record")
def mark_block_frosted(
    vineyard: VineyardKey,
    key: BlockKey,
    season: Season,
    response: Response,
    records: Writing,
    body: FrostBody | None = None,
) -> FrostMark:
    """Mark a block whose shoots froze in a season (201; 200 if it was marked).

    What is seen there in that season leaves the fits that are made from now on, and the learning of that season's
    forecast. The block's own windows become later and longer, and say why they are wide: of the shoots that are left
    bloom comes as usual, of secondary buds later. As a source the block is counted on in the share of the cases that
    `share_killed` leaves; without it, in none.
    """
    told = FrostBody() if body is None else body
    frosted = FrostedBlock(key, season, told.night, told.share_killed)
    created_or_replaced(response, new=mark_frosted(records, vineyard, frosted))
    return FrostMark(**asdict(frosted))


@router.delete(
    "/blocks/{block}/frost/{season}",
    summary="Take a frost mark away",
    responses=problems(404),
)
@needs("record")
def unmark_block_frosted(
    vineyard: VineyardKey, key: BlockKey, season: Season, records: Writing
) -> WriteReceipt:
    """Take the mark away: the block counts again as any other."""
    records.frosted.delete(vineyard, key, season)
    return WriteReceipt.of(records.journal)
