"""A vineyard's planting as one file."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends

from service.api.deps import CsvFile, OnBadRowsQuery, VineyardKey, Writing, csv_upload
from service.api.responses import UPLOAD, problems
from service.api.schemas import BadRow, PlantingReceipt
from service.ingest.planting import ReadPlanting, read_planting
from service.usecases.plantings import store_planting

router = APIRouter(prefix="/v1/vineyards/{vineyard}/planting", tags=["vineyards"])


def planting_file(content: CsvFile, on_bad_rows: OnBadRowsQuery = "reject") -> ReadPlanting:
    """The uploaded table, read before a transaction starts."""
    return read_planting(content, on_bad_rows=on_bad_rows)


@router.post(
    "", summary="Upload a planting", responses={**UPLOAD, **problems(409)}, openapi_extra=csv_upload()
)
def post_planting(
    vineyard: VineyardKey, read: Annotated[ReadPlanting, Depends(planting_file)], records: Writing
) -> PlantingReceipt:
    """Take a CSV file of blocks with the columns `block,cultivar,flower_type,x_m,y_m`, in any order.

    `vines`, `neighbours` (split by `;`), `viable_pollen`, `berry_mass_g` and `species` may stand beside them.
    Identifiers are made of the names: "Wren Anvil" becomes `wren-anvil`. The file is the whole planting: a
    block that it lacks goes, unless something was observed there (409).
    """
    stored = store_planting(records, vineyard, read)
    return PlantingReceipt(
        vineyard=vineyard,
        rows_read=read.rows_read,
        blocks_stored=stored.blocks.stored,
        blocks_replaced=stored.blocks.replaced,
        blocks_unchanged=stored.blocks.unchanged,
        cultivars_stored=list(stored.new_cultivars),
        cultivars_replaced=list(stored.changed_cultivars),
        bad_rows=[BadRow(line=row.line, problem=row.problem) for row in read.bad_rows],
        warnings=[*read.warnings, *stored.changes],
    )
