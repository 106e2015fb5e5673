"""Counts of flowers and berries on marked clusters to records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from models.errors import BadInput, Problem
from models.records import SetCount
from service.ingest.cells import in_column, is_blank, whole_number
from service.ingest.dates import DateForm, parse_date
from service.ingest.headers import Columns, columns_found, find_columns, header_of
from service.ingest.options import AS_THEY_ARE, ReadOptions
from service.ingest.places import find_place
from service.ingest.plausible_days import check_seen
from service.ingest.report import BadRow, settle_bad_rows, settle_repeats
from service.ingest.table import Row, read_table

SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "date": ("count_date", "day"),
    "block": ("block_id",),
    "cluster": ("tag", "cluster_tag", "bunch"),
    "flowers": ("flower_count",),
    "berries": ("berry_count",),
}
MOST_FLOWERS = 5000  # on a cluster; the largest published mean is under 100
LONGEST_CLUSTER = 63  # a part of the key in the store


@dataclass(frozen=True)
class ReadSetCounts:
    """Counts, rows that were skipped, and what else was noticed; ``rows_read`` counts all rows."""

    counts: tuple[SetCount, ...]
    bad_rows: tuple[BadRow, ...]
    warnings: tuple[str, ...]
    rows_read: int


def read_set_counts(
    data: bytes, *, blocks: Mapping[str, str], options: ReadOptions = AS_THEY_ARE
) -> ReadSetCounts:
    """Read counts: ``date``, ``block``, ``cluster``, and ``flowers`` or ``berries`` or both.

    Raises
    ------
    BadInput
        If the table or its columns can't be read, or there are bad rows that are not to be skipped.
    """
    table = read_table(data, is_header=header_of(SYNONYMS))
    form = DateForm(options.date_format, iso_too=table.workbook)
    columns = find_columns(table, SYNONYMS, required=("date", "block", "cluster"))
    if "flowers" not in columns and "berries" not in columns:
        problem = Problem(
            f"line {table.header_line}", f"no column flowers or berries; {columns_found(table)}"
        )
        raise BadInput("the columns cannot be read", [problem])
    bad_rows = list(table.bad_rows)
    entries = []
    for row in table.rows:
        try:
            count = _read_row(row, columns, blocks, form)
            check_set_count(count, options)
        except BadInput as error:
            bad_rows.append(BadRow(row.line, error.message))
            continue
        entries.append((row.line, (count.date, count.block, count.cluster), count))
    kept, conflicts, repeats = settle_repeats(entries, what="the count of {0[0]} in {0[1]}, cluster {0[2]}")
    bad = settle_bad_rows([*bad_rows, *conflicts], rows_read=table.rows_read, on_bad_rows=options.on_bad_rows)
    return ReadSetCounts(
        tuple(count for _, _, count in kept), bad, (*columns.warnings, *repeats), table.rows_read
    )


def _read_row(row: Row, columns: Columns, blocks: Mapping[str, str], form: DateForm) -> SetCount:
    block, _ = find_place(columns.cell(row, "block"), "", blocks=blocks)
    if block is None:
        raise BadInput("no block is given")
    numbers = {}
    for name in ("flowers", "berries"):
        text = columns.cell(row, name)
        with in_column(name):
            numbers[name] = None if is_blank(text) else whole_number(text, low=0, high=MOST_FLOWERS)
    date = parse_date(columns.cell(row, "date"), form)
    return SetCount(date, block, columns.cell(row, "cluster").strip(), **numbers)


def check_set_count(count: SetCount, options: ReadOptions) -> None:
    """Refuse a count that cannot have been made. Raises BadInput."""
    if options.sent_on is not None and "dates" not in options.confirm:
        check_seen(count.date, today=options.sent_on)
    if not count.cluster:
        raise BadInput("no cluster is given: flowers and berries are joined by its tag")
    if len(count.cluster) > LONGEST_CLUSTER:
        raise BadInput(f"a cluster's tag has at most {LONGEST_CLUSTER} characters")
    if count.flowers is None and count.berries is None:
        raise BadInput("neither flowers nor berries are given")
    if count.flowers is not None and count.berries is not None and count.berries > count.flowers:
        raise BadInput(f"{count.berries} berries are more than {count.flowers} flowers")
