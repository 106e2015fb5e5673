"""A grower's everything: taken out as one file, taken in, and deleted for good."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import Depends, HTTPException, Query, Request, Response
from pydantic import Field, TypeAdapter

from service.api.crop_counts import CropCountBody
from service.api.observation_schemas import VisitBody
from service.api.part import part
from service.api.planting_schemas import BlockBody, CultivarBody, FrostBody, VineyardBody
from service.api.responses import problems
from service.api.schemas import Body
from service.api.set_counts import SetCountBody
from service.api.station_schemas import StationBody
from service.store.everything import Rows
from service.store.images import Values
from service.usecases.documents import Slug
from service.usecases.everything import delete_everything, read_export, take_in, write_export
from service.web.access import Grower, needs
from service.web.records import Preview, Reading, changing
from service.web.turns import HEAVY
from service.web.uploads import media_type
from service.words.changes import what_changed

router = part("/v1", "everything", HEAVY)

JSON_LINES = "application/x-ndjson"
FILE = {"content": {JSON_LINES: {"schema": {"type": "string"}}}}
BODIES: Mapping[str, type[Body]] = {
    "stations": StationBody,
    "cultivars": CultivarBody,
    "vineyards": VineyardBody,
    "blocks": BlockBody,
    "visits": VisitBody,
    "set_counts": SetCountBody,
    "crop_counts": CropCountBody,
    "frosted_blocks": FrostBody,
}
SLUG = TypeAdapter(Slug)


class EverythingReceipt(Body):
    """How much was stored or deleted, or would be."""

    grower: str
    rows: dict[str, int] = Field(description="How many rows of what.")


@router.get("/export", summary="Export everything", responses={200: FILE}, response_class=Response)
@needs("manage")
def export_everything(records: Reading) -> Response:
    """All that the service keeps of the grower, as one file: what was entered, the changes and what they replaced,
    fits, hindcasts, and what calendars and letters have told. Not in it are keys, and jobs that have not ended.

    `POST /v1/import` takes the file in, here or elsewhere. The same data make the same file, byte for byte.
    """
    told = f'attachment; filename="{records.grower}.jsonl"'
    return Response(write_export(records), media_type=JSON_LINES, headers={"Content-Disposition": told})


async def exported(request: Request, grower: Grower) -> bytes:
    """The file, once it is known whose data it is to be."""
    if media_type(request) != JSON_LINES:
        raise HTTPException(
            415,
            f"send the export as {JSON_LINES} (curl: -H 'Content-Type: {JSON_LINES}' --data-binary @{grower}.jsonl)",
        )
    return await request.body()


@router.post(
    "/import",
    summary="Take in an export",
    status_code=201,
    responses=problems(404, 409, 415),
    openapi_extra={"requestBody": {"required": True, **FILE}},
)
def import_everything(
    request: Request,
    grower: Grower,
    content: Annotated[bytes, Depends(exported)],
    preview: Preview = False,
) -> EverythingReceipt:
    """Take in the file that `GET /v1/export` gave, all of it or nothing. Forecasts are then the same, byte for byte.

    The grower must have no data: else `errors` of the refusal (409) name what is in the way. It is no change that
    can be undone: `DELETE /v1/data` takes it back.
    """
    rows: Rows = read_export(content, check_row)
    with changing(request, grower, preview=preview) as records:
        return EverythingReceipt(grower=grower, rows=take_in(records, rows))


@router.delete("/data", summary="Delete everything for good", responses=problems(404, 409))
def delete_all_data(
    request: Request,
    grower: Grower,
    confirm: Annotated[str, Query(max_length=63, description="The grower's name: yes, all of it.")],
    preview: Preview = False,
) -> EverythingReceipt:
    """Delete all that the service keeps of the grower, for good: no change undoes it, and none is kept.

    Export it first (`GET /v1/export`). Keys stay. Refused (409) while a job has not ended.
    """
    with changing(request, grower, preview=preview) as records:
        return EverythingReceipt(grower=grower, rows=delete_everything(records, confirm))


def check_row(table: str, row: Values) -> None:
    """Hold a row of an export against the body by which the API would take it.

    Raises
    ------
    ValueError
        If it would be refused.
    """
    if "key" in row:
        SLUG.validate_python(row["key"])
    if table in BODIES:
        body = BODIES[table]
        told: dict[str, Any] = {name: row[name] for name in body.model_fields if row.get(name) is not None}
        body.model_validate(told)
    elif table == "changes":
        what_changed(row["code"], row["params"])
