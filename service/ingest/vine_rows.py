"""A planting drawn row by row: in each line of the table vines of one cultivar, from one place in a row to another."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from models.errors import BadInput
from models.records import Block, Cultivar
from service.ingest.cells import in_column, is_blank, whole_number
from service.ingest.grid import (
    HIGHEST_NUMBER,
    Planted,
    block_of_vines,
    check_spacings,
    known_cultivars,
    planted,
)
from service.ingest.grid import SYNONYMS as GRID_SYNONYMS
from service.ingest.headers import Columns, find_columns, header_of
from service.ingest.names import slug
from service.ingest.options import OnBadRows
from service.ingest.planting import SYNONYMS as PLANTING_SYNONYMS
from service.ingest.planting import ReadPlanting
from service.ingest.report import BadRow, settle_bad_rows, settle_repeats
from service.ingest.table import Content, Row, read_table

SYNONYMS: Mapping[str, tuple[str, ...]] = {
    **{name: others for name, others in GRID_SYNONYMS.items() if name != "vine"},
    "first_vine": ("from_vine",),
    "last_vine": ("to_vine",),
    "block": PLANTING_SYNONYMS["block"],
}


class _Stretch(NamedTuple):
    row: int
    first: int
    last: int
    block: str | None
    planted: Planted


def read_vine_rows(
    data: Content,
    *,
    row_spacing_m: float,
    vine_spacing_m: float,
    cultivars: Mapping[str, Cultivar],
    on_bad_rows: OnBadRows = "reject",
) -> ReadPlanting:
    """Read a planting by stretches of rows. Each becomes a block, a line of vines; rows run along x.

    Parameters
    ----------
    data : bytes, or a sheet of a workbook
        A table with ``row``, ``first_vine``, ``last_vine`` and ``cultivar``: whole numbers from 1 on, counted from one
        corner. A ``block`` column names the blocks; ``flower_type`` and the other traits of a planting may stand
        beside them; a cultivar's flower type must be known or stand in one of its rows.
    row_spacing_m, vine_spacing_m : float
        Between rows, and between vines in a row. [m]
    cultivars : mapping of key to Cultivar
        Those that are known; what the file says of them comes first.
    on_bad_rows : "reject" or "skip"

    Returns
    -------
    ReadPlanting
        Blocks without a name are called ``row-3-vine-7-9``, from the seventh vine to the ninth.

    Raises
    ------
    BadInput
        If a length is not above 0, the table or its columns can't be read, or there are bad rows that are not to be
        skipped. Bad rows are also an unknown cultivar, a block named twice, and a place with two blocks.
    """
    check_spacings(row_spacing_m, vine_spacing_m)
    table = read_table(data, is_header=header_of(SYNONYMS))
    columns = find_columns(table, SYNONYMS, required=("row", "first_vine", "last_vine", "cultivar"))
    entries: list[tuple[int, str, tuple[Block, Planted]]] = []
    stretches: dict[str, _Stretch] = {}
    bad_rows = list(table.bad_rows)
    for row in table.rows:
        try:
            found = _stretch(row, columns, decimal_comma=table.decimal_comma)
            block = block_of_vines(
                found.row,
                found.first,
                found.last,
                slug(found.planted.name),
                row_spacing_m=row_spacing_m,
                vine_spacing_m=vine_spacing_m,
                key=found.block,
            )
        except BadInput as error:
            bad_rows.append(BadRow(row.line, error.message))
            continue
        entries.append((row.line, block.key, (block, found.planted)))
        stretches[block.key] = found
    kept, conflicts, repeats = settle_repeats(entries, what="block {}")
    known, unknown = known_cultivars([(line, planted) for line, _, (_, planted) in kept], cultivars)
    overlapping = _overlapping([(line, stretches[key]) for line, key, _ in kept])
    wrong_lines = {row.line for row in (*unknown, *overlapping)}
    blocks = tuple(block for line, _, (block, _) in kept if line not in wrong_lines)
    bad = settle_bad_rows(
        [*bad_rows, *conflicts, *unknown, *overlapping], rows_read=table.rows_read, on_bad_rows=on_bad_rows
    )
    held = dict.fromkeys(block.cultivar for block in blocks)
    return ReadPlanting(
        blocks, tuple(known[key] for key in held), bad, (*columns.warnings, *repeats), table.rows_read
    )


def _stretch(row: Row, columns: Columns, *, decimal_comma: bool) -> _Stretch:
    numbers = []
    for name in ("row", "first_vine", "last_vine"):
        with in_column(name):
            numbers.append(whole_number(columns.cell(row, name), low=1, high=HIGHEST_NUMBER))
    first, last = numbers[1:]
    if last < first:
        raise BadInput(f"last_vine {last} lies before first_vine {first}")
    held = planted(row, columns, decimal_comma=decimal_comma)
    if held is None:
        raise BadInput("the cultivar is blank")
    name = columns.cell(row, "block")
    return _Stretch(numbers[0], first, last, None if is_blank(name) else slug(name), held)


def _overlapping(stretches: Sequence[tuple[int, _Stretch]]) -> list[BadRow]:
    """The lines that give a vine to two blocks."""
    by_row: dict[int, list[tuple[int, int, int]]] = defaultdict(list)
    for line, found in stretches:
        by_row[found.row].append((found.first, found.last, line))
    bad = []
    for row, found_there in by_row.items():
        reached, of_line = 0, 0
        for first, last, line in sorted(found_there):
            if first <= reached:
                problem = (
                    f"vine {first} of row {row} stands in lines {min(line, of_line)} and {max(line, of_line)}"
                )
                bad += [BadRow(each, problem) for each in (line, of_line)]
            if last > reached:
                reached, of_line = last, line
    return list(dict.fromkeys(bad))
