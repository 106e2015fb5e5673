"""A spreadsheet workbook (Office Open XML, .xlsx) to sheets of text cells that know their row."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
import zlib
from typing import Any, NamedTuple
from xml.etree.ElementTree import ParseError

from models.errors import BadInput, Problem

MOST_UNPACKED_BYTES = 100_000_000  # of all parts together: what 200,000 rows of twenty cells take
MOST_PARTS = 2_000
MOST_ROWS = 200_000
MOST_COLUMNS = 1_000
# What openpyxl and what it stands on raise for files that are broken or made to be.
BROKEN = (
    *(zipfile.BadZipFile, zlib.error, EOFError, ParseError),
    *(AttributeError, IndexError, KeyError, OSError, OverflowError, RuntimeError, TypeError, ValueError),
)
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")  # ECMA-376, part 1, 22.9.2.19: ST_Xstring
ADVICE = "save the sheet as 'CSV UTF-8' and send that"


class Sheet(NamedTuple):
    """A sheet that holds something: its name, and the rows that do, with their numbers from 1 on."""

    name: str
    rows: list[tuple[int, list[str]]]


def is_workbook(data: bytes) -> bool:
    """Whether these bytes are a ZIP archive, as workbooks are."""
    return data.startswith(b"PK\x03\x04")


def read_sheets(data: bytes) -> list[Sheet]:
    """The visible sheets that hold something.

    Raises
    ------
    BadInput
        If it is no workbook, too large once unpacked, or has formulas whose results were never saved.
    """
    try:
        _check_size(data)
        sheets = _cells(data, results=True)
        if _has_formulas(data):
            _check_results(sheets, _cells(data, results=False))
    except BadInput:
        raise
    except BROKEN:
        raise _refusal(f"it is damaged, locked by a password, or no .xlsx; {ADVICE}") from None
    return [Sheet(name, rows) for name, rows in sheets.items() if rows]


def _refusal(problem: str, where: str = "line 1") -> BadInput:
    return BadInput("the workbook cannot be read", [Problem(where, problem)])


def _check_size(data: bytes) -> None:
    """Bound what unpacking can yield: a part is never read beyond the size that the archive states for it."""
    parts = zipfile.ZipFile(io.BytesIO(data)).infolist()
    unpacked = sum(part.file_size for part in parts)
    if len(parts) > MOST_PARTS or unpacked > MOST_UNPACKED_BYTES:
        raise _refusal(
            f"it unpacks to {unpacked:,} bytes in {len(parts):,} parts; at most {MOST_UNPACKED_BYTES:,} "
            f"in {MOST_PARTS:,} are read; {ADVICE}"
        )


def _cells(data: bytes, *, results: bool) -> dict[str, list[tuple[int, list[str]]]]:
    """Rows by sheet, blank ones left out; formulas as their results, or as they are written."""
    from openpyxl import load_workbook  # loaded where there is a workbook to read
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        book = load_workbook(io.BytesIO(data), read_only=True, data_only=results, keep_links=False)
    except InvalidFileException as error:
        raise ValueError from error
    sheets: dict[str, list[tuple[int, list[str]]]] = {}
    for sheet in book.worksheets:
        if sheet.sheet_state != "visible":
            continue
        sheet.reset_dimensions()  # what a file says of its size may be wrong, and is not needed
        rows = sheets[sheet.title] = []
        for number, cells in enumerate(sheet.rows, start=1):
            if len(cells) > MOST_COLUMNS:
                problem = f"{len(cells):,} columns; at most {MOST_COLUMNS:,} are read"
                raise _refusal(problem, f"sheet {sheet.title!r}, line {number}")
            texts = [_text(cell) for cell in cells]
            if any(texts):
                rows.append((number, texts))
            if len(rows) > MOST_ROWS:
                problem = f"more than {MOST_ROWS:,} rows"
                raise _refusal(problem, f"sheet {sheet.title!r}, line {number}")
    book.close()
    return sheets


def _text(cell: Any) -> str:
    value = cell.value
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case dt.datetime():
            moment = (value + dt.timedelta(microseconds=500_000)).replace(microsecond=0)
            return f"{moment.date()}" if moment.time() == dt.time(0) else moment.isoformat()
        case dt.date() | dt.time():
            return value.isoformat()
        case int() | float():
            if "%" in (cell.number_format or ""):
                return f"{value * 100:.12g}%"
            return _number(value)
    return _ESCAPED.sub(_character, str(value).strip())


def _number(value: float) -> str:
    """With 15 digits, as spreadsheets show it; with all that it has where these are a fraction and not the number."""
    told = f"{value:.15g}"
    return told if "." not in told or float(told) == value else repr(value)


def _character(escaped: re.Match[str]) -> str:
    code = int(escaped[1], 16)
    return escaped[0] if code == 0 or 0xD800 <= code < 0xE000 else chr(code)


def _has_formulas(data: bytes) -> bool:
    archive = zipfile.ZipFile(io.BytesIO(data))
    sheets = [
        name for name in archive.namelist() if name.startswith("xl/worksheets/") and name.endswith(".xml")
    ]
    return any(b"<f>" in text or b"<f " in text for text in map(archive.read, sheets))


def _check_results(
    results: dict[str, list[tuple[int, list[str]]]], formulas: dict[str, list[tuple[int, list[str]]]]
) -> None:
    """A formula whose result was not saved would be taken for a blank."""
    known = {(name, line): cells for name, rows in results.items() for line, cells in rows}
    for name, rows in formulas.items():
        for line, cells in rows:
            found = known.get((name, line), [])
            for place, text in enumerate(cells):
                if text.startswith("=") and (place >= len(found) or not found[place]):
                    problem = (
                        "a formula without its result; open the workbook, let it compute, and save it again"
                    )
                    raise _refusal(problem, f"sheet {name!r}, line {line}")
