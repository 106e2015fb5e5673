"""A vineyard made from a grower's files, all of it or nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from models.errors import BadInput, Problem
from models.records import Planting
from service.ingest.bloom_log import read_bloom_log
from service.ingest.names import slug
from service.ingest.options import ReadOptions
from service.ingest.planting import ReadPlanting, read_planting
from service.ingest.temperature_headers import TemperatureUnit
from service.ingest.temperatures import ReadTemperatures, read_temperatures
from service.ingest.visits import read_visits
from service.store.records import Station, Vineyard
from service.store.repositories import Repositories
from service.usecases.observations import store_bloom_log, store_visits_file
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


def make_vineyard(
    records: Repositories,
    new: NewVineyard,
    files: ReportFiles,
    *,
    unit: TemperatureUnit | None,
    options: Mapping[str, ReadOptions],
) -> MadeVineyard:
    """Make a vineyard and its station, and store all files. To be rolled back on an error.

    ``options`` are those of each file, by its name in `ReportFiles`.

    Raises
    ------
    BadInput
        With the faults of all files at once, each ``where`` beginning with the name of its file; the faults of
        observations are told only if the planting can be read, as they name its blocks.
    """
    problems: list[Problem] = []
    key = _free_key(records, new.name, problems)
    temperatures = _read(
        "temperatures",
        lambda: _plausible_temperatures(files.temperatures, unit, new.latitude, options["temperatures"]),
        problems,
    )
    planting = _read("planting", lambda: read_planting(files.planting), problems)
    problems += _faults_of_observations(files, planting, new.latitude, options)
    if problems or key is None or temperatures is None or planting is None:
        raise BadInput("nothing was stored", problems)

    records.stations.put(Station(key, new.name, new.latitude, new.longitude))
    records.vineyards.put(Vineyard(key, new.name, key, new.reach_m, timezone=new.timezone))
    store_observed(records, key, temperatures, confirm=options["temperatures"].confirm)
    planted = store_planting(records, key, planting)
    warnings = [f"temperatures: {warning}" for warning in temperatures.warnings]
    warnings += [f"planting: {warning}" for warning in (*planting.warnings, *planted.changes)]
    for name, data, store in (
        ("bloom_log", files.bloom_log, store_bloom_log),
        ("visits", files.visits, store_visits_file),
    ):
        if data is not None:
            seen = store(records, key, data, options=options[name])
            warnings += [f"{name.replace('_', ' ')}: {warning}" for warning in seen.warnings]
    records.journal.say("new_vineyard", vineyard=key)
    return MadeVineyard(key, tuple(warnings))


def _plausible_temperatures(
    data: bytes, unit: TemperatureUnit | None, latitude: float, options: ReadOptions
) -> ReadTemperatures:
    read = read_temperatures(data, unit=unit, options=options)
    check_plausible(read, None, latitude=latitude, confirm=options.confirm)
    return read


def _faults_of_observations(
    files: ReportFiles, planting: ReadPlanting | None, latitude: float, options: Mapping[str, ReadOptions]
) -> list[Problem]:
    given = [name for name in ("bloom_log", "visits") if getattr(files, name) is not None]
    if not given:
        return [Problem("bloom_log", "a bloom log or visits are needed")]
    if planting is None:
        return [Problem(name, AFTER_PLANTING) for name in given]
    problems: list[Problem] = []
    blocks = {block.key: block.cultivar for block in planting.blocks}
    log, visits = files.bloom_log, files.visits
    if log is not None:
        _read(
            "bloom_log",
            lambda: read_bloom_log(log, blocks=blocks, latitude=latitude, options=options["bloom_log"]),
            problems,
        )
    if visits is not None:
        _read(
            "visits",
            lambda: read_visits(visits, blocks=blocks, latitude=latitude, options=options["visits"]),
            problems,
        )
    return problems


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
