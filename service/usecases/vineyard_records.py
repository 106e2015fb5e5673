"""All that is known of one vineyard, as the models take it; from the store, or from files."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from models.bloom.newcomers import with_newcomers
from models.bloom.site import Site
from models.bloom.thresholds import Fit
from models.errors import BadInput, NotEnoughData, Problem, Remedy
from models.heat.season import season_of
from models.records import CropCount, Cultivar, Planting, SetCount
from models.vineyard.cautions import WildMales
from models.vineyard.frost import FrostLimits
from models.vineyard.scouting import EVERY_DAY, WEEKDAY_NAMES
from models.vineyard.scouting_tasks import TaskKind, counts_made
from service.store.records import Vineyard
from service.store.repositories import Repositories


@dataclass(frozen=True, eq=False)
class VineyardRecords:
    """One vineyard: its weather and what was seen in it, and its planting.

    ``receptive_days`` and ``pollen_days`` are None where the model's assumptions stand; ``scouting_weekdays`` (0 is
    Monday) are all where none are chosen; ``north_assumed``: the latitude was not given. ``species`` are those
    recorded of all the grower's cultivars, planted here or not. [day]
    """

    site: Site
    planting: Planting
    receptive_days: int | None = None
    pollen_days: int | None = None
    scouting_weekdays: tuple[int, ...] = tuple(EVERY_DAY)
    north_assumed: bool = False
    species: Mapping[str, str] = field(default_factory=dict)
    wild_males: WildMales | None = None
    colder_than_station_c: float | None = None
    frost_limits: FrostLimits | None = None
    set_counts: tuple[SetCount, ...] = ()
    crop_counts: tuple[CropCount, ...] = ()

    @property
    def key(self) -> str:
        """The vineyard's identifier."""
        return self.site.key

    @property
    def colder_c(self) -> dict[str, float]:
        """By how much the cordons of each block are colder than the station, where that was told. [°C]"""
        told = {block.key: block.colder_than_station_c for block in self.planting.blocks}
        filled = {key: self.colder_than_station_c if own is None else own for key, own in told.items()}
        return {key: colder for key, colder in filled.items() if colder is not None}

    def joined_to(self, fit: Fit) -> Fit:
        """A fit with the cultivars that are planted here and that it does not know."""
        planted = [self.planting.cultivars[block.cultivar] for block in self.planting.blocks]
        return with_newcomers(fit, planted, self.species)

    def known_on(self, as_of: dt.date) -> VineyardRecords:
        """What was known on a day: temperatures of the days before, and what was seen by then.

        Raises
        ------
        NotEnoughData
            If there is no temperature before that day.
        """
        first: dt.date = self.site.temperatures.dates[0].item()
        if as_of <= first:
            raise NotEnoughData(
                f"the temperatures of vineyard {self.key!r} begin on {first}, so nothing is known on {as_of}",
                remedy=Remedy.EARLIER_TEMPERATURES,
            )
        return replace(
            self,
            site=self.site.known_on(as_of),
            set_counts=tuple(each for each in self.set_counts if each.date <= as_of),
            crop_counts=tuple(each for each in self.crop_counts if each.date <= as_of),
        )

    def counted_in(self, season: int) -> frozenset[tuple[str, TaskKind]]:
        """Block and scouting task of what was counted in a season."""

        def came(date: dt.date) -> bool:
            return season_of(date, self.site.latitude) == season

        return counts_made(
            (each for each in self.set_counts if came(each.date)),
            (each for each in self.crop_counts if came(each.date)),
        )


def no_station(vineyard: str) -> BadInput:
    """Why nothing can be said of the seasons of a vineyard without a station, and what helps."""
    problem = "is not given: its latitude tells which dates make a season"
    return BadInput(
        f"vineyard {vineyard!r} has no station",
        [Problem("vineyard.station", problem)],
        remedy=Remedy.ADD_STATION,
    )


def load_vineyard(records: Repositories, key: str) -> VineyardRecords:
    """A vineyard from the store.

    Raises
    ------
    NotFound
        If there is no such vineyard.
    BadInput
        If it has no station.
    NotEnoughData
        If its station has no temperatures.
    """
    vineyard = records.vineyards.get(key)
    if vineyard.station is None:
        raise BadInput(
            f"vineyard {key!r} has no station",
            [Problem("vineyard.station", "is not given")],
            remedy=Remedy.ADD_STATION,
        )
    loaded = _load(records, vineyard, vineyard.station)
    if loaded is None:
        raise NotEnoughData(
            f"station {vineyard.station!r} of vineyard {key!r} has no temperatures yet",
            remedy=Remedy.ADD_TEMPERATURES,
        )
    return loaded


def load_vineyards(records: Repositories, keys: Sequence[str] | None) -> tuple[VineyardRecords, ...]:
    """The vineyards that are named, or all that have a station with temperatures; by key.

    Raises what `load_vineyard` raises, for a vineyard that is named.
    """
    if keys is not None:
        return tuple(load_vineyard(records, key) for key in sorted(set(keys)))
    found = [
        _load(records, each, each.station) for each in records.vineyards.all() if each.station is not None
    ]
    return tuple(each for each in found if each is not None)


def _load(records: Repositories, vineyard: Vineyard, station: str) -> VineyardRecords | None:
    temperatures = records.temperatures.observed(station)
    if temperatures is None:
        return None
    told = records.stations.get(station)
    return VineyardRecords(
        Site(
            vineyard.key,
            told.latitude,
            temperatures,
            log=records.bloom_log.rows(vineyard.key),
            visits=records.visits.all(vineyard.key),
            frosted=records.frosted.all(vineyard.key),
            station=station,
            changed_on=told.changed_on,
        ),
        records.blocks.planting(vineyard.key),
        receptive_days=_whole(vineyard.receptive_days),
        pollen_days=_whole(vineyard.pollen_days),
        scouting_weekdays=weekday_numbers(vineyard.scouting_weekdays),
        species=species_of(records.cultivars.all()),
        wild_males=vineyard.wild_males,
        colder_than_station_c=vineyard.colder_than_station_c,
        frost_limits=vineyard.frost_limits,
        set_counts=tuple(each.count for each in records.set_counts.all(vineyard.key)),
        crop_counts=tuple(each.count for each in records.crop_counts.all(vineyard.key)),
    )


def species_of(cultivars: Iterable[Cultivar]) -> dict[str, str]:
    """The species of those cultivars of which it is recorded."""
    return {cultivar.key: cultivar.species for cultivar in cultivars if cultivar.species is not None}


def weekday_numbers(names: Sequence[str] | None) -> tuple[int, ...]:
    """Weekdays ("mon" to "sun") as numbers, 0 for Monday; every day where none are chosen."""
    if names is None:
        return tuple(EVERY_DAY)
    return tuple(day for day, full in enumerate(WEEKDAY_NAMES) if full[:3].lower() in names)


def _whole(days: float | None) -> int | None:
    return None if days is None else round(days)
