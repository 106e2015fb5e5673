"""A vineyard's planting as one file."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Query, Request

from service.api.part import part
from service.api.planting_schemas import PlantingReceipt
from service.api.responses import UPLOAD, problems
from service.api.schemas import ReplacedRow
from service.ingest.any_planting import spacing_of
from service.ingest.planting import ReadPlanting
from service.usecases.plantings import read_planting_of, store_planting
from service.web.access import Grower
from service.web.keys import VineyardKey
from service.web.records import Writing, store
from service.web.uploads import CsvFile, OnBadRowsQuery, csv_upload

router = part("/v1/vineyards/{vineyard}/planting", "vineyards")


Spacing = Annotated[
    float | None, Query(ge=0.01, le=1000, description="Where rows and vines are counted, in m.")
]


def planting_file(
    request: Request,
    grower: Grower,
    vineyard: VineyardKey,
    content: CsvFile,
    row_spacing_m: Spacing = None,
    vine_spacing_m: Spacing = None,
    on_bad_rows: OnBadRowsQuery = "reject",
) -> ReadPlanting:
    """The uploaded planting, read before a transaction that writes: a long file must not keep others waiting."""
    spacing = spacing_of(row_spacing_m, vine_spacing_m)
    with store(request).transaction(grower, read_only=True) as records:
        return read_planting_of(records, vineyard, content, spacing=spacing, on_bad_rows=on_bad_rows)


@router.post(
    "", summary="Upload a planting", responses={**UPLOAD, **problems(409)}, openapi_extra=csv_upload()
)
def upload_planting(
    vineyard: VineyardKey, read: Annotated[ReadPlanting, Depends(planting_file)], records: Writing
) -> PlantingReceipt:
    """Take a CSV file of blocks with the columns `block,cultivar,flower_type,x_m,y_m`, in any order.

    `vines`, `neighbours` (split by `;`), `viable_pollen`, `berry_mass_g`, `species`, `receptive_days`, `pollen_days`,
    `blooms_like` and `days_later` may stand beside them.

    A block whose vines stand in a line has the place of the first one in `x1_m,y1_m`, that of the last in
    `x2_m,y2_m`, and how many they are in `vines`: distance then runs from vine to nearest vine.

    Or rows, `row,first_vine,last_vine,cultivar[,block]`, or a grid with one line a vine, `row,vine,cultivar`, all
    counted from one corner, with `row_spacing_m` and `vine_spacing_m`. A stretch of a row becomes a block, as do
    neighbouring vines of one cultivar in a row of a grid. The cultivars must be known, or a column `flower_type`
    says what they are.

    Identifiers are made of the names: "Wren Anvil" becomes `wren-anvil`. The file is the whole planting: a
    block that it lacks goes, and is named in `blocks_removed`; what was seen there is kept for the fits. Ask with
    `preview=true` first.
    """
    stored = store_planting(records, vineyard, read)
    return PlantingReceipt.showing(
        read,
        vineyard=vineyard,
        **{f"blocks_{name}": count for name, count in stored.blocks.numbers().items()},
        blocks_removed=stored.removed_blocks,
        replaced=[ReplacedRow.of(each) for each in stored.blocks.changed],
        cultivars_stored=stored.new_cultivars,
        cultivars_replaced=stored.changed_cultivars,
        warnings=[*read.warnings, *stored.changes],
    )
