"""What uploads take of a vineyard, as one workbook."""

from __future__ import annotations

from fastapi import Response

from service.api.part import part
from service.api.responses import Responses, problems
from service.usecases.workbooks import vineyard_workbook
from service.web.keys import VineyardKey
from service.web.records import Reading
from service.web.turns import HEAVY
from service.web.uploads import XLSX

router = part("/v1/vineyards/{vineyard}", "vineyards", HEAVY)

WORKBOOK: Responses = {
    200: {
        "description": "The workbook",
        "content": {XLSX: {"schema": {"type": "string", "format": "binary"}}},
    }
}


@router.get(
    "/workbook", summary="Download a workbook", response_class=Response, responses=WORKBOOK | problems(404)
)
def get_workbook(vineyard: VineyardKey, records: Reading) -> Response:
    """Planting, bloom log, visits and the station's measured temperatures as an .xlsx workbook, a sheet a table, to
    the last digit. Each sheet can be uploaded again, all of them at once on the page that takes data: where nothing was
    changed in it, nothing changes.
    """
    told = f'attachment; filename="{vineyard}.xlsx"'
    content = vineyard_workbook(records, vineyard)
    return Response(content, media_type=XLSX, headers={"Content-Disposition": told})
