"""Clusters counted on canes, and the crop that they tell of."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict
from typing import Annotated

from fastapi import Depends, Path, Query, Request, Response
from pydantic import Field, TypeAdapter

from models.records import CropCount
from models.vineyard.crop import TRIALS
from service.api.change_schemas import WriteReceipt
from service.api.listing import AS_CSV, PageAsked, csv_answer, paged
from service.api.observation_schemas import ObservationReceipt
from service.api.part import part
from service.api.responses import UPLOAD, problems, wants_csv
from service.api.schemas import Body, TwoDigits
from service.ingest.counts import LONGEST_TAG
from service.ingest.crop_counts import MOST_CLUSTERS
from service.usecases.crop import store_crop_counts, store_crop_counts_file, vineyard_crop
from service.usecases.documents import Slug
from service.web.access import needs
from service.web.days import IsoDate
from service.web.keys import VineyardKey
from service.web.records import Reading, Writing
from service.web.uploads import AtMostRows, Options, csv_upload, rows_sent
from service.words.crop import trial_words, whom_to_ask

router = part("/v1/vineyards/{vineyard}", "observations")

CountId = Annotated[str, Path(alias="count", max_length=63, description="The count's identifier.")]


class CropCountBody(Body):
    """Clusters counted on one cane."""

    date: IsoDate
    block: Slug
    cane: Annotated[str, Field(min_length=1, max_length=LONGEST_TAG, pattern=r"^[^\x00]+$")]
    clusters: Annotated[int, Field(ge=0, le=MOST_CLUSTERS)]


class CropCountAnswer(CropCountBody):
    """A count with its identifier."""

    count: str


class CropCountsAnswer(Body):
    """All counts of a vineyard."""

    vineyard: str
    crop_counts: list[CropCountAnswer]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")


class BlockCropAnswer(Body):
    """Clusters a cane of one block and season: their mean with its interval (null with one cane), and single canes."""

    season: int
    block: str
    date: dt.date = Field(description="Of the last count.")
    canes: int
    mean: TwoDigits
    low: TwoDigits | None
    high: TwoDigits | None
    least: int
    most: int


class CropAnswer(Body):
    """What was counted; no rule says how much is too much."""

    vineyard: str
    interval: float
    blocks: list[BlockCropAnswer]
    to_try: list[str] = Field(description="What sources name, with how that is known.")
    ask: str


counts_sent = rows_sent(TypeAdapter(Annotated[list[CropCountBody], AtMostRows]))


@router.post(
    "/crop-counts",
    summary="Record crop counts",
    responses=UPLOAD,
    openapi_extra=csv_upload(json_schema={"type": "array", "items": CropCountBody.model_json_schema()}),
)
@needs("record")
def record_crop_counts(
    vineyard: VineyardKey,
    sent: Annotated[bytes | list[CropCountBody], Depends(counts_sent)],
    records: Writing,
    options: Options,
) -> ObservationReceipt:
    """Take counts as a JSON list or a CSV file with the columns `date`, `block`, `cane` and `clusters`.

    A cane is a shoot of this year, told apart by a tag or a number. A count of the same day, block and cane takes the
    old one's place.
    """
    if isinstance(sent, bytes):
        stored = store_crop_counts_file(records, vineyard, sent, options=options)
    else:
        counts = [CropCount(**body.model_dump()) for body in sent]
        stored = store_crop_counts(records, vineyard, counts, options=options)
    return ObservationReceipt.of(vineyard, stored)


@router.get(
    "/crop-counts",
    summary="Show crop counts",
    response_model=CropCountsAnswer,
    responses={**AS_CSV, **problems(404)},
)
def get_crop_counts(
    request: Request, vineyard: VineyardKey, records: Reading, page: PageAsked
) -> CropCountsAnswer | Response:
    """All counts, by date; as CSV, which can be uploaded again, with `Accept: text/csv`."""
    found, next_page = paged(records.crop_counts.all(vineyard), page, lambda kept: kept.order)
    answers = [CropCountAnswer(count=kept.id, **asdict(kept.count)) for kept in found]
    if wants_csv(request):
        columns = [*CropCountBody.model_fields, "count"]
        return csv_answer(request, columns, [each.model_dump(mode="json") for each in answers], next_page)
    return CropCountsAnswer(vineyard=vineyard, crop_counts=answers, next=next_page)


@router.delete("/crop-counts/{count}", summary="Delete a crop count", responses=problems(404))
@needs("record")
def delete_crop_count(vineyard: VineyardKey, id: CountId, records: Writing) -> WriteReceipt:
    """Delete one count, as if nobody had counted."""
    records.crop_counts.delete(vineyard, id)
    return WriteReceipt.of(records.journal)


@router.get(
    "/crop", summary="Show the crop", response_model=CropAnswer, responses={**AS_CSV, **problems(404)}
)
def get_crop(
    request: Request,
    vineyard: VineyardKey,
    records: Reading,
    interval: Annotated[float, Query(gt=0, lt=1)] = 0.9,
) -> CropAnswer | Response:
    """Clusters a cane by block and season, what sources name to try, and whom to ask: no rule of ours. Rows as CSV with
    `Accept: text/csv`.
    """
    blocks = [
        BlockCropAnswer.model_validate(each) for each in vineyard_crop(records, vineyard, interval=interval)
    ]
    if wants_csv(request):
        rows = [each.model_dump(mode="json") for each in blocks]
        return csv_answer(request, list(BlockCropAnswer.model_fields), rows)
    to_try = [trial_words(each) for each in TRIALS]
    return CropAnswer(vineyard=vineyard, interval=interval, blocks=blocks, to_try=to_try, ask=whom_to_ask())
