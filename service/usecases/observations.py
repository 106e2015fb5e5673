"""What was seen in a vineyard: bloom logs of past seasons, and visits."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from models.bloom.cautions import DateCaution, LogAgainstVisits
from models.errors import BadInput, Problem
from models.heat.season import season_of
from models.records import Visit
from service.ingest.bloom_log import ReadBloomLog, read_bloom_log
from service.ingest.odd_bloom import Seen, bloom_seen, odd_bloom
from service.ingest.options import AS_THEY_ARE, ReadOptions
from service.ingest.places import find_place
from service.ingest.report import BadRow
from service.ingest.table import Content
from service.ingest.visits import ReadVisits, check_visit, fractions, read_visits
from service.store.records import Counts
from service.store.repositories import Repositories
from service.usecases.doubts import at_odds, far_off_visits
from service.usecases.vineyard_records import no_station


@dataclass(frozen=True)
class StoredObservations:
    """How many rows were read, what became of them, and what was noticed; ``doubts`` as a forecast has them."""

    rows_read: int
    counts: Counts
    bad_rows: tuple[BadRow, ...] = ()
    warnings: tuple[str, ...] = ()
    doubts: tuple[DateCaution, ...] = ()


@dataclass(frozen=True)
class Ground:
    """What a file of observations is read against: the vineyard, its blocks' cultivars and its latitude. [degree]"""

    vineyard: str
    blocks: Mapping[str, str]
    latitude: float | None


def ground_of(records: Repositories, vineyard: str) -> Ground:
    """For files of a vineyard. Raises NotFound (vineyard)."""
    station = records.vineyards.get(vineyard).station
    latitude = None if station is None else records.stations.get(station).latitude
    return Ground(vineyard, records.blocks.known(vineyard), latitude)


def read_log_on(ground: Ground, data: Content, options: ReadOptions) -> ReadBloomLog:
    """Read a bloom log.

    Raises
    ------
    BadInput
        If the vineyard has no station, so that its hemisphere is not known, or the file cannot be read.
    """
    if ground.latitude is None:
        raise no_station(ground.vineyard)
    return read_bloom_log(data, blocks=ground.blocks, latitude=ground.latitude, options=options)


def read_visits_on(ground: Ground, data: Content, options: ReadOptions) -> ReadVisits:
    """Read visits. Raises BadInput (the file cannot be read)."""
    return read_visits(data, blocks=ground.blocks, latitude=ground.latitude, options=options)


def store_bloom_log(
    records: Repositories,
    vineyard: str,
    data: Content,
    *,
    options: ReadOptions = AS_THEY_ARE,
    ahead: tuple[Ground, ReadBloomLog] | None = None,
) -> StoredObservations:
    """Read and store a bloom log; what was read ``ahead`` is taken if it still stands on the same ground.

    Reading a long file takes seconds, in which a transaction that writes would keep others waiting.

    Raises
    ------
    NotFound
        If there is no such vineyard.
    BadInput
        As `read_log_on` does.
    """
    ground = ground_of(records, vineyard)
    read = ahead[1] if ahead is not None and ahead[0] == ground else read_log_on(ground, data, options)
    odd = _odd_bloom(records, vineyard, bloom_seen(read.rows, ()))
    counts = records.bloom_log.add(vineyard, read.rows)
    places = {(row.season, row.cultivar, row.block) for row in read.rows}
    doubts = [
        each
        for each in at_odds(records, vineyard, places, ground.latitude)
        if isinstance(each, LogAgainstVisits)
    ]
    return StoredObservations(read.rows_read, counts, read.bad_rows, (*read.warnings, *odd), tuple(doubts))


def store_visits_file(
    records: Repositories,
    vineyard: str,
    data: Content,
    *,
    options: ReadOptions = AS_THEY_ARE,
    ahead: tuple[Ground, ReadVisits] | None = None,
) -> StoredObservations:
    """Read and store visits, or what was read ``ahead``, as `store_bloom_log` does.

    Raises NotFound (vineyard), BadInput (the file cannot be read).
    """
    ground = ground_of(records, vineyard)
    read = ahead[1] if ahead is not None and ahead[0] == ground else read_visits_on(ground, data, options)
    odd = _odd_bloom(records, vineyard, bloom_seen((), read.visits))
    far_off = far_off_visits(records, vineyard, read.visits)
    counts = records.visits.add(vineyard, read.visits)
    doubts = (*far_off, *_at_odds(records, ground, read.visits))
    return StoredObservations(read.rows_read, counts, read.bad_rows, (*read.warnings, *odd), doubts)


def store_visits(
    records: Repositories,
    vineyard: str,
    visits: Sequence[Visit],
    *,
    options: ReadOptions = AS_THEY_ARE,
) -> StoredObservations:
    """Store visits; their cultivar may be blank where they name a block.

    Raises
    ------
    NotFound
        If there is no such vineyard.
    BadInput
        If a visit's block or cultivar is unknown, its day to come or long ago, its code at odds with its percentage,
        or two visits of one day, place and observer differ.
    """
    blocks = records.blocks.known(vineyard)
    placed: list[Visit] = []
    problems: list[Problem] = []
    seen: dict[tuple[object, ...], Visit] = {}
    for position, visit in enumerate(visits):
        try:
            block, cultivar = find_place(visit.block or "", visit.cultivar, blocks=blocks)
            check_visit(visit, options)
        except BadInput as error:
            problems.append(Problem(f"body.{position}", error.message))
            continue
        full = replace(visit, block=block, cultivar=cultivar)
        same = seen.setdefault((full.date, block, cultivar, full.observer), full)
        if same is full:
            placed.append(full)
        elif same != full:
            problems.append(
                Problem(f"body.{position}", "another visit of that day, place and observer differs")
            )
    if problems:
        raise BadInput(f"{len(problems)} of {len(visits)} visits cannot be taken", problems)
    warnings = (*fractions(placed), *_odd_bloom(records, vineyard, bloom_seen((), placed)))
    far_off = far_off_visits(records, vineyard, placed)
    counts = records.visits.add(vineyard, placed)
    doubts = (*far_off, *_at_odds(records, ground_of(records, vineyard), placed))
    return StoredObservations(len(visits), counts, warnings=warnings, doubts=doubts)


def change_visit(
    records: Repositories,
    vineyard: str,
    id: str,
    visit: Visit,
    *,
    options: ReadOptions = AS_THEY_ARE,
) -> Visit:
    """Put another visit in the place of one; its cultivar may be blank where it names a block.

    Raises
    ------
    NotFound
        If there is no such vineyard or visit.
    BadInput
        If the block or cultivar is unknown, or the visit cannot have been made, as in `store_visits`.
    AlreadyThere
        If another visit of that day, place and observer is stored.
    """
    block, cultivar = find_place(visit.block or "", visit.cultivar, blocks=records.blocks.known(vineyard))
    placed = replace(visit, block=block, cultivar=cultivar)
    check_visit(placed, options)
    records.visits.replace(vineyard, id, placed)
    return placed


def _at_odds(records: Repositories, ground: Ground, visits: Sequence[Visit]) -> Iterator[DateCaution]:
    if ground.latitude is not None:
        places = {(season_of(each.date, ground.latitude), each.cultivar, each.block) for each in visits}
        yield from at_odds(records, ground.vineyard, places, ground.latitude)


def _odd_bloom(records: Repositories, vineyard: str, seen: Sequence[Seen]) -> list[str]:
    """What is said of days of bloom that are far from all others of the vineyard."""
    station = records.vineyards.get(vineyard).station
    if station is None or not seen:
        return []
    known = bloom_seen(records.bloom_log.rows(vineyard), records.visits.all(vineyard))
    return odd_bloom(seen, known, latitude=records.stations.get(station).latitude)
