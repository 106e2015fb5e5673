"""Crop in a vineyard: clusters a cane, as counted."""

from __future__ import annotations

from collections.abc import Sequence

from models.records import CropCount
from models.vineyard.crop import CaneClusters, clusters_a_cane
from service.ingest.crop_counts import check_crop_count, read_crop_counts
from service.ingest.options import AS_THEY_ARE, ReadOptions
from service.store.repositories import Repositories
from service.usecases.counts import counts_taken
from service.usecases.observations import StoredObservations
from service.usecases.vineyard_records import no_station


def store_crop_counts_file(
    records: Repositories, vineyard: str, data: bytes, *, options: ReadOptions = AS_THEY_ARE
) -> StoredObservations:
    """Read and store counts. Raises NotFound (vineyard), BadInput (the file cannot be read)."""
    read = read_crop_counts(data, blocks=records.blocks.known(vineyard), options=options)
    counts = records.crop_counts.add(vineyard, read.counts)
    return StoredObservations(read.rows_read, counts, read.bad_rows, read.warnings)


def store_crop_counts(
    records: Repositories, vineyard: str, counts: Sequence[CropCount], *, options: ReadOptions = AS_THEY_ARE
) -> StoredObservations:
    """Store counts.

    Raises
    ------
    NotFound
        If there is no such vineyard.
    BadInput
        If a count's block is unknown, it cannot have been made, or two of one day and cane differ.
    """
    taken = counts_taken(
        counts,
        blocks=records.blocks.known(vineyard),
        check=check_crop_count,
        options=options,
        of=lambda count: count.cane,
        what="cane",
    )
    return StoredObservations(len(counts), records.crop_counts.add(vineyard, taken))


def vineyard_crop(records: Repositories, vineyard: str, *, interval: float = 0.9) -> tuple[CaneClusters, ...]:
    """Clusters a cane of every block and season that was counted.

    Raises
    ------
    NotFound
        If there is no such vineyard.
    BadInput
        If it has no station, so that its hemisphere is not known.
    """
    station = records.vineyards.get(vineyard).station
    if station is None:
        raise no_station(vineyard)
    counts = [each.count for each in records.crop_counts.all(vineyard)]
    return clusters_a_cane(counts, records.stations.get(station).latitude, interval=interval)
