"""Files that bring a vineyard up to date: all of them in one change, or the faults of all of them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from models.bloom.cautions import DateCaution
from models.errors import BadInput, Problem, Remedy
from service.ingest.any_planting import GridSpacing
from service.ingest.options import FileName, ReadOptions
from service.ingest.table import Content
from service.ingest.temperature_headers import TemperatureUnit
from service.ingest.temperatures import read_temperatures
from service.store.records import Counts
from service.store.repositories import Repositories
from service.usecases.new_vineyard import AFTER_PLANTING
from service.usecases.observations import store_bloom_log, store_visits_file
from service.usecases.plantings import read_planting_of, store_planting
from service.usecases.temperatures import store_observed, store_outlook

ORDER: tuple[FileName, ...] = ("planting", "temperatures", "outlook", "bloom_log", "visits")
"""A log names the blocks of the planting beside it, so that is taken first."""


@dataclass(frozen=True)
class AddedFile:
    """What became of one file's rows, and what was noticed; ``removed`` are blocks that leave the planting."""

    name: FileName
    counts: Counts
    warnings: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    doubts: tuple[DateCaution, ...] = ()


def add_files(
    records: Repositories,
    vineyard: str,
    files: Mapping[FileName, Content],
    *,
    unit: TemperatureUnit | None,
    spacing: GridSpacing | None,
    issued_on: dt.date | None,
    options: Mapping[FileName, ReadOptions],
) -> tuple[AddedFile, ...]:
    """Store files. To be rolled back on an error.

    Raises
    ------
    NotFound
        If there is no such vineyard.
    BadInput
        With the faults of all files at once, each ``where`` beginning with the name of its file. Observations wait for
        a planting that can be read, as they name its blocks.
    """
    station = records.vineyards.get(vineyard).station
    added: list[AddedFile] = []
    problems: list[Problem] = []

    def planting(data: Content) -> AddedFile:
        read = read_planting_of(records, vineyard, data, spacing=spacing, on_bad_rows="reject")
        stored = store_planting(records, vineyard, read)
        warnings = (*read.warnings, *stored.changes)
        return AddedFile("planting", stored.blocks, warnings, stored.removed_blocks)

    def temperatures(data: Content) -> AddedFile:
        told = options["temperatures"]
        read = read_temperatures(data, unit=unit, options=told)
        stored = store_observed(records, _known(station), read, confirm=told.confirm)
        return AddedFile("temperatures", stored.counts, (*read.warnings, *stored.warnings))

    def outlook(data: Content) -> AddedFile:
        if issued_on is None:
            raise BadInput("an outlook has a day of issue", [Problem("issued_on", "say when it was issued")])
        read = read_temperatures(data, unit=unit, options=options["outlook"])
        stored = store_outlook(
            records, _known(station), read, issued_on=issued_on, options=options["outlook"]
        )
        return AddedFile("outlook", stored.counts, (*read.warnings, *stored.warnings))

    def bloom_log(data: Content) -> AddedFile:
        stored = store_bloom_log(records, vineyard, data, options=options["bloom_log"])
        return AddedFile("bloom_log", stored.counts, stored.warnings, doubts=stored.doubts)

    def visits(data: Content) -> AddedFile:
        stored = store_visits_file(records, vineyard, data, options=options["visits"])
        return AddedFile("visits", stored.counts, stored.warnings, doubts=stored.doubts)

    adding: dict[FileName, Callable[[Content], AddedFile]] = {
        "planting": planting,
        "temperatures": temperatures,
        "outlook": outlook,
        "bloom_log": bloom_log,
        "visits": visits,
    }
    for name in (name for name in ORDER if name in files):
        if name in ("bloom_log", "visits") and any(each.where.startswith("planting") for each in problems):
            problems.append(Problem(name, AFTER_PLANTING))
            continue
        try:
            added.append(adding[name](files[name]))
        except BadInput as error:
            faults = [Problem(f"{name}: {fault.where}", fault.problem) for fault in error.problems]
            problems += faults or [Problem(name, error.message)]
    if problems:
        raise BadInput("nothing was stored", problems)
    return tuple(added)


def _known(station: str | None) -> str:
    if station is None:
        problem = "the vineyard has no station that they could stand at"
        raise BadInput(problem, [Problem("station", problem)], remedy=Remedy.ADD_STATION)
    return station
