"""Bytes to a table of text cells that know their line.

Knows nothing of what the columns mean: whoever does says which line looks like the header, as files have titles and
units above it, and workbooks several sheets.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from models.errors import BadInput, Problem
from service.ingest.formulas import from_text
from service.ingest.report import BadRow, counted
from service.ingest.workbook import MOST_COLUMNS, Sheet, is_workbook, read_sheets

LONGEST_LINE = 100_000  # characters
MOST_LINES = 200_000  # a century of days has 36,525
MOST_CELLS = 4_000_000  # what 200,000 rows of twenty cells have
MOST_LINES_ABOVE = 40  # the header
DELIMITERS = (",", ";", "\t")

Content = bytes | Sheet
"""What somebody has sent: a file, or one sheet of a workbook that is read in parts."""
IsHeader = Callable[[Sequence[str]], bool]


class Row(NamedTuple):
    """One row: its first line in the file, counted from 1, and its cells without surrounding blanks."""

    line: int
    cells: tuple[str, ...]  # not a list, which the garbage collector would look through again and again


@dataclass(frozen=True)
class Table:
    """A header, the rows that have as many cells as the header, and those that do not (``bad_rows``).

    ``above`` are the lines over the header; ``workbook`` tells that dates are known as such, and written as ISO.
    """

    columns: tuple[str, ...]
    header_line: int
    rows: tuple[Row, ...]
    bad_rows: tuple[BadRow, ...]
    delimiter: str
    above: tuple[Row, ...] = ()
    workbook: bool = False

    @property
    def rows_read(self) -> int:
        """How many rows the file holds, blank lines apart."""
        return len(self.rows) + len(self.bad_rows)

    @property
    def decimal_comma(self) -> bool:
        """Whether a comma within a number can only be a decimal comma."""
        return self.delimiter == ";"


def any_line(cells: Sequence[str]) -> bool:
    """The first line that is not blank is the header."""
    return any(cells)


def read_table(data: Content, *, is_header: IsHeader = any_line) -> Table:
    """Read a comma, semicolon or tab separated file, or the one sheet of a workbook that has such a header.

    The header is the first line that looks like one, among the first 40; else the first that is not blank.

    Raises
    ------
    BadInput
        If the file is empty, not text, too large in any direction, badly quoted, without rows, has a column twice, or
        several sheets could be meant.
    """
    if isinstance(data, Sheet):
        return _of_sheet(data, is_header)
    if is_workbook(data):
        return _of_sheet(_sheet_meant(read_sheets(data), is_header), is_header)
    text = decode(data)
    lines = _lines(text)
    first, above = _find_header(
        ((number, _cells(line)) for number, line in enumerate(lines, start=1)), is_header
    )
    delimiter = detect_delimiter(lines[first - 1])
    if (count := text.count(delimiter) + len(lines)) > MOST_CELLS:
        problem = f"{count:,} cells; at most {MOST_CELLS:,} are read; leave out columns that are not needed"
        raise BadInput("the file has too many cells", [Problem(f"line {first}", problem)])
    reader = csv.reader(lines[first - 1 :], delimiter=delimiter, strict=True, skipinitialspace=True)
    quoted = "'" in text  # else nothing is a formula written as text
    records: list[Row] = []
    line = first
    try:
        for record in reader:
            cells = tuple(map(str.strip, record))
            records.append(Row(line, tuple(map(from_text, cells)) if quoted else cells))
            line = first + reader.line_num
    except csv.Error:
        problem = "a quoted cell is never closed, or goes on after its closing quote"
        raise BadInput("the file's quotes cannot be read", [Problem(f"line {line}", problem)]) from None
    return _of_records(records, above, delimiter=delimiter)


def _cells(line: str) -> list[str]:
    """The cells of a line by itself, for a look at whether it is the header."""
    try:
        (cells,) = csv.reader([line.strip()], delimiter=detect_delimiter(line), skipinitialspace=True)
    except (csv.Error, ValueError):
        return [line.strip()]
    return [cell.strip() for cell in cells]


def _find_header(lines: Iterable[tuple[int, list[str]]], is_header: IsHeader) -> tuple[int, tuple[Row, ...]]:
    """Number of the header's line, and the lines above it."""
    above: list[Row] = []
    for line, cells in lines:
        if not any(cells):
            continue
        if is_header(cells):
            return line, tuple(above)
        above.append(Row(line, tuple(cells)))
        if len(above) == MOST_LINES_ABOVE:
            break
    if not above:
        problem = "a header line is needed, then one row a line"
        raise BadInput("the file is empty", [Problem("line 1", problem)])
    return above[0].line, ()


def _sheet_meant(sheets: Sequence[Sheet], is_header: IsHeader) -> Sheet:
    fitting = [
        sheet for sheet in sheets if any(is_header(cells) for _, cells in sheet.rows[:MOST_LINES_ABOVE])
    ]
    meant = fitting or list(sheets)
    if not meant:
        problem = "a header line is needed, then one row a line"
        raise BadInput("the file is empty", [Problem("line 1", problem)])
    if len(meant) > 1:
        names = ", ".join(repr(sheet.name) for sheet in meant)
        problem = (
            f"the sheets {names} could all be meant; send a workbook with one of them, or that sheet as CSV"
        )
        raise BadInput("the workbook has several sheets", [Problem("line 1", problem)])
    return meant[0]


def _of_sheet(sheet: Sheet, is_header: IsHeader) -> Table:
    first, above = _find_header(sheet.rows, is_header)
    width = max(len(cells) for _, cells in sheet.rows)
    rows = [Row(line, (*cells, *[""] * (width - len(cells)))) for line, cells in sheet.rows if line >= first]
    return _of_records(rows, above, delimiter="", workbook=True)


def _of_records(
    records: Sequence[Row],
    above: tuple[Row, ...],
    *,
    delimiter: str,
    workbook: bool = False,
) -> Table:
    header_line, header_cells = records[0].line, list(records[0].cells)
    if workbook:  # sheets are as wide as their widest row
        while header_cells and not header_cells[-1]:
            header_cells.pop()
    header = _header(header_cells, header_line)
    rows: list[Row] = []
    bad_rows: list[BadRow] = []
    for row in records[1:]:
        cells = row.cells
        if not any(cells):
            continue
        if len(cells) > len(header) and not any(cells[len(header) :]):  # a delimiter at the end of the line
            row = Row(row.line, cells[: len(header)])
        if len(row.cells) == len(header):
            rows.append(row)
        else:
            problem = f"{counted(len(cells), 'cell')} where the header has {len(header)}"
            bad_rows.append(BadRow(row.line, problem))
    if not rows and not bad_rows:
        problem = "no row follows the header"
        raise BadInput("the file has a header but no rows", [Problem(f"line {header_line}", problem)])
    return Table(header, header_line, tuple(rows), tuple(bad_rows), delimiter, above, workbook)


def decode(data: bytes) -> str:
    """UTF-8, with or without byte order mark, or UTF-16 with one.

    Raises
    ------
    BadInput
        If the bytes are no such text; the first wrong byte's line is named.
    """
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
    there = (
        text.count("\n") + text.count("\r") - text.count("\r\n")
    )  # before they are split, which takes memory
    if there > MOST_LINES:
        problem = f"{there:,} lines; at most {MOST_LINES:,} are read (a century of days has 36,525)"
        raise BadInput("the file has too many lines", [Problem(f"line {MOST_LINES + 1}", problem)])
    lines = list(io.StringIO(text, newline=""))
    for number, line in enumerate(lines, start=1):
        if len(line) > LONGEST_LINE:
            problem = f"{len(line):,} characters in one line; at most {LONGEST_LINE:,} are read"
            raise BadInput("a line is too long", [Problem(f"line {number}", problem)])
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
