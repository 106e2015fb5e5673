"""A vineyard that cannot be forecast yet: what it lacks, and what can be said of it already."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import median

from models.heat.season import season_of
from models.records import BloomLogRow, FlowerType
from models.stages import BLOOM_STAGES
from models.vineyard.reach import cultivar_of, pollen_makers_in_reach, sheds_viable_pollen
from service.store.records import Place
from service.store.repositories import Repositories

NORTHERN = 45.0  # where no station says it


@dataclass(frozen=True)
class UsualBloom:
    """When a place bloomed in the logged seasons, as days of the running one; from the earliest to the latest."""

    place: Place
    stage: str
    median: dt.date
    first: dt.date
    last: dt.date
    seasons: int


@dataclass(frozen=True, kw_only=True)
class Beginning:
    """What is known of a vineyard.

    ``seasons`` are those of the bloom log, ``past_visits`` count visits of earlier seasons than the running one.
    ``without_source`` are pistillate blocks that no viable pollen reaches, whatever the dates.
    """

    blocks: int
    has_station: bool
    temperatures_from: dt.date | None
    temperatures_through: dt.date | None
    seasons: tuple[int, ...]
    past_visits: int
    visits: int
    has_fit: bool
    usual: tuple[UsualBloom, ...]
    without_source: tuple[str, ...]

    @property
    def can_fit(self) -> bool:
        """Whether there is anything that a fit could be made from."""
        return bool(self.temperatures_through and (self.seasons or self.visits))


def beginning(records: Repositories, vineyard: str, *, as_of: dt.date) -> Beginning:
    """What there is of a vineyard. Raises NotFound (vineyard)."""
    station = records.vineyards.get(vineyard).station
    latitude = NORTHERN if station is None else records.stations.get(station).latitude
    season = season_of(as_of, latitude)
    days = None if station is None else records.temperatures.observed(station)
    rows = records.bloom_log.rows(vineyard)
    visits = records.visits.all(vineyard)
    planting = records.blocks.planting(vineyard)
    return Beginning(
        blocks=len(planting.blocks),
        has_station=station is not None,
        temperatures_from=None if days is None else days.dates[0].item(),
        temperatures_through=None if days is None else days.dates[-1].item(),
        seasons=tuple(sorted({row.season for row in rows})),
        past_visits=sum(season_of(visit.date, latitude) < season for visit in visits),
        visits=len(visits),
        has_fit=records.fits_in_use.get(vineyard) is not None,
        usual=tuple(_usual(rows, season)),
        without_source=tuple(
            block.key
            for block in planting.blocks
            if cultivar_of(planting, block).flower_type is FlowerType.PISTILLATE
            and not any(
                sheds_viable_pollen(cultivar_of(planting, other))
                for other in pollen_makers_in_reach(planting, block)
            )
        ),
    )


def _usual(rows: Sequence[BloomLogRow], season: int) -> Iterator[UsualBloom]:
    """By place and stage of bloom, places in the order of their names."""
    days: dict[tuple[str, str, str], list[int]] = defaultdict(list)
    for row in rows:
        place = Place("cultivar", row.cultivar) if row.block is None else Place("block", row.block)
        for stage, date in row.dates.items():
            if stage in BLOOM_STAGES:
                days[place.key, place.kind, stage].append((date - dt.date(row.season, 1, 1)).days)
    first = dt.date(season, 1, 1)
    for key, kind, stage in sorted(days, key=lambda told: (told[:2], BLOOM_STAGES.index(told[2]))):
        found = days[key, kind, stage]
        yield UsualBloom(
            place=Place("block" if kind == "block" else "cultivar", key),
            stage=stage,
            median=first + dt.timedelta(days=round(median(found))),
            first=first + dt.timedelta(days=min(found)),
            last=first + dt.timedelta(days=max(found)),
            seasons=len(found),
        )
