"""Bytes to a table of text cells that know their line. Knows nothing of what the columns mean."""

from __future__ import annotations

import codecs
import csv
import io
from dataclasses import dataclass
from typing import NamedTuple

from models.errors import BadInput, Problem
from service.ingest.report import BadRow, counted

LONGEST_LINE = 100_000  # characters
MOST_LINES = 200_000  # a century of days has 36,525
MOST_COLUMNS = 1_000
DELIMITERS = (",", ";", "\t")


class Row(NamedTuple):
    """One row: its first line in the file, counted from 1, and its cells without surrounding blanks."""

    line: int
    cells: list[str]


@dataclass(frozen=True)
class Table:
    """A header, the rows that have as many cells as the header, and those that do not (``bad_rows``)."""

    columns: tuple[str, ...]
    header_line: int
    rows: tuple[Row, ...]
    bad_rows: tuple[BadRow, ...]
    delimiter: str

    @property
    def rows_read(self) -> int:
        """How many rows the file holds, blank lines apart."""
        return len(self.rows) + len(self.bad_rows)

    @property
    def decimal_comma(self) -> bool:
        """Whether a comma within a number can only be a decimal comma."""
        return self.delimiter == ";"


def read_table(data: bytes) -> Table:
    """Read a comma, semicolon or tab separated file; the header line tells which.

    Raises
    ------
    BadInput
        If the file is empty, not text, too large in any direction, badly quoted, without rows, or has a
        column twice.
    """
    lines = _lines(decode(data))
    first = next((number for number, line in enumerate(lines) if line.strip()), None)
    if first is None:
        problem = "a header line is needed, then one row a line"
        raise BadInput("the file is empty", [Problem("line 1", problem)])
    delimiter = detect_delimiter(lines[first])
    reader = csv.reader(lines[first:], delimiter=delimiter, strict=True, skipinitialspace=True)
    header: tuple[str, ...] | None = None
    rows: list[Row] = []
    bad_rows: list[BadRow] = []
    line = first + 1
    try:
        for record in reader:
            cells = [cell.strip() for cell in record]
            if header is None:
                header = _header(cells, line)
            elif any(cells):
                if len(cells) > len(header) and not any(cells[len(header) :]):
                    cells = cells[: len(header)]  # a delimiter at the end of the line
                if len(cells) == len(header):
                    rows.append(Row(line, cells))
                else:
                    bad_rows.append(
                        BadRow(line, f"{counted(len(cells), 'cell')} where the header has {len(header)}")
                    )
            line = first + reader.line_num + 1
    except csv.Error:
        problem = "a quoted cell is never closed, or goes on after its closing quote"
        raise BadInput("the file's quotes cannot be read", [Problem(f"line {line}", problem)]) from None
    if not rows and not bad_rows:
        problem = "no row follows the header"
        raise BadInput("the file has a header but no rows", [Problem(f"line {first + 1}", problem)])
    return Table(header or (), first + 1, tuple(rows), tuple(bad_rows), delimiter)


def decode(data: bytes) -> str:
    """UTF-8, with or without byte order mark, or UTF-16 with one.

    Raises
    ------
    BadInput
        If the bytes are no such text; the first wrong byte's line is named.
    """
    if data.startswith(b"PK\x03\x04"):
        problem = "this is a spreadsheet workbook or an archive; save the sheet as 'CSV UTF-8'"
        raise BadInput("the file is not readable text", [Problem("line 1", problem)])
    utf16 = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    try:
        text = data.decode("utf-16" if utf16 else "utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line = _line_at(before.decode("utf-16" if utf16 else "utf-8-sig", errors="ignore"))
        what = "UTF-16, as its first bytes say" if utf16 else f"UTF-8 at byte 0x{data[error.start]:02X}"
        problem = f"not {what}; save the file as 'CSV UTF-8'"
        raise BadInput("the file is not readable text", [Problem(f"line {line}", problem)]) from None
    if (nul := text.find("\0")) >= 0:
        problem = "a NUL byte: binary data, or UTF-16 without its mark; save the file as 'CSV UTF-8'"
        raise BadInput("the file is not readable text", [Problem(f"line {_line_at(text[:nul])}", problem)])
    return text


def detect_delimiter(header: str) -> str:
    """The delimiter that stands most often in the header, quoted text apart; the comma where none does."""
    bare = "".join(header.split('"')[::2])
    return max(DELIMITERS, key=bare.count)


def _lines(text: str) -> list[str]:
    """Lines with their ends, whatever ends them (LF, CRLF, CR)."""
    lines = list(io.StringIO(text, newline=""))
    for number, line in enumerate(lines, start=1):
        if len(line) > LONGEST_LINE:
            problem = f"{len(line):,} characters in one line; at most {LONGEST_LINE:,} are read"
            raise BadInput("a line is too long", [Problem(f"line {number}", problem)])
    if len(lines) > MOST_LINES:
        problem = f"{len(lines):,} lines; at most {MOST_LINES:,} are read (a century of days has 36,525)"
        raise BadInput("the file has too many lines", [Problem(f"line {MOST_LINES + 1}", problem)])
    return lines


def _line_at(text_before: str) -> int:
    return text_before.replace("\r\n", "\n").replace("\r", "\n").count("\n") + 1


def _header(cells: list[str], line: int) -> tuple[str, ...]:
    if len(cells) > MOST_COLUMNS:
        problem = f"{len(cells):,} columns; at most {MOST_COLUMNS:,} are read"
        raise BadInput("the file has too many columns", [Problem(f"line {line}", problem)])
    seen: set[str] = set()
    repeated: list[str] = []
    for cell in cells:
        name = cell.casefold()
        if name and name in seen:  # columns without a name are ignored, so several do no harm
            repeated.append(cell)
        seen.add(name)
    if repeated:
        raise BadInput(
            "a column stands twice",
            [Problem(f"line {line}", f"column {cell!r} stands more than once") for cell in repeated],
        )
    return tuple(cells)
