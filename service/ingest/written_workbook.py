"""Records to a workbook (Office Open XML, .xlsx), a sheet a table, as the readers here take it in again."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from models.records import Block, BloomLogRow, Cultivar, Visit
from models.stages import STAGE_KEYS
from service.ingest.formulas import BEGINNINGS
from service.ingest.names import slug

Rows = list[Sequence[Any]]

NO_TIME = (1980, 1, 1, 0, 0, 0)  # the first that an archive can tell
FIRST_DAY = dt.date(1900, 3, 1)  # spreadsheets count days from here; before it they are text
# What XML cannot hold, what it would change, and what would read as such (ECMA-376, part 1, 22.9.2.19: ST_Xstring).
_TO_ESCAPE = re.compile(r"[\x00-\x08\x0b-\x1f\ufffe\uffff]|^\s|\s$|_(?=x[0-9A-Fa-f]{4}_)")


def write_workbook(sheets: Mapping[str, Rows]) -> bytes:
    """Sheets of numbers, dates and texts, always as the same bytes. A text stays one, whatever it begins with."""
    from openpyxl import Workbook  # loaded where there is a workbook to write
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.writer.excel import ExcelWriter

    book = Workbook(write_only=True)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append([_cell(WriteOnlyCell(sheet), value) for value in row])
    book.properties.created = book.properties.modified = dt.datetime(*NO_TIME)  # noqa: DTZ001 — as the library writes it
    content, timeless = io.BytesIO(), io.BytesIO()
    ExcelWriter(book, zipfile.ZipFile(content, "w")).save()
    with zipfile.ZipFile(content) as parts, zipfile.ZipFile(timeless, "w") as archive:
        for name in parts.namelist():
            archive.writestr(zipfile.ZipInfo(name, NO_TIME), parts.read(name), zipfile.ZIP_DEFLATED)
    return timeless.getvalue()


def _cell(cell: Any, value: Any) -> Any:
    match value:
        case float():
            # the library writes 16 digits, of which some numbers need 17
            cell.value, cell.data_type = repr(value), "n"
        case dt.date() if value >= FIRST_DAY:
            cell.value = value
        case str() | dt.date():
            # as text it is shown whatever it begins with, and stays so when somebody goes through the cell
            cell.value, cell.data_type = _escaped(str(value)), "s"
            cell.quotePrefix = str(value).startswith(BEGINNINGS)
        case _:
            cell.value = value
    return cell


def temperature_rows(days: Iterable[tuple[dt.date, float | None, float | None]]) -> Rows:
    """A day a row. [°C]"""
    return [("date", "tmin_c", "tmax_c"), *days]


def bloom_log_rows(log: Sequence[BloomLogRow]) -> Rows:
    """A season and block a row; a stage a row where stages of one season were looked for at different steps."""
    places = [(row.season, row.block, row.cultivar) for row in log]
    if len(set(places)) < len(places):
        long = [
            (*_season_and_place(row), stage, day, row.checked_every_days)
            for row in log
            for stage, day in row.dates.items()
        ]
        return [("season", "block", "cultivar", "stage", "date", "checked_every_days"), *long]
    stages = [stage for stage in STAGE_KEYS if any(stage in row.dates for row in log)] or STAGE_KEYS
    wide = [
        (*_season_and_place(row), *(row.dates.get(stage) for stage in stages), row.checked_every_days)
        for row in log
    ]
    return [("season", "block", "cultivar", *stages, "checked_every_days"), *wide]


def visit_rows(visits: Iterable[Visit]) -> Rows:
    """A visit a row. [%]"""
    told = [
        (each.date, *_place(each), each.percent_open, each.bbch, each.observer, each.note) for each in visits
    ]
    return [("date", "block", "cultivar", "percent_open", "bbch", "observer", "note"), *told]


def planting_rows(blocks: Iterable[Block], cultivars: Mapping[str, Cultivar]) -> Rows:
    """A block a row, its cultivar's traits beside it. [m]"""
    header = (
        *("block", "cultivar", "flower_type", "x_m", "y_m", "x2_m", "y2_m", "vines", "neighbours"),
        *(
            "viable_pollen",
            "berry_mass_g",
            "species",
            "receptive_days",
            "pollen_days",
            "blooms_like",
            "days_later",
        ),
    )
    told: Rows = []
    for block in blocks:
        cultivar = cultivars[block.cultivar]
        told.append(
            (
                *(block.key, _name(cultivar), cultivar.flower_type.value),
                *(block.x_m, block.y_m, block.x2_m, block.y2_m),
                *(block.vines, ";".join(block.neighbours or ()) or None),
                *("yes" if cultivar.viable_pollen else "no", cultivar.berry_mass_g, cultivar.species),
                *(cultivar.receptive_days, cultivar.pollen_days, cultivar.blooms_like, cultivar.days_later),
            )
        )
    return [header, *told]


def _season_and_place(row: BloomLogRow) -> tuple[int, str | None, str | None]:
    return row.season, *_place(row)


def _place(seen: BloomLogRow | Visit) -> tuple[str | None, str | None]:
    """Block and cultivar as a row names them: a block tells its cultivar."""
    return seen.block, None if seen.block is not None else seen.cultivar


def _name(cultivar: Cultivar) -> str:
    """The name where its key can be made of it again, else the key."""
    return cultivar.name if slug(cultivar.name or cultivar.key) == cultivar.key else cultivar.key


def _escaped(text: str) -> str:
    return _TO_ESCAPE.sub(lambda found: f"_x{ord(found[0]):04X}_", text)
