"""A station with its temperatures from a file, in one transaction; a folder of them is such files, one by one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace

from models.errors import BadInput, Problem
from service.ingest.options import ReadOptions
from service.ingest.station_places import StationPlace
from service.ingest.temperature_headers import TemperatureUnit
from service.ingest.temperatures import ReadTemperatures, read_temperatures
from service.store.engine import Store
from service.store.errors import NotFound
from service.store.records import Counts, Station
from service.store.repositories import Repositories
from service.usecases.temperatures import put_station, store_observed

LIST = "stations.csv"


@dataclass(frozen=True)
class ImportedStation:
    """What a file held, and what became of its days; ``new``: the station was not there before."""

    key: str
    new: bool
    read: ReadTemperatures
    counts: Counts
    warnings: tuple[str, ...]


def import_station(
    store: Store,
    grower: str,
    key: str,
    data: bytes,
    places: Mapping[str, StationPlace],
    *,
    unit: TemperatureUnit | None,
    options: ReadOptions,
) -> ImportedStation:
    """Put a station where the list says, and store a file of its measured days: both or nothing.

    What is stored already is unchanged, so a file may come again. A station that the list lacks keeps its place.

    Raises
    ------
    BadInput
        If the file cannot be taken, or nobody says where a new station stands.
    Unavailable
        If the database does not answer.
    """
    read = read_temperatures(data, unit=unit, options=options)  # no transaction waits for a long file
    with store.transaction(grower) as records:
        new = _place(records, key, places.get(key), options)
        stored = store_observed(records, key, read, confirm=options.confirm)
    return ImportedStation(key, new, read, stored.counts, (*read.warnings, *stored.warnings))


def _place(records: Repositories, key: str, place: StationPlace | None, options: ReadOptions) -> bool:
    try:
        held = records.stations.get(key)
    except NotFound:
        held = None
    if place is not None:
        station = Station(**asdict(place))
        if held is not None:
            station = replace(station, changed_on=held.changed_on)
        return put_station(records, station, confirm=options.confirm)
    if held is None:
        problem = f"there is no station {key!r} yet, and {LIST} does not say where it stands"
        raise BadInput(problem, [Problem(LIST, problem)])
    return False
