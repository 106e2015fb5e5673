"""A grower's everything as one file, and back.

The file is JSON Lines: a line that says what it is, then rows of one table a line, each as a list in the order of
``columns``; at last a line that counts the rows, so that half a file is not taken for a whole one. The same data make
the same file, byte for byte.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from pydantic import TypeAdapter

from models.errors import BadInput, Problem
from models.stages import STAGE_KEYS
from service.ingest.dates import FIRST_YEAR, LAST_YEAR
from service.ingest.plausibility import COLDEST_C, HOTTEST_C
from service.store.everything import Rows, read_images, read_row, table_names
from service.store.images import Values, write_row
from service.store.records import ToldDay
from service.store.repositories import Repositories
from service.store.results import UNFINISHED
from service.usecases import fit_jobs, hindcast_jobs
from service.usecases.calendar import Entry
from service.usecases.fit_documents import FitDocument
from service.usecases.hindcast_documents import HindcastDocument
from service.usecases.news import read_told
from service.usecases.shared_fits import check_document

VERSION = 1
MARK = "capfall_export"
ROWS_A_LINE = 500
MOST_IMAGES = (
    5_000_000  # of rows in all changes: a run of days takes one place in the file, and many in memory
)
MOST_FAULTS = 20
LARGEST_NUMBER = 2**30  # of a change, so that others can follow
ENTRY = TypeAdapter(Entry)

RowCheck = Callable[[str, Values], None]
"""What else a row of a table must hold; raises ValueError."""


def write_export(records: Repositories) -> bytes:
    """All that the grower has, keys and unfinished jobs aside."""
    lines: list[dict[str, Any]] = [{MARK: VERSION, "grower": records.grower}]
    count = 0
    for name, rows in records.everything.rows():
        count += len(rows)
        for first in range(0, len(rows), ROWS_A_LINE):
            told = [write_row(row) for row in rows[first : first + ROWS_A_LINE]]
            lines.append({"table": name, "columns": list(rows[0]), "rows": told})
    lines.append({"end": count})
    plain = (json.dumps(line, ensure_ascii=False, allow_nan=False, separators=(",", ":")) for line in lines)
    return "".join(f"{line}\n" for line in plain).encode()


def read_export(content: bytes, check_row: RowCheck) -> Rows:
    """The rows of a file that `write_export` made, or that somebody says it made.

    Raises
    ------
    BadInput
        If it is of another version or not whole, or holds what no answer could be made from; with the lines.
    """
    lines = content.removesuffix(b"\n").split(b"\n")
    _check_head(_line(lines[0]))
    tables = table_names()
    rows: dict[str, list[Values]] = {}
    faults: list[Problem] = []
    images = 0
    for number, line in enumerate(lines[1:-1], 2):
        told = _line(line)
        name: Any = told.get("table")
        columns: Any = told.get("columns")
        values: Any = told.get("rows")
        if not (isinstance(name, str) and name in tables and _are_texts(columns) and _are_lists(values)):
            problem = "this is no table of an export of this version"
            raise BadInput("the export cannot be read", [Problem(f"line {number}", problem)])
        for place, row in enumerate(values, 1):
            try:
                if len(row) != len(columns):
                    raise ValueError(f"{len(row)} values stand under {len(columns)} columns")
                typed = read_row(name, dict(zip(columns, row, strict=True)))
                images += _check(name, typed, check_row)
                rows.setdefault(name, []).append(typed)
            except (ValueError, TypeError, LookupError, AttributeError, RecursionError) as error:
                faults.append(Problem(f"line {number}, row {place} of {name}", _first_line(error)))
            if len(faults) >= MOST_FAULTS or images > MOST_IMAGES:
                break
    if images > MOST_IMAGES:
        faults.append(Problem("change_rows", f"they tell of more than {MOST_IMAGES:,} rows"))
    if faults:
        raise BadInput("the export holds what cannot be right", faults[:MOST_FAULTS])
    count = sum(map(len, rows.values()))
    if len(lines) < 2 or _line(lines[-1]) != {"end": count}:
        problem = f"its last line does not say that {count:,} rows stand before it"
        raise BadInput("the export is not whole", [Problem(f"line {len(lines)}", problem)])
    return rows


def take_in(records: Repositories, rows: Rows) -> dict[str, int]:
    """Store what `read_export` read, and tell how many rows of what. Raises NotEmpty, BadInput."""
    records.everything.put(rows)
    return {name: len(some) for name, some in rows.items()}


def delete_everything(records: Repositories, confirm: str) -> dict[str, int]:
    """Delete all that the grower has, for good, and tell how many rows of what.

    Raises BadInput (``confirm`` is not the grower's name), InUse (a job that has not ended).
    """
    if confirm != records.grower:
        problem = f"to delete all of it for good, say the grower's name: {records.grower}"
        raise BadInput("this deletes everything, and was not confirmed", [Problem("query.confirm", problem)])
    return records.everything.delete()


def _line(line: bytes) -> dict[str, Any]:
    try:
        told = json.loads(line, parse_constant=_no_number)
    except (ValueError, RecursionError):
        told = None
    if not isinstance(told, dict):
        problem = f"a line of JSON was expected, not {line[:40].decode(errors='replace')!r}"
        raise BadInput("this is no export", [Problem("body", problem)])
    return told


def _no_number(told: str) -> float:
    raise ValueError(f"{told} is no number")


def _check_head(told: Mapping[str, Any]) -> None:
    version = told.get(MARK)
    if type(version) is not int:
        raise BadInput("this is no export", [Problem("line 1", f"{MARK} and its version are missing")])
    if version != VERSION:
        help = "bring this service up to date first" if version > VERSION else "export it anew"
        problem = f"this service reads version {VERSION}; {help}"
        raise BadInput(f"the export is of version {version}", [Problem("line 1", problem)])


def _are_texts(told: object) -> bool:
    return isinstance(told, list) and all(isinstance(each, str) for each in told)


def _are_lists(told: object) -> bool:
    return isinstance(told, list) and all(isinstance(each, list) for each in told)


def _first_line(error: Exception) -> str:
    """What is wrong; for pydantic's errors the first one, with its place."""
    if isinstance(error, BadInput) and error.problems:
        return f"{error.problems[0].where}: {error.problems[0].problem}"
    found = getattr(error, "errors", None)
    if callable(found):
        first = found()[0]
        return f"{'.'.join(map(str, first['loc']))}: {first['msg']}"
    return str(error).partition("\n")[0] or type(error).__name__


def _check(name: str, row: Values, check_row: RowCheck) -> int:
    """Hold a row against what each of its table must be; how many rows it tells of as they were."""
    _check_plain(row)
    check_row(name, row)
    match name:
        case "temperatures" | "outlooks":
            low, high = row["tmin_c"], row["tmax_c"]
            if (low is None) != (high is None) or (
                low is not None and not COLDEST_C <= low <= high <= HOTTEST_C
            ):
                raise ValueError(f"{low} to {high} °C is no day")
        case "bloom_dates" | "visits":
            seen = f"cultivar:{row['cultivar']}" if row["block"] is None else f"block:{row['block']}"
            if row["subject"] != seen:
                raise ValueError(f"subject is not {seen}")
            if name == "bloom_dates" and (
                row["stage"] not in STAGE_KEYS or not 1 <= row["checked_every_days"] <= 366
            ):
                raise ValueError("stage or checked_every_days cannot be")
        case "fits":
            check_document(FitDocument.model_validate(row["document"]))
        case "jobs":
            _check_job(row)
        case "calendar_events":
            Entry.of(row["content"])
            ENTRY.validate_python(row["content"])
        case "told_days":
            read_told(ToldDay(row["day"], row["season"], row["told_at"], row["content"]))
        case "changes":
            earlier, later = row["undoes"], row["undone_by"]
            if not (earlier or 0) < row["number"] < (later or LARGEST_NUMBER) or (earlier or 1) < 1:
                raise ValueError("it undoes a later change, or is undone by an earlier one")
        case "change_rows":
            return _check_images(row, check_row)
    return 0


def _check_plain(row: Values) -> None:
    for name, value in row.items():
        for text in _texts(value):
            if "\x00" in text or any("\ud800" <= character <= "\udfff" for character in text):
                raise ValueError(f"{name} holds a character that cannot be stored")
        year = value.year if isinstance(value, dt.date) else value if name == "season" else FIRST_YEAR
        if not FIRST_YEAR <= year <= LAST_YEAR:
            raise ValueError(f"{name} is outside {FIRST_YEAR} to {LAST_YEAR}")


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, list):
        for each in value:
            yield from _texts(each)
    elif isinstance(value, dict):
        yield from value
        yield from _texts(list(value.values()))


def _check_job(row: Values) -> None:
    if row["state"] in UNFINISHED or row["kind"] not in (fit_jobs.KIND, hindcast_jobs.KIND):
        raise ValueError("it has not ended, or is of no known kind")
    if row["state"] == "done":
        if row["kind"] == hindcast_jobs.KIND:
            HindcastDocument.model_validate(row["result"])
        elif not isinstance(row["result"]["fit"], str):
            raise ValueError("its result names no fit")


def _check_images(row: Values, check_row: RowCheck) -> int:
    count, before = read_images(row)
    for image in before:
        _check(row["of_table"], image, check_row)
    return count
