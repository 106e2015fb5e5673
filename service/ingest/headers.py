"""Column names to what they mean, in any order and case."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from models.errors import BadInput, Problem
from service.ingest.names import ascii_fold
from service.ingest.table import IsHeader, Row, Table

LIKENESS = 0.8  # difflib ratio from which an unknown name is taken for a slip of the pen


@dataclass(frozen=True)
class Columns:
    """Where the known columns stand; ``cell`` is blank for a column that the file does not have."""

    places: Mapping[str, int]
    warnings: tuple[str, ...]

    def __contains__(self, name: str) -> bool:
        return name in self.places

    def cell(self, row: Row, name: str) -> str:
        """The text of a row in a column."""
        return row.cells[self.places[name]] if name in self.places else ""


def fold_name(header: str) -> str:
    """A header as lower-case words joined by underscores: "X (m)" -> "x_m", "% open" -> "percent_open"."""
    return "_".join(re.findall(r"[a-z0-9]+", ascii_fold(header.replace("%", " percent "))))


def header_of(*synonyms: Mapping[str, Sequence[str]]) -> IsHeader:
    """Whether a line is the header of such a table: it has two of the columns or more."""
    meaning = {other: name for each in synonyms for name, others in each.items() for other in (name, *others)}

    def is_header(cells: Sequence[str]) -> bool:
        return len({meaning[folded] for cell in cells if (folded := fold_name(cell)) in meaning}) >= 2

    return is_header


def columns_found(table: Table) -> str:
    """The columns of a file, for a message."""
    return "the columns found are " + ", ".join(repr(name) for name in table.columns if name)


def find_columns(
    table: Table, synonyms: Mapping[str, Sequence[str]], *, required: Sequence[str] = ()
) -> Columns:
    """Match the header against known names.

    A column of another name is ignored with a warning, unless it resembles a known one that the file lacks.

    Parameters
    ----------
    synonyms : mapping of name to further names
        All in the form that ``fold_name`` gives.
    required : sequence of str
        Names that must be there.

    Raises
    ------
    BadInput
        If a required column is missing, two columns mean the same, or a name looks misspelt.
    """
    where = f"line {table.header_line}"
    meaning = {other: name for name, others in synonyms.items() for other in (name, *others)}
    places: dict[str, int] = {}
    unknown: list[tuple[str, str]] = []
    problems: list[Problem] = []
    for place, header in enumerate(table.columns):
        folded = fold_name(header)
        name = meaning.get(folded)
        if name is None:
            unknown += [(header, folded)] if header else []
        elif name in places:
            problems.append(
                Problem(where, f"columns {table.columns[places[name]]!r} and {header!r} both mean {name}")
            )
        else:
            places[name] = place
    warnings = []
    for header, folded in unknown:
        lacking = [known for known, name in meaning.items() if name not in places]
        close = difflib.get_close_matches(folded, lacking, n=1, cutoff=LIKENESS)
        if close:
            meant = meaning[close[0]]
            problems.append(Problem(where, f"column {header!r} is not known; did you mean {meant}?"))
        else:
            warnings.append(f"column {header!r} is not known and was ignored")
    missing = [name for name in required if name not in places]
    problems += [Problem(where, f"no column {name!r}; {columns_found(table)}") for name in missing]
    if problems:
        raise BadInput("the columns cannot be read", problems)
    return Columns(places, tuple(warnings))
