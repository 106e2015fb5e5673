"""Dates at which stages were reached in past seasons."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter

from service.api.responses import UPLOAD, problems
from service.api.schemas import BloomLogAnswer, BloomLogEntry, ObservationReceipt
from service.usecases.observations import store_bloom_log
from service.web.keys import VineyardKey
from service.web.records import Reading, Writing
from service.web.uploads import CsvFile, DateFormat, OnBadRowsQuery, csv_upload

router = APIRouter(prefix="/v1/vineyards/{vineyard}/bloom-log", tags=["observations"])


@router.post("", summary="Upload a bloom log", responses=UPLOAD, openapi_extra=csv_upload())
def upload_bloom_log(
    vineyard: VineyardKey,
    content: CsvFile,
    records: Writing,
    date_format: DateFormat = None,
    on_bad_rows: OnBadRowsQuery = "reject",
) -> ObservationReceipt:
    """Take a CSV file with one row a season and block (or cultivar), and the stage keys as date columns.

    Blanks are allowed, and a stage left out keeps the date that it has. `checked_every_days` says how often
    the rows were looked at. Stages out of order are kept and named in `warnings`.
    """
    stored = store_bloom_log(records, vineyard, content, date_format=date_format, on_bad_rows=on_bad_rows)
    return ObservationReceipt.of(vineyard, stored)


@router.get("", summary="Show the bloom log", responses=problems(404))
def get_bloom_log(vineyard: VineyardKey, records: Reading) -> BloomLogAnswer:
    """All dates that hold, by season, cultivar and block."""
    rows = [BloomLogEntry(**asdict(row)) for row in records.bloom_log.rows(vineyard)]
    return BloomLogAnswer(vineyard=vineyard, rows=rows)
