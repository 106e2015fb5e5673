"""A planting in whichever of its three forms: by blocks, by stretches of rows, or vine by vine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple

from models.errors import BadInput, Problem
from models.records import Cultivar
from service.ingest.grid import SYNONYMS as GRID_SYNONYMS
from service.ingest.grid import read_grid
from service.ingest.headers import fold_name, header_of
from service.ingest.options import OnBadRows
from service.ingest.planting import SYNONYMS as PLANTING_SYNONYMS
from service.ingest.planting import ReadPlanting, read_planting
from service.ingest.table import Content, read_table
from service.ingest.vine_rows import SYNONYMS as ROW_SYNONYMS
from service.ingest.vine_rows import read_vine_rows

IS_HEADER = header_of(GRID_SYNONYMS, ROW_SYNONYMS, PLANTING_SYNONYMS)


class GridSpacing(NamedTuple):
    """Between rows, and between vines in a row. [m]"""

    row_m: float
    vine_m: float


def read_any_planting(
    data: Content,
    *,
    spacing: GridSpacing | None,
    cultivars: Mapping[str, Cultivar],
    on_bad_rows: OnBadRows = "reject",
) -> ReadPlanting:
    """Read a planting by rows where it has rows with a first and a last vine, as a grid where it has rows and vines and
    no block, else by blocks.

    Raises
    ------
    BadInput
        If rows come without their spacings, and as `read_planting`, `read_vine_rows` and `read_grid` do.
    """
    names = {fold_name(header) for header in read_table(data, is_header=IS_HEADER).columns}

    def has(synonyms: Mapping[str, tuple[str, ...]], *wanted: str) -> bool:
        return all(names & {name, *synonyms[name]} for name in wanted)

    by_rows = has(ROW_SYNONYMS, "row", "first_vine", "last_vine")
    if not by_rows and (not has(GRID_SYNONYMS, "row", "vine") or has(PLANTING_SYNONYMS, "block")):
        read = read_planting(data, on_bad_rows=on_bad_rows)
        if spacing is None:
            return read
        unused = "the spacings of rows and vines are for rows of vines and were not used"
        return replace(read, warnings=(*read.warnings, unused))
    if spacing is None:
        problem = "say how far rows and vines stand apart: row_spacing_m and vine_spacing_m"
        raise BadInput("the planting counts rows and vines", [Problem("row_spacing_m", problem)])
    return (read_vine_rows if by_rows else read_grid)(
        data,
        row_spacing_m=spacing.row_m,
        vine_spacing_m=spacing.vine_m,
        cultivars=cultivars,
        on_bad_rows=on_bad_rows,
    )


def spacing_of(row_m: float | None, vine_m: float | None) -> GridSpacing | None:
    """Both spacings or none. Raises BadInput for a single one."""
    if row_m is not None and vine_m is not None:
        return GridSpacing(row_m, vine_m)
    if row_m is None and vine_m is None:
        return None
    lacking = "row_spacing_m" if row_m is None else "vine_spacing_m"
    raise BadInput("rows of vines need both spacings", [Problem(lacking, "give it beside the other")])
