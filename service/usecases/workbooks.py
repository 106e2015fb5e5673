"""What uploads take of a vineyard as one workbook, and such a workbook in its parts."""

from __future__ import annotations

from typing import get_args

from models.errors import BadInput, Problem
from service.ingest.options import FileName
from service.ingest.workbook import Sheet, is_workbook, read_sheets
from service.ingest.written_workbook import (
    bloom_log_rows,
    planting_rows,
    temperature_rows,
    visit_rows,
    write_workbook,
)
from service.store.repositories import Repositories


def vineyard_workbook(records: Repositories, vineyard: str) -> bytes:
    """Planting, temperatures of the station, bloom log and visits, a sheet each. Raises NotFound (vineyard)."""
    station = records.vineyards.get(vineyard).station
    days = [] if station is None else records.temperatures.stored(station)
    cultivars = {each.key: each for each in records.cultivars.all()}
    return write_workbook(
        {
            "planting": planting_rows(records.blocks.all(vineyard), cultivars),
            "bloom_log": bloom_log_rows(records.bloom_log.rows(vineyard)),
            "visits": visit_rows(records.visits.all(vineyard)),
            "temperatures": temperature_rows(days),
        }
    )


def sheets_by_name(data: bytes) -> dict[FileName, Sheet]:
    """The sheets of a workbook that are called as files are, but for those that hold a header and nothing else.

    Raises
    ------
    BadInput
        If it is no workbook, or has no such sheet.
    """
    if not is_workbook(data):
        raise BadInput("this is no workbook", [Problem("workbook", "save it as .xlsx")])
    try:
        read = read_sheets(data)
    except BadInput as error:
        problems = [Problem(f"workbook: {each.where}", each.problem) for each in error.problems]
        raise BadInput(error.message, problems) from None
    sheets = {sheet.name.strip().casefold().replace(" ", "_"): sheet for sheet in read}
    names: tuple[FileName, ...] = get_args(FileName)
    found = {name: sheets[name] for name in names if name in sheets and len(sheets[name].rows) > 1}
    if not found:
        problem = f"no sheet with rows is called {', '.join(names[:-1])} or {names[-1]}"
        raise BadInput("the workbook holds none of the tables", [Problem("workbook", problem)])
    return found
