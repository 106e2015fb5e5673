"""Counts of clusters on canes to records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from models.errors import BadInput
from models.records import CropCount
from service.ingest.cells import in_column, whole_number
from service.ingest.dates import DateForm, parse_date
from service.ingest.headers import Columns, find_columns, header_of
from service.ingest.options import AS_THEY_ARE, ReadOptions
from service.ingest.places import find_place
from service.ingest.plausible_days import check_seen
from service.ingest.report import BadRow, settle_bad_rows, settle_repeats
from service.ingest.table import Row, read_table

SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "date": ("count_date", "day"),
    "block": ("block_id",),
    "cane": ("tag", "cane_tag", "shoot"),
    "clusters": ("cluster_count", "bunches"),
}
MOST_CLUSTERS = 1000  # on a cane: a bound against slips, ours
LONGEST_CANE = 63  # a part of the key in the store


@dataclass(frozen=True)
class ReadCropCounts:
    """Counts, rows that were skipped, and what else was noticed; ``rows_read`` counts all rows."""

    counts: tuple[CropCount, ...]
    bad_rows: tuple[BadRow, ...]
    warnings: tuple[str, ...]
    rows_read: int


def read_crop_counts(
    data: bytes, *, blocks: Mapping[str, str], options: ReadOptions = AS_THEY_ARE
) -> ReadCropCounts:
    """Read counts: ``date``, ``block``, ``cane`` and ``clusters``.

    Raises
    ------
    BadInput
        If the table or its columns can't be read, or there are bad rows that are not to be skipped.
    """
    table = read_table(data, is_header=header_of(SYNONYMS))
    form = DateForm(options.date_format, iso_too=table.workbook)
    columns = find_columns(table, SYNONYMS, required=("date", "block", "cane", "clusters"))
    bad_rows = list(table.bad_rows)
    entries = []
    for row in table.rows:
        try:
            count = _read_row(row, columns, blocks, form)
            check_crop_count(count, options)
        except BadInput as error:
            bad_rows.append(BadRow(row.line, error.message))
            continue
        entries.append((row.line, (count.date, count.block, count.cane), count))
    kept, conflicts, repeats = settle_repeats(entries, what="the count of {0[0]} in {0[1]}, cane {0[2]}")
    bad = settle_bad_rows([*bad_rows, *conflicts], rows_read=table.rows_read, on_bad_rows=options.on_bad_rows)
    return ReadCropCounts(
        tuple(count for _, _, count in kept), bad, (*columns.warnings, *repeats), table.rows_read
    )


def _read_row(row: Row, columns: Columns, blocks: Mapping[str, str], form: DateForm) -> CropCount:
    block, _ = find_place(columns.cell(row, "block"), "", blocks=blocks)
    if block is None:
        raise BadInput("no block is given")
    with in_column("clusters"):
        clusters = whole_number(columns.cell(row, "clusters"), low=0, high=MOST_CLUSTERS)
    date = parse_date(columns.cell(row, "date"), form)
    return CropCount(date, block, columns.cell(row, "cane").strip(), clusters)


def check_crop_count(count: CropCount, options: ReadOptions) -> None:
    """Refuse a count that cannot have been made. Raises BadInput."""
    if options.sent_on is not None and "dates" not in options.confirm:
        check_seen(count.date, today=options.sent_on)
    if not count.cane:
        raise BadInput("no cane is given: canes are told apart by a tag or a number")
    if len(count.cane) > LONGEST_CANE:
        raise BadInput(f"a cane's tag has at most {LONGEST_CANE} characters")
