"""What a reader tells besides the records: bad rows, gaps, and the lines of a warning."""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from models.errors import BadInput, Problem
from service.ingest.options import OnBadRows

_QUOTED = re.compile(r"'(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\"|\b\d{4}-\d{2}-\d{2}\b")
Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")

MOST_PROBLEMS_LISTED = 100
MOST_RANGES_LISTED = 8
MOST_ALIKE_LISTED = 10
MOST_CELLS_LISTED = 5


@dataclass(frozen=True, order=True)
class BadRow:
    """A row that can't be read: its line in the file, counted from 1, and what is wrong."""

    line: int
    problem: str


def settle_bad_rows(
    bad_rows: Iterable[BadRow], *, rows_read: int, on_bad_rows: OnBadRows
) -> tuple[BadRow, ...]:
    """Sort the bad rows of a file by line, or refuse the file for them.

    Raises
    ------
    BadInput
        If there is a bad row and ``on_bad_rows`` is "reject", or if no row is left.
    """
    found = tuple(sorted(bad_rows))
    lines = {row.line for row in found}
    if not found or (on_bad_rows == "skip" and len(lines) < rows_read):
        return found
    message = f"{len(lines)} of {rows_read} rows cannot be read"
    if on_bad_rows == "skip":
        message += "; no row is left"
    listed = _alike(found)
    if len(listed) > MOST_PROBLEMS_LISTED:
        message += f"; the first {MOST_PROBLEMS_LISTED} problems are listed"
    raise BadInput(message, listed[:MOST_PROBLEMS_LISTED])


def _alike(bad_rows: Sequence[BadRow]) -> list[Problem]:
    """Problems that differ in nothing but the cell that they quote as one, with all its lines."""
    groups: dict[str, list[BadRow]] = {}
    for row in bad_rows:
        groups.setdefault(_QUOTED.sub("", row.problem), []).append(row)
    problems = []
    for group in groups.values():
        lines = [row.line for row in group]
        first = group[0].problem
        cells = list(dict.fromkeys(found[0] for row in group if (found := _QUOTED.search(row.problem))))
        others = ", ".join(cells[1 : 1 + MOST_CELLS_LISTED])
        more = ", ..." if len(cells) > 1 + MOST_CELLS_LISTED else ""
        problems.append(Problem(lines_text(lines), f"{first}; likewise {others}{more}" if others else first))
    return problems


def settle_repeats(
    entries: Iterable[tuple[int, Key, Value]], *, what: str
) -> tuple[list[tuple[int, Key, Value]], list[BadRow], list[str]]:
    """Keep one of several equal entries; where entries of one key differ, all of them are bad rows.

    Which of two different values is right can't be known, so none is kept.

    Parameters
    ----------
    entries : iterable of (line, key, value)
    what : str
        What a key names, for the messages; formatted with the key as in ``"the date {}"``.

    Returns
    -------
    kept entries in the order of their first line, bad rows, warnings
    """
    entries = list(entries)
    if len({key for _, key, _ in entries}) == len(entries):
        return entries, [], []
    groups: dict[Key, list[tuple[int, Value]]] = {}
    for line, key, value in entries:
        groups.setdefault(key, []).append((line, value))
    kept: list[tuple[int, Key, Value]] = []
    bad_rows: list[BadRow] = []
    repeated: list[int] = []
    for key, group in groups.items():
        first_line, first_value = group[0]
        if any(value != first_value for _, value in group):
            lines = [line for line, _ in group]
            problem = f"{what.format(key)} is given with different values: {lines_text(lines)}"
            bad_rows += [BadRow(line, problem) for line in lines]
            continue
        kept.append((first_line, key, first_value))
        repeated += [line for line, _ in group[1:]]
    warnings = []
    if repeated:
        warnings.append(f"{counted(len(repeated), 'row')} repeated and kept once: {lines_text(repeated)}")
    return kept, bad_rows, warnings


def first_of(texts: Sequence[str]) -> list[str]:
    """The first texts of many alike, and how many more there are."""
    more = len(texts) - MOST_ALIKE_LISTED
    return list(texts) if more <= 0 else [*texts[:MOST_ALIKE_LISTED], f"and {more:,} more like these"]


def counted(number: int, noun: str) -> str:
    """A number and its noun: "1 row", "3 rows"."""
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def lines_text(lines: Sequence[int]) -> str:
    """Line numbers in words, neighbours drawn together: "lines 3, 7 to 12"."""
    ranges: list[list[int]] = []
    for line in sorted(set(lines)):
        if ranges and line == ranges[-1][1] + 1:
            ranges[-1][1] = line
        else:
            ranges.append([line, line])
    parts = [
        f"{first}" if first == last else f"{first}, {last}" if last == first + 1 else f"{first} to {last}"
        for first, last in ranges[:MOST_RANGES_LISTED]
    ]
    unlisted = sum(last - first + 1 for first, last in ranges[MOST_RANGES_LISTED:])
    if unlisted:
        parts.append(f"and {unlisted:,} more")
    return f"line {parts[0]}" if len(lines) == 1 else f"lines {', '.join(parts)}"
