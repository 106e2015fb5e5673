"""Dates at which stages were reached in past seasons."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Annotated, Literal, NamedTuple

from fastapi import Depends, Path, Query, Request, Response

from models.stages import STAGE_KEYS
from service.api.change_schemas import WriteReceipt
from service.api.frost import Season
from service.api.listing import AS_CSV, PageAsked, csv_answer, paged
from service.api.observation_schemas import (
    BloomDateVersion,
    BloomLogAnswer,
    BloomLogEntry,
    BloomLogHistory,
    ObservationReceipt,
)
from service.api.part import part
from service.api.responses import UPLOAD, problems, wants_csv
from service.ingest.bloom_log import ReadBloomLog
from service.ingest.options import ReadOptions
from service.store.errors import NotFound
from service.store.records import Place
from service.usecases.documents import SLUG, Slug
from service.usecases.observations import Ground, ground_of, read_log_on, store_bloom_log
from service.web.access import Grower
from service.web.keys import VineyardKey
from service.web.records import Reading, Writing, store
from service.web.uploads import CsvFile, Options, csv_upload

router = part("/v1/vineyards/{vineyard}/bloom-log", "observations")

Subject = Annotated[
    str, Path(alias="block", pattern=SLUG, description="The block, or with `of` the cultivar.")
]
Of = Annotated[
    Literal["block", "cultivar"],
    Query(description="`cultivar`: the dates of the whole cultivar of that name."),
]
StageKey = Annotated[
    str | None,
    Query(
        json_schema_extra={"enum": list(STAGE_KEYS)},
        description="Only this date; by default the whole season's.",
    ),
]


class LogSent(NamedTuple):
    """An uploaded bloom log, how it is to be read, and what was read before the transaction that stores it."""

    content: bytes
    options: ReadOptions
    ahead: tuple[Ground, ReadBloomLog]


def log_sent(
    request: Request,
    grower: Grower,
    vineyard: VineyardKey,
    content: CsvFile,
    options: Options,
    checked_every_days: Annotated[
        int | None,
        Query(ge=1, le=366, description="How often the rows were looked at, where the file does not say it."),
    ] = None,
) -> LogSent:
    """Read the upload before a transaction starts: a long file must not keep others waiting."""
    told = replace(options, checked_every_days=checked_every_days)
    with store(request).transaction(grower, read_only=True) as records:
        ground = ground_of(records, vineyard)
    return LogSent(content, told, (ground, read_log_on(ground, content, told)))


@router.post("", summary="Upload a bloom log", responses=UPLOAD, openapi_extra=csv_upload())
def upload_bloom_log(
    vineyard: VineyardKey, sent: Annotated[LogSent, Depends(log_sent)], records: Writing
) -> ObservationReceipt:
    """Take a file with one row a season and block (or cultivar), and the stage keys as date columns; or in the long
    form, one row a date, with the columns `stage` and `date`.

    Blanks are allowed, and a stage left out keeps the date that it has. `checked_every_days` says how often
    the rows were looked at. Stages out of order are kept and named in `warnings`.
    """
    stored = store_bloom_log(records, vineyard, sent.content, options=sent.options, ahead=sent.ahead)
    return ObservationReceipt.of(vineyard, stored)


@router.get(
    "",
    summary="Show the bloom log",
    response_model=BloomLogAnswer,
    responses={**AS_CSV, **problems(404)},
)
def get_bloom_log(
    request: Request,
    vineyard: VineyardKey,
    records: Reading,
    page: PageAsked,
    season: Annotated[int | None, Query(description="Only this season.")] = None,
    block: Annotated[Slug | None, Query(description="Only this block.")] = None,
) -> BloomLogAnswer | Response:
    """All dates that hold, by season, cultivar and block; as CSV, which can be uploaded again, with
    `Accept: text/csv`.
    """
    found = [
        row
        for row in records.bloom_log.rows(vineyard)
        if season in (None, row.season) and block in (None, row.block)
    ]
    rows, next_page = paged(
        found, page, lambda row: (row.season, row.cultivar, row.block or "", row.checked_every_days)
    )
    if wants_csv(request):
        columns = ["season", "block", "cultivar", *STAGE_KEYS, "checked_every_days"]
        return csv_answer(request, columns, [{**asdict(row), **row.dates} for row in rows], next_page)
    answers = [BloomLogEntry(**asdict(row)) for row in rows]
    return BloomLogAnswer(vineyard=vineyard, rows=answers, next=next_page)


@router.delete("/{season}/{block}", summary="Delete dates of the bloom log", responses=problems(404))
def delete_bloom_dates(
    vineyard: VineyardKey,
    season: Season,
    key: Subject,
    records: Writing,
    stage: StageKey = None,
    of: Of = "block",
) -> WriteReceipt:
    """Delete a season's dates of one block, or the date of one stage. A blank cell of an upload clears none."""
    records.bloom_log.delete(vineyard, season, Place(of, key), stage=stage)
    return WriteReceipt.of(records.journal)


@router.get("/{season}/{block}/history", summary="Show what the dates were", responses=problems(404))
def get_bloom_log_history(
    vineyard: VineyardKey, season: Season, key: Subject, records: Reading, of: Of = "block"
) -> BloomLogHistory:
    """Every date that a season's log of one block has had, by stage, oldest first, with when and by whom it was
    replaced or deleted.
    """
    found = records.bloom_log.history(vineyard, season, Place(of, key))
    if not found:
        raise NotFound("bloom log date", f"{season} {key}")
    versions = [
        BloomDateVersion(
            stage=stage,
            date=date,
            checked_every_days=version.row.checked_every_days,
            stored_at=version.stored_at,
            superseded_at=version.superseded_at,
            superseded_by=version.superseded_by,
        )
        for version in found
        for stage, date in version.row.dates.items()
    ]
    return BloomLogHistory(vineyard=vineyard, season=season, versions=versions)
