"""Counts of flowers and berries on marked clusters to records."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from models.errors import BadInput, Problem
from models.records import SetCount
from service.ingest.cells import in_column, is_blank, whole_number
from service.ingest.counts import ReadCounts, check_tagged, read_count_rows
from service.ingest.headers import columns_found, find_columns, header_of
from service.ingest.options import AS_THEY_ARE, ReadOptions
from service.ingest.table import Row, read_table

SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "date": ("count_date", "day"),
    "block": ("block_id",),
    "cluster": ("tag", "cluster_tag", "bunch"),
    "flowers": ("flower_count",),
    "berries": ("berry_count",),
}
MOST_FLOWERS = 5000  # on a cluster; the largest published mean is under 100


def read_set_counts(
    data: bytes, *, blocks: Mapping[str, str], options: ReadOptions = AS_THEY_ARE
) -> ReadCounts[SetCount]:
    """Read counts: ``date``, ``block``, ``cluster``, and ``flowers`` or ``berries`` or both.

    Raises
    ------
    BadInput
        If the table or its columns can't be read, or there are bad rows that are not to be skipped.
    """
    table = read_table(data, is_header=header_of(SYNONYMS))
    columns = find_columns(table, SYNONYMS, required=("date", "block", "cluster"))
    if "flowers" not in columns and "berries" not in columns:
        problem = Problem(
            f"line {table.header_line}", f"no column flowers or berries; {columns_found(table)}"
        )
        raise BadInput("the columns cannot be read", [problem])

    def read(row: Row, date: dt.date, block: str, cluster: str) -> SetCount:
        numbers = {}
        for name in ("flowers", "berries"):
            text = columns.cell(row, name)
            with in_column(name):
                numbers[name] = None if is_blank(text) else whole_number(text, low=0, high=MOST_FLOWERS)
        count = SetCount(date, block, cluster, **numbers)
        check_set_count(count, options)
        return count

    return read_count_rows(table, columns, read, tagged="cluster", blocks=blocks, options=options)


def check_set_count(count: SetCount, options: ReadOptions) -> None:
    """Refuse a count that cannot have been made. Raises BadInput."""
    why = "flowers and berries are joined by its tag"
    check_tagged(count.date, count.cluster, options, tagged="cluster", why=why)
    if count.flowers is None and count.berries is None:
        raise BadInput("neither flowers nor berries are given")
    if count.flowers is not None and count.berries is not None and count.berries > count.flowers:
        raise BadInput(f"{count.berries} berries are more than {count.flowers} flowers")
