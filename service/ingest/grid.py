"""A planting drawn vine by vine: one row a vine, its row in the vineyard and its place in that row."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from models.errors import BadInput, Problem
from models.records import Block, Cultivar
from service.ingest.cells import in_column, is_blank, shown, whole_number
from service.ingest.headers import Columns, find_columns, header_of
from service.ingest.names import slug
from service.ingest.options import OnBadRows
from service.ingest.planting import SYNONYMS as PLANTING_SYNONYMS
from service.ingest.planting import (
    TRAIT_COLUMNS,
    CultivarLine,
    ReadPlanting,
    Traits,
    merge_cultivars,
    read_traits,
)
from service.ingest.report import BadRow, settle_bad_rows, settle_repeats
from service.ingest.table import Content, Row, read_table

SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "row": ("row_number", "row_no"),
    "vine": ("vine_number", "vine_no", "place", "position"),
    "cultivar": ("variety",),
    **{name: PLANTING_SYNONYMS[name] for name in TRAIT_COLUMNS},
}
IS_HEADER = header_of(SYNONYMS, PLANTING_SYNONYMS)
HIGHEST_NUMBER = 100_000


class Planted(NamedTuple):
    """What a row says stands there: a cultivar's name, and its traits where they are given."""

    name: str
    traits: Traits | None


def read_grid(
    data: Content,
    *,
    row_spacing_m: float,
    vine_spacing_m: float,
    cultivars: Mapping[str, Cultivar],
    on_bad_rows: OnBadRows = "reject",
) -> ReadPlanting:
    """Read a planting grid.

    Consecutive vines of one cultivar in one row become one block, a line of vines. Rows run along x.

    Parameters
    ----------
    data : bytes, or a sheet of a workbook
        A table with ``row``, ``vine`` and ``cultivar``. Row and vine are whole numbers from 1 on, counted from one
        corner; places without a vine have a blank cultivar or no line. ``flower_type`` and the other traits of a
        planting may stand beside them; a cultivar's flower type must be known or stand in one of its rows.
    row_spacing_m, vine_spacing_m : float
        Between rows, and between vines in a row. [m]
    cultivars : mapping of key to Cultivar
        Those that are known; what the file says of them comes first.
    on_bad_rows : "reject" or "skip"

    Returns
    -------
    ReadPlanting
        Blocks are called ``row-3-vine-7``, or ``row-3-vine-7-9`` from the seventh vine to the ninth.

    Raises
    ------
    BadInput
        If a length is not above 0, the table or its columns can't be read, or there are bad rows that are not to be
        skipped. Bad rows are also an unknown cultivar and one place with two cultivars.
    """
    check_spacings(row_spacing_m, vine_spacing_m)
    table = read_table(data, is_header=IS_HEADER)
    columns = find_columns(table, SYNONYMS, required=("row", "vine", "cultivar"))
    entries: list[tuple[int, tuple[int, int], Planted | None]] = []
    bad_rows = list(table.bad_rows)
    for row in table.rows:
        try:
            place, vine = _place(row, columns), planted(row, columns, decimal_comma=table.decimal_comma)
            entries.append((row.line, place, vine))
        except BadInput as error:
            bad_rows.append(BadRow(row.line, error.message))
    kept, conflicts, repeats = settle_repeats(entries, what="row {0[0]}, vine {0[1]}")
    cultivars, unknown = known_cultivars([(line, vine) for line, _, vine in kept if vine], cultivars)
    wrong_lines = {row.line for row in unknown}
    vines = {place: slug(vine.name) for line, place, vine in kept if vine and line not in wrong_lines}
    bad = settle_bad_rows(
        [*bad_rows, *conflicts, *unknown], rows_read=table.rows_read, on_bad_rows=on_bad_rows
    )
    if not vines:
        raise BadInput("the grid holds no vine", [Problem("cultivar", "every place is blank")])
    blocks = tuple(
        block_of_vines(row, first, last, cultivar, row_spacing_m=row_spacing_m, vine_spacing_m=vine_spacing_m)
        for row, first, last, cultivar in _runs(vines)
    )
    held = dict.fromkeys(block.cultivar for block in blocks)
    return ReadPlanting(
        blocks, tuple(cultivars[key] for key in held), bad, (*columns.warnings, *repeats), table.rows_read
    )


def check_spacings(row_spacing_m: float, vine_spacing_m: float) -> None:
    """Raises BadInput unless both are above 0."""
    lengths = {"row_spacing_m": row_spacing_m, "vine_spacing_m": vine_spacing_m}
    wrong = [
        Problem(name, f"{length:g} is not above 0") for name, length in lengths.items() if not length > 0
    ]
    if wrong:
        raise BadInput("the spacings of a grid are lengths above 0", wrong)


def known_cultivars(
    rows: Sequence[tuple[int, Planted]], cultivars: Mapping[str, Cultivar]
) -> tuple[dict[str, Cultivar], list[BadRow]]:
    """The cultivars that are known, with what rows (line, planted) say of them; and the rows that are wrong.

    Those are rows that contradict each other, and rows that name a cultivar of which nothing is known.
    """
    told, bad_rows = merge_cultivars(
        [CultivarLine(line, slug(vine.name), vine.name, vine.traits) for line, vine in rows if vine.traits]
    )
    known = {**cultivars, **told}
    wrong_lines = {row.line for row in bad_rows}
    unknown = [
        BadRow(line, _unknown(vine.name, known))
        for line, vine in rows
        if line not in wrong_lines and slug(vine.name) not in known
    ]
    return known, [*bad_rows, *unknown]


def block_of_vines(
    row: int,
    first: int,
    last: int,
    cultivar: str,
    *,
    row_spacing_m: float,
    vine_spacing_m: float,
    key: str | None = None,
) -> Block:
    """Vines of a row, counted from one corner, as a block: a line along x, or one place for a single vine. [m]"""
    alone = first == last
    y_m = (row - 1) * row_spacing_m
    return Block(
        key=key or f"row-{row}-vine-{first}" + ("" if alone else f"-{last}"),
        cultivar=cultivar,
        x_m=(first - 1) * vine_spacing_m,
        y_m=y_m,
        vines=last - first + 1,
        x2_m=None if alone else (last - 1) * vine_spacing_m,
        y2_m=None if alone else y_m,
    )


def _place(row: Row, columns: Columns) -> tuple[int, int]:
    numbers = []
    for name in ("row", "vine"):
        with in_column(name):
            numbers.append(whole_number(columns.cell(row, name), low=1, high=HIGHEST_NUMBER))
    return numbers[0], numbers[1]


def planted(row: Row, columns: Columns, *, decimal_comma: bool) -> Planted | None:
    name = columns.cell(row, "cultivar")
    if is_blank(name):
        return None
    slug(name)  # refused here, with its line, if no key can be made of it
    traits = None
    if not is_blank(columns.cell(row, "flower_type")):
        traits = read_traits(row, columns, decimal_comma=decimal_comma)
    return Planted(name, traits)


def _unknown(name: str, cultivars: Mapping[str, Cultivar]) -> str:
    known = ", ".join(sorted(cultivars)) or "none yet"
    return (
        f"unknown cultivar {shown(name)}; the known cultivars are {known}. Put it first, or give its flower type in a "
        "column flower_type"
    )


def _runs(vines: Mapping[tuple[int, int], str]) -> Iterator[tuple[int, int, int, str]]:
    """Row, first and last vine, and cultivar of each run of one cultivar without an empty place."""
    run: tuple[int, int, int, str] | None = None
    for (row, vine), cultivar in sorted(vines.items()):
        if run is not None and (row, vine - 1, cultivar) == (run[0], run[2], run[3]):
            run = (row, run[1], vine, cultivar)
            continue
        if run is not None:
            yield run
        run = (row, vine, vine, cultivar)
    if run is not None:
        yield run
