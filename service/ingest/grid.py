"""A planting drawn vine by vine: one row a vine, its row in the vineyard and its place in that row."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import NamedTuple

from models.errors import BadInput, Problem
from models.records import REACH_M, Block, Cultivar
from service.ingest.cells import in_column, is_blank, shown, whole_number
from service.ingest.headers import Columns, find_columns, fold_name, header_of
from service.ingest.names import slug
from service.ingest.options import OnBadRows
from service.ingest.planting import SYNONYMS as PLANTING_SYNONYMS
from service.ingest.planting import (
    TRAIT_COLUMNS,
    CultivarLine,
    ReadPlanting,
    Traits,
    merge_cultivars,
    read_planting,
    read_traits,
)
from service.ingest.report import BadRow, settle_bad_rows, settle_repeats
from service.ingest.table import Row, Table, read_table

SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "row": ("row_number", "row_no"),
    "vine": ("vine_number", "vine_no", "place", "position"),
    "cultivar": ("variety",),
    **{name: PLANTING_SYNONYMS[name] for name in TRAIT_COLUMNS},
}
IS_HEADER = header_of(SYNONYMS, PLANTING_SYNONYMS)
HIGHEST_NUMBER = 100_000
# A block stands for its vines at one point. No longer than this share of the reach, it puts none of them farther
# from that point than a quarter of the reach. Our convention.
LONGEST_BLOCK_SHARE = 0.5


class GridSpacing(NamedTuple):
    """Between rows, and between vines in a row. [m]"""

    row_m: float
    vine_m: float


class _Vine(NamedTuple):
    name: str
    traits: Traits | None


def read_any_planting(
    data: bytes,
    *,
    spacing: GridSpacing | None,
    cultivars: Mapping[str, Cultivar],
    reach_m: float,
    on_bad_rows: OnBadRows = "reject",
) -> ReadPlanting:
    """Read a planting by blocks or, where it has rows and vines and no block, as a grid.

    Raises
    ------
    BadInput
        If a grid comes without its spacing, and as `read_planting` and `read_grid` do.
    """
    if not _is_grid(read_table(data, is_header=IS_HEADER)):
        read = read_planting(data, on_bad_rows=on_bad_rows)
        if spacing is None:
            return read
        unused = "the spacings of rows and vines are for a grid of vines and were not used"
        return replace(read, warnings=(*read.warnings, unused))
    if spacing is None:
        problem = "say how far rows and vines stand apart: row_spacing_m and vine_spacing_m"
        raise BadInput("the planting is a grid of vines", [Problem("row_spacing_m", problem)])
    return read_grid(
        data,
        row_spacing_m=spacing.row_m,
        vine_spacing_m=spacing.vine_m,
        cultivars=cultivars,
        reach_m=reach_m,
        on_bad_rows=on_bad_rows,
    )


def spacing_of(row_m: float | None, vine_m: float | None) -> GridSpacing | None:
    """Both spacings or none. Raises BadInput for a single one."""
    if row_m is not None and vine_m is not None:
        return GridSpacing(row_m, vine_m)
    if row_m is None and vine_m is None:
        return None
    lacking = "row_spacing_m" if row_m is None else "vine_spacing_m"
    raise BadInput("a grid needs both spacings", [Problem(lacking, "give it beside the other")])


def _is_grid(table: Table) -> bool:
    names = {fold_name(header) for header in table.columns}
    return not names & {"block", *PLANTING_SYNONYMS["block"]} and all(
        names & {name, *SYNONYMS[name]} for name in ("row", "vine")
    )


def read_grid(
    data: bytes,
    *,
    row_spacing_m: float,
    vine_spacing_m: float,
    cultivars: Mapping[str, Cultivar],
    reach_m: float = REACH_M,
    on_bad_rows: OnBadRows = "reject",
) -> ReadPlanting:
    """Read a planting grid.

    Consecutive vines of one cultivar in one row become blocks at their middle, as long as half the reach at most,
    so that distances stay right; a run that is longer is cut into blocks of nearly equal length. Rows run along x.

    Parameters
    ----------
    data : bytes
        A table with ``row``, ``vine`` and ``cultivar``. Row and vine are whole numbers from 1 on, counted from one
        corner; places without a vine have a blank cultivar or no line. ``flower_type`` and the other traits of a
        planting may stand beside them; a cultivar's flower type must be known or stand in one of its rows.
    row_spacing_m, vine_spacing_m : float
        Between rows, and between vines in a row. [m]
    cultivars : mapping of key to Cultivar
        Those that are known; what the file says of them comes first.
    reach_m : float
        How far pollen is carried. [m]
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
    lengths = {"row_spacing_m": row_spacing_m, "vine_spacing_m": vine_spacing_m, "reach_m": reach_m}
    wrong = [
        Problem(name, f"{length:g} is not above 0") for name, length in lengths.items() if not length > 0
    ]
    if wrong:
        raise BadInput("the spacings of a grid are lengths above 0", wrong)
    table = read_table(data, is_header=IS_HEADER)
    columns = find_columns(table, SYNONYMS, required=("row", "vine", "cultivar"))
    entries: list[tuple[int, tuple[int, int], _Vine | None]] = []
    bad_rows = list(table.bad_rows)
    for row in table.rows:
        try:
            place, vine = _place(row, columns), _vine(row, columns, decimal_comma=table.decimal_comma)
            entries.append((row.line, place, vine))
        except BadInput as error:
            bad_rows.append(BadRow(row.line, error.message))
    kept, conflicts, repeats = settle_repeats(entries, what="row {0[0]}, vine {0[1]}")
    told, at_odds = merge_cultivars(
        [
            CultivarLine(line, slug(vine.name), vine.name, vine.traits)
            for line, _, vine in kept
            if vine and vine.traits
        ]
    )
    cultivars = {**cultivars, **told}
    wrong_lines = {row.line for row in at_odds}
    vines: dict[tuple[int, int], str] = {}
    for line, place, vine in kept:
        if vine is None or line in wrong_lines:
            continue
        if (key := slug(vine.name)) in cultivars:
            vines[place] = key
        else:
            bad_rows.append(BadRow(line, _unknown(vine.name, cultivars)))
    bad = settle_bad_rows(
        [*bad_rows, *conflicts, *at_odds], rows_read=table.rows_read, on_bad_rows=on_bad_rows
    )
    if not vines:
        raise BadInput("the grid holds no vine", [Problem("cultivar", "every place is blank")])
    most_vines = max(1, int(LONGEST_BLOCK_SHARE * reach_m / vine_spacing_m))
    blocks = tuple(
        Block(
            key=f"row-{row}-vine-{first}" + (f"-{last}" if last > first else ""),
            cultivar=cultivar,
            x_m=((first + last) / 2 - 1) * vine_spacing_m,
            y_m=(row - 1) * row_spacing_m,
            vines=last - first + 1,
        )
        for row, run_first, run_last, cultivar in _runs(vines)
        for first, last in _cut(run_first, run_last, most_vines)
    )
    held = dict.fromkeys(block.cultivar for block in blocks)
    return ReadPlanting(
        blocks, tuple(cultivars[key] for key in held), bad, (*columns.warnings, *repeats), table.rows_read
    )


def _place(row: Row, columns: Columns) -> tuple[int, int]:
    numbers = []
    for name in ("row", "vine"):
        with in_column(name):
            numbers.append(whole_number(columns.cell(row, name), low=1, high=HIGHEST_NUMBER))
    return numbers[0], numbers[1]


def _vine(row: Row, columns: Columns, *, decimal_comma: bool) -> _Vine | None:
    name = columns.cell(row, "cultivar")
    if is_blank(name):
        return None
    slug(name)  # refused here, with its line, if no key can be made of it
    traits = None
    if not is_blank(columns.cell(row, "flower_type")):
        traits = read_traits(row, columns, decimal_comma=decimal_comma)
    return _Vine(name, traits)


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


def _cut(first: int, last: int, most: int) -> Iterator[tuple[int, int]]:
    """First and last of as few parts as hold ``most`` or fewer each, nearly equal in length."""
    count = last - first + 1
    parts = -(-count // most)
    for part in range(parts):
        yield first + part * count // parts, first + (part + 1) * count // parts - 1
