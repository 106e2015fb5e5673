"""Rows of counts on tagged parts of vines: read one by one, checked, and repeats settled."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Generic, TypeVar

from models.errors import BadInput
from service.ingest.dates import DateForm, parse_date
from service.ingest.headers import Columns
from service.ingest.options import ReadOptions
from service.ingest.places import find_place
from service.ingest.plausible_days import check_seen
from service.ingest.report import BadRow, settle_bad_rows, settle_repeats
from service.ingest.table import Row, Table

Count = TypeVar("Count")
LONGEST_TAG = 63  # a part of the key in the store


@dataclass(frozen=True)
class ReadCounts(Generic[Count]):
    """Counts, rows that were skipped, and what else was noticed; ``rows_read`` counts all rows."""

    counts: tuple[Count, ...]
    bad_rows: tuple[BadRow, ...]
    warnings: tuple[str, ...]
    rows_read: int


def read_count_rows(
    table: Table,
    columns: Columns,
    read: Callable[[Row, dt.date, str, str], Count],
    *,
    tagged: str,
    blocks: Mapping[str, str],
    options: ReadOptions,
) -> ReadCounts[Count]:
    """Read counts, each of a day, a block and a tag.

    Parameters
    ----------
    table : Table
    columns : Columns
        With ``date``, ``block`` and the column of tags.
    read : callable
        Makes the count of a row, its day, its block and its tag; raises BadInput for one that cannot have been made.
    tagged : str
        The column of tags, as "cluster".
    blocks : mapping of a block's key to its cultivar
    options : ReadOptions

    Raises
    ------
    BadInput
        If there are bad rows that are not to be skipped.
    """
    form = DateForm(options.date_format, iso_too=table.workbook)
    bad_rows: list[BadRow] = list(table.bad_rows)
    entries: list[tuple[int, tuple[dt.date, str, str], Count]] = []
    for row in table.rows:
        try:
            block, _ = find_place(columns.cell(row, "block"), "", blocks=blocks)
            if block is None:
                raise BadInput("no block is given")
            date, tag = parse_date(columns.cell(row, "date"), form), columns.cell(row, tagged).strip()
            count = read(row, date, block, tag)
        except BadInput as error:
            bad_rows.append(BadRow(row.line, error.message))
            continue
        entries.append((row.line, (date, block, tag), count))
    what = f"the count of {{0[0]}} in {{0[1]}}, {tagged} {{0[2]}}"
    kept, conflicts, repeats = settle_repeats(entries, what=what)
    bad = settle_bad_rows([*bad_rows, *conflicts], rows_read=table.rows_read, on_bad_rows=options.on_bad_rows)
    counts = tuple(count for _, _, count in kept)
    return ReadCounts(counts, bad, (*columns.warnings, *repeats), table.rows_read)


def check_tagged(date: dt.date, tag: str, options: ReadOptions, *, tagged: str, why: str) -> None:
    """Refuse a count of a day that cannot be, or without a tag (``why`` says what it is for). Raises BadInput."""
    if options.sent_on is not None and "dates" not in options.confirm:
        check_seen(date, today=options.sent_on)
    if not tag:
        raise BadInput(f"no {tagged} is given: {why}")
    if len(tag) > LONGEST_TAG:
        raise BadInput(f"a {tagged}'s tag has at most {LONGEST_TAG} characters")
