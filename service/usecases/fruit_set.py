"""Set in a vineyard: what was counted, beside what was published, and beside cover."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.bloom.forecast import forecast
from models.bloom.site import Site
from models.bloom.thresholds import Fit
from models.errors import CapfallError, NotEnoughData
from models.heat.season import season_of, season_window
from models.records import FlowerType, Planting, SetCount
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from models.vineyard.flower_days import POLLEN_DAYS, RECEPTIVE_DAYS
from models.vineyard.fruit_set import ClusterSet, LeftOut, SetShare, clusters_counted, set_share
from models.vineyard.reach import cultivar_of, pollen_makers_in_reach, sheds_viable_pollen
from models.vineyard.set_on_cover import LEAST_SEASONS, BlockSet, SetOnCover, set_on_cover
from service.ingest.options import AS_THEY_ARE, ReadOptions
from service.ingest.set_counts import check_set_count, read_set_counts
from service.store.repositories import Repositories
from service.usecases.counts import counts_taken
from service.usecases.fit_in_use import fit_for
from service.usecases.observations import StoredObservations
from service.usecases.vineyard_records import VineyardRecords, load_vineyard, no_station

DRAWS = 100


@dataclass(frozen=True)
class BlockSeasonSet:
    """Set of a block in a season; ``cover`` is the expected share of its bloom that got pollen, where known."""

    season: int
    block: str
    cultivar: str
    pistillate: bool
    set: SetShare
    cover: float | None


@dataclass(frozen=True)
class VineyardSet:
    """Set of a vineyard, what was left out, and whether cover explains it; the days that cover rests on. [day]"""

    seasons: tuple[BlockSeasonSet, ...]
    left_out: tuple[LeftOut, ...]
    claim: SetOnCover
    receptive_days: int
    pollen_days: int


def store_set_counts_file(
    records: Repositories, vineyard: str, data: bytes, *, options: ReadOptions = AS_THEY_ARE
) -> StoredObservations:
    """Read and store counts. Raises NotFound (vineyard), BadInput (the file cannot be read)."""
    read = read_set_counts(data, blocks=records.blocks.known(vineyard), options=options)
    counts = records.set_counts.add(vineyard, read.counts)
    return StoredObservations(read.rows_read, counts, read.bad_rows, read.warnings)


def store_set_counts(
    records: Repositories, vineyard: str, counts: Sequence[SetCount], *, options: ReadOptions = AS_THEY_ARE
) -> StoredObservations:
    """Store counts.

    Raises
    ------
    NotFound
        If there is no such vineyard.
    BadInput
        If a count's block is unknown, it cannot have been made, or two of one day and cluster differ.
    """
    taken = counts_taken(
        counts,
        blocks=records.blocks.known(vineyard),
        check=check_set_count,
        options=options,
        of=lambda count: count.cluster,
        what="cluster",
    )
    return StoredObservations(len(counts), records.set_counts.add(vineyard, taken))


def vineyard_set(
    records: Repositories,
    vineyard: str,
    *,
    interval: float = 0.9,
    before: int | None = None,
    find_days: bool = True,
) -> VineyardSet:
    """Set of every block and season that was counted, beside the cover that the fit in use makes of it.

    ``before``: of seasons before this one alone. ``find_days``: as of `set_on_cover`.

    Raises
    ------
    NotFound
        If there is no such vineyard.
    BadInput
        If it has no station, so that its hemisphere is not known.
    """
    known = records.vineyards.get(vineyard)
    if known.station is None:
        raise no_station(vineyard)
    latitude = records.stations.get(known.station).latitude
    clusters, left_out = clusters_counted([each.count for each in records.set_counts.all(vineyard)], latitude)
    planting = records.blocks.planting(vineyard)
    kinds = {each.key: each for each in records.cultivars.all()}
    cultivar_at = records.blocks.known(vineyard)
    receptive = RECEPTIVE_DAYS if known.receptive_days is None else round(known.receptive_days)
    pollen = POLLEN_DAYS if known.pollen_days is None else round(known.pollen_days)
    of: dict[tuple[int, str], list[ClusterSet]] = {}
    for each in clusters:
        if before is not None and each.season >= before:
            continue
        of.setdefault((each.season, each.block), []).append(each)
    blooms = _blooms(records, vineyard, planting, {season for season, _ in of})
    told, seen = [], []
    for (season, block), counted in sorted(of.items()):
        cultivar = cultivar_at[block]
        share = set_share(counted, interval=interval)
        needs_pollen = kinds[cultivar].flower_type is FlowerType.PISTILLATE
        own = None
        if needs_pollen and (season, block) in blooms:
            bloom, sources = blooms[season, block]
            own = BlockSet(season, block, cultivar, share.flowers, share.berries, bloom, sources)
            seen.append(own)
        cover = None if own is None else own.cover(receptive, pollen)
        told.append(BlockSeasonSet(season, block, cultivar, needs_pollen, share, cover))
    claim = set_on_cover(
        seen, receptive_days=receptive, pollen_days=pollen, interval=interval, find_days=find_days
    )
    return VineyardSet(tuple(told), left_out, claim, receptive, pollen)


def set_so_far(records: Repositories, vineyard: str, season: int) -> SetOnCover | None:
    """What set of the seasons before one says of cover; None where nobody counted, or nothing can be said."""
    station = records.vineyards.get(vineyard).station
    counts = records.set_counts.all(vineyard)
    if station is None or not counts:
        return None
    latitude = records.stations.get(station).latitude
    counted = {season_of(each.count.date, latitude) for each in counts if each.count.berries is not None}
    if len({each for each in counted if each < season}) < LEAST_SEASONS:
        return None  # cheaply known
    claim = vineyard_set(records, vineyard, before=season, find_days=False).claim
    return None if claim.effect is None else claim


Bloom = tuple[FloatArray, tuple[FloatArray, ...]]


def _blooms(
    records: Repositories, vineyard: str, planting: Planting, seasons: set[int]
) -> dict[tuple[int, str], Bloom]:
    """Bloom of each standing block and of the sources in its reach, in these seasons, where a fit knows them."""
    if not seasons or records.fits_in_use.get(vineyard) is None:
        return {}
    fit = fit_for(records, vineyard, None).fit
    try:
        site = load_vineyard(records, vineyard).site
    except NotEnoughData:
        return {}
    if fit.lacking:
        return {}
    return {
        (season, block): bloom
        for season in sorted(seasons)
        for block, bloom in _season_blooms(fit, site, planting, season).items()
    }


def cover_of_season(fit: Fit, vineyard: VineyardRecords, season: int) -> float | None:
    """Mean cover of the pistillate blocks in a season, as known after it; None where none is known."""
    planting = vineyard.planting
    if fit.lacking:
        return None
    blooms = _season_blooms(fit, vineyard.site, planting, season)
    receptive = RECEPTIVE_DAYS if vineyard.receptive_days is None else vineyard.receptive_days
    pollen = POLLEN_DAYS if vineyard.pollen_days is None else vineyard.pollen_days
    covers = [
        BlockSet(season, block.key, block.cultivar, 0, 0, *blooms[block.key]).cover(receptive, pollen)
        for block in planting.blocks
        if block.key in blooms and cultivar_of(planting, block).flower_type is FlowerType.PISTILLATE
    ]
    return float(np.mean(covers)) if covers else None


def _season_blooms(fit: Fit, site: Site, planting: Planting, season: int) -> dict[str, Bloom]:
    """Bloom of each block in a season, and of the sources in its reach, in the same draws."""
    days = _season_days(fit, site, planting, season)
    found: dict[str, Bloom] = {}
    for block in planting.blocks:
        own = days.get(block.key)
        if own is None:
            continue
        sources = [
            days[other.key]
            for other in pollen_makers_in_reach(planting, block)
            if other.key in days and sheds_viable_pollen(cultivar_of(planting, other))
        ]
        complete = np.isfinite(own).all(axis=-1)
        if complete.any():
            found[block.key] = own[complete], tuple(source[complete] for source in sources)
    return found


def _season_days(fit: Fit, site: Site, planting: Planting, season: int) -> dict[str, FloatArray]:
    """Days of the bloom stages of each block, shape (draw, 3), as known after the season. [day]"""
    window = season_window(season, site.latitude, fit.rule.accumulate_from)
    last = window.end - dt.timedelta(days=1)
    newest: dt.date = site.temperatures.dates[-1].item() + dt.timedelta(days=1)
    as_of = min(last, newest)
    frosted = {each.block for each in site.frosted if each.season == season}
    blocks = [block for block in planting.blocks if block.key not in frosted]
    try:
        made = forecast(
            fit,
            site.known_on(as_of),
            blocks,
            as_of=as_of,
            season=season,
            history=site.temperatures,
            draws=DRAWS,
        )
    except CapfallError:
        return {}
    day = made.draws["day"].sel(stage=list(BLOOM_STAGES)).transpose("block", "draw", "stage")
    return {
        key: bloom
        for key, bloom in zip(day["block"].values.tolist(), day.values, strict=True)
        if np.isfinite(bloom[:, 0]).any()
    }
