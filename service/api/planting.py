"""A vineyard's planting as one file."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query

from service.api.deps import CsvFile, OnBadRowsQuery, VineyardKey, Writing, csv_upload
from service.api.responses import UPLOAD
from service.api.schemas import BadRow, PlantingReceipt, ReplacedRow
from service.ingest.grid import spacing_of
from service.usecases.plantings import read_planting_of, store_planting

router = APIRouter(prefix="/v1/vineyards/{vineyard}/planting", tags=["vineyards"])


Spacing = Annotated[float | None, Query(gt=0, le=1000, description="For a grid of vines, in m.")]


@router.post("", summary="Upload a planting", responses=UPLOAD, openapi_extra=csv_upload())
def post_planting(
    vineyard: VineyardKey,
    content: CsvFile,
    records: Writing,
    row_spacing_m: Spacing = None,
    vine_spacing_m: Spacing = None,
    on_bad_rows: OnBadRowsQuery = "reject",
) -> PlantingReceipt:
    """Take a CSV file of blocks with the columns `block,cultivar,flower_type,x_m,y_m`, in any order.

    `vines`, `neighbours` (split by `;`), `viable_pollen`, `berry_mass_g`, `species`, `receptive_days` and
    `pollen_days` may stand beside them.

    Or a grid with one line a vine: `row,vine,cultivar`, both counted from one corner, with `row_spacing_m` and
    `vine_spacing_m`. Vines of one cultivar in a line become blocks of at most half the reach. Its cultivars must be
    known, or a column `flower_type` says what they are.

    Identifiers are made of the names: "Wren Anvil" becomes `wren-anvil`. The file is the whole planting: a
    block that it lacks goes, and is named in `blocks_removed`; what was seen there is kept for the fits. Ask with
    `preview=true` first.
    """
    spacing = spacing_of(row_spacing_m, vine_spacing_m)
    read = read_planting_of(records, vineyard, content, spacing=spacing, on_bad_rows=on_bad_rows)
    stored = store_planting(records, vineyard, read)
    return PlantingReceipt(
        vineyard=vineyard,
        rows_read=read.rows_read,
        blocks_stored=stored.blocks.stored,
        blocks_replaced=stored.blocks.replaced,
        blocks_unchanged=stored.blocks.unchanged,
        blocks_removed=list(stored.removed_blocks),
        replaced=[ReplacedRow.of(each) for each in stored.blocks.changed],
        cultivars_stored=list(stored.new_cultivars),
        cultivars_replaced=list(stored.changed_cultivars),
        bad_rows=[BadRow(line=row.line, problem=row.problem) for row in read.bad_rows],
        warnings=[*read.warnings, *stored.changes],
    )
