"""Counts of clusters on canes to records."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from models.records import CropCount
from service.ingest.cells import in_column, whole_number
from service.ingest.counts import ReadCounts, check_tagged, read_count_rows
from service.ingest.headers import find_columns, header_of
from service.ingest.options import AS_THEY_ARE, ReadOptions
from service.ingest.table import Row, read_table

SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "date": ("count_date", "day"),
    "block": ("block_id",),
    "cane": ("tag", "cane_tag", "shoot"),
    "clusters": ("cluster_count", "bunches"),
}
MOST_CLUSTERS = 1000  # on a cane: a bound against slips, ours


def read_crop_counts(
    data: bytes, *, blocks: Mapping[str, str], options: ReadOptions = AS_THEY_ARE
) -> ReadCounts[CropCount]:
    """Read counts: ``date``, ``block``, ``cane`` and ``clusters``.

    Raises
    ------
    BadInput
        If the table or its columns can't be read, or there are bad rows that are not to be skipped.
    """
    table = read_table(data, is_header=header_of(SYNONYMS))
    columns = find_columns(table, SYNONYMS, required=("date", "block", "cane", "clusters"))

    def read(row: Row, date: dt.date, block: str, cane: str) -> CropCount:
        with in_column("clusters"):
            clusters = whole_number(columns.cell(row, "clusters"), low=0, high=MOST_CLUSTERS)
        count = CropCount(date, block, cane, clusters)
        check_crop_count(count, options)
        return count

    return read_count_rows(table, columns, read, tagged="cane", blocks=blocks, options=options)


def check_crop_count(count: CropCount, options: ReadOptions) -> None:
    """Refuse a count that cannot have been made. Raises BadInput."""
    why = "canes are told apart by a tag or a number"
    check_tagged(count.date, count.cane, options, tagged="cane", why=why)
