"""A vineyard made from a grower's files, all of it or nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

from models.errors import BadInput, Problem
from models.records import Planting
from service.ingest.any_planting import GridSpacing, read_any_planting
from service.ingest.bloom_log import ReadBloomLog
from service.ingest.names import slug
from service.ingest.options import FileName, ReadOptions
from service.ingest.planting import ReadPlanting
from service.ingest.temperature_headers import TemperatureUnit
from service.ingest.temperatures import ReadTemperatures, read_temperatures
from service.ingest.visits import ReadVisits
from service.store.records import Station, Vineyard
from service.store.repositories import Repositories
from service.usecases.observations import (
    Ground,
    read_log_on,
    read_visits_on,
    store_bloom_log,
    store_visits_file,
)
from service.usecases.plantings import store_planting
from service.usecases.report import ReportFiles
from service.usecases.temperatures import check_plausible, store_observed

Read = TypeVar("Read")

AFTER_PLANTING = "it is checked once the planting can be read"


@dataclass(frozen=True)
class NewVineyard:
    """What is told of a vineyard beside its files; its station stands at the same place. [degree, m]"""

    name: str
    latitude: float
    longitude: float
    reach_m: float = Planting.reach_m
    timezone: str | None = None


@dataclass(frozen=True)
class MadeVineyard:
    """Its key, and what was noticed in the files."""

    key: str
    warnings: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class FilesRead:
    """What was read of a new vineyard's files, and all faults; None where one has any."""

    temperatures: ReadTemperatures | None
    planting: ReadPlanting | None
    bloom_log: ReadBloomLog | None
    visits: ReadVisits | None
    problems: tuple[Problem, ...]


def read_files(
    new: NewVineyard,
    files: ReportFiles,
    *,
    unit: TemperatureUnit | None,
    spacing: GridSpacing | None,
    options: Mapping[FileName, ReadOptions],
) -> FilesRead:
    """Read all files of a new vineyard, before anything is stored.

    ``options`` are those of each file, by its name in `ReportFiles`. Each fault's ``where`` begins with the name of
    its file; those of observations are told only if the planting can be read, as they name its blocks.
    """
    problems: list[Problem] = []
    temperatures = _read(
        "temperatures",
        lambda: _plausible_temperatures(files.temperatures, unit, new.latitude, options["temperatures"]),
        problems,
    )
    planting = _read(
        "planting", lambda: read_any_planting(files.planting, spacing=spacing, cultivars={}), problems
    )
    data_log, data_visits = files.bloom_log, files.visits
    if data_log is None and data_visits is None:
        problems.append(Problem("bloom_log", "a bloom log or visits are needed"))
    log = visits = None
    if planting is None:
        given = [name for name in ("bloom_log", "visits") if getattr(files, name) is not None]
        problems += [Problem(name, AFTER_PLANTING) for name in given]
    else:
        ground = _ground(new, planting)
        if data_log is not None:
            log = _read("bloom_log", lambda: read_log_on(ground, data_log, options["bloom_log"]), problems)
        if data_visits is not None:
            visits = _read("visits", lambda: read_visits_on(ground, data_visits, options["visits"]), problems)
    return FilesRead(temperatures, planting, log, visits, tuple(problems))


def make_vineyard(
    records: Repositories,
    new: NewVineyard,
    files: ReportFiles,
    read: FilesRead,
    *,
    options: Mapping[FileName, ReadOptions],
) -> MadeVineyard:
    """Make a vineyard and its station, and store all files. To be rolled back on an error.

    Raises
    ------
    BadInput
        With the faults of all files, and of the name, at once.
    """
    problems: list[Problem] = []
    key = _free_key(records, new.name, problems)
    problems += read.problems
    temperatures, planting = read.temperatures, read.planting
    if problems or key is None or temperatures is None or planting is None:
        raise BadInput("nothing was stored", problems)

    records.stations.put(Station(key, new.name, new.latitude, new.longitude))
    records.vineyards.put(Vineyard(key, new.name, key, new.reach_m, timezone=new.timezone))
    store_observed(records, key, temperatures, confirm=options["temperatures"].confirm)
    planted = store_planting(records, key, planting)
    warnings = [f"temperatures: {warning}" for warning in temperatures.warnings]
    warnings += [f"planting: {warning}" for warning in (*planting.warnings, *planted.changes)]
    ground = replace(_ground(new, planting), vineyard=key)
    if files.bloom_log is not None and read.bloom_log is not None:
        seen = store_bloom_log(
            records, key, files.bloom_log, options=options["bloom_log"], ahead=(ground, read.bloom_log)
        )
        warnings += [f"bloom log: {warning}" for warning in seen.warnings]
    if files.visits is not None and read.visits is not None:
        seen = store_visits_file(
            records, key, files.visits, options=options["visits"], ahead=(ground, read.visits)
        )
        warnings += [f"visits: {warning}" for warning in seen.warnings]
    records.journal.say("new_vineyard", vineyard=key)
    return MadeVineyard(key, tuple(warnings))


def _ground(new: NewVineyard, planting: ReadPlanting) -> Ground:
    return Ground(new.name, {block.key: block.cultivar for block in planting.blocks}, new.latitude)


def _plausible_temperatures(
    data: bytes, unit: TemperatureUnit | None, latitude: float, options: ReadOptions
) -> ReadTemperatures:
    read = read_temperatures(data, unit=unit, options=options)
    check_plausible(read, None, latitude=latitude, confirm=options.confirm)
    return read


def _free_key(records: Repositories, name: str, problems: list[Problem]) -> str | None:
    try:
        key = slug(name)
    except BadInput as error:
        problems.append(Problem("name", error.message))
        return None
    taken = {each.key for each in records.vineyards.all()} | {each.key for each in records.stations.all()}
    if key in taken:
        problems.append(Problem("name", f"{key!r} is taken already; choose another name"))
        return None
    return key


def _read(name: str, read: Callable[[], Read], problems: list[Problem]) -> Read | None:
    """What a file holds; None if it has faults, which are added to the problems."""
    try:
        return read()
    except BadInput as error:
        faults = [Problem(f"{name}: {fault.where}", fault.problem) for fault in error.problems]
        problems += faults or [Problem(name, error.message)]
        return None
