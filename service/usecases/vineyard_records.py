"""All that is known of one vineyard, as the models take it; from the store, or from files."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

from models.bloom.looks import stage_intervals
from models.errors import BadInput, NotEnoughData, Problem, Remedy
from models.heat.season import season_of
from models.records import BloomLogRow, DailyTemperatures, Planting, Site, StageInterval, Visit
from models.vineyard.frost import without_frosted
from models.vineyard.scouting import EVERY_DAY, WEEKDAY_NAMES
from service.store.records import FrostedBlock, Vineyard
from service.store.repositories import Repositories


@dataclass(frozen=True, eq=False)
class VineyardRecords:
    """One vineyard: its weather, its planting, and what was seen in it.

    ``receptive_days`` and ``pollen_days`` are None where the model's assumptions stand; ``scouting_weekdays`` (0 is
    Monday) are all where none are chosen; ``north_assumed``: the latitude was not given. [degree, day]
    """

    key: str
    latitude: float
    temperatures: DailyTemperatures
    planting: Planting
    log: tuple[BloomLogRow, ...] = ()
    visits: tuple[Visit, ...] = ()
    receptive_days: int | None = None
    pollen_days: int | None = None
    scouting_weekdays: tuple[int, ...] = tuple(EVERY_DAY)
    frosted: tuple[FrostedBlock, ...] = ()
    north_assumed: bool = False

    def site(self, *, with_frosted: bool = False) -> Site:
        """The vineyard's past for the models; what was seen in frosted blocks teaches nothing and is left out."""
        seen = stage_intervals(self.log, self.visits, latitude=self.latitude)
        if not with_frosted:
            seen = without_frosted(seen, {(each.season, each.block) for each in self.frosted})
        return Site(self.key, self.latitude, self.temperatures, seen)

    def frosted_in(self, season: int) -> frozenset[str]:
        """The blocks whose shoots froze in a season."""
        return frozenset(each.block for each in self.frosted if each.season == season)

    def known_on(self, as_of: dt.date) -> VineyardRecords:
        """What was known on a day: temperatures of the days before, and what was seen by then.

        Raises
        ------
        NotEnoughData
            If there is no temperature before that day.
        """
        first: dt.date = self.temperatures.dates[0].item()
        if as_of <= first:
            raise NotEnoughData(
                f"the temperatures of vineyard {self.key!r} begin on {first}, so nothing is known on {as_of}",
                remedy=Remedy.EARLIER_TEMPERATURES,
            )
        log = (
            replace(row, dates={stage: day for stage, day in row.dates.items() if day <= as_of})
            for row in self.log
        )
        return replace(
            self,
            temperatures=self.temperatures.before(as_of),
            log=tuple(row for row in log if row.dates),
            visits=tuple(visit for visit in self.visits if visit.date <= as_of),
            frosted=tuple(each for each in self.frosted if each.night is None or each.night <= as_of),
        )

    @property
    def running_season(self) -> int:
        """Label of the season that the temperatures have not reached the end of."""
        last: dt.date = self.temperatures.dates[-1].item()
        return season_of(last + dt.timedelta(days=1), self.latitude)


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
    return VineyardRecords(
        key=vineyard.key,
        latitude=records.stations.get(station).latitude,
        temperatures=temperatures,
        planting=records.blocks.planting(vineyard.key),
        log=records.bloom_log.rows(vineyard.key),
        visits=records.visits.all(vineyard.key),
        receptive_days=_whole(vineyard.receptive_days),
        pollen_days=_whole(vineyard.pollen_days),
        scouting_weekdays=weekday_numbers(vineyard.scouting_weekdays),
        frosted=records.frosted.all(vineyard.key),
    )


def weekday_numbers(names: Sequence[str] | None) -> tuple[int, ...]:
    """Weekdays ("mon" to "sun") as numbers, 0 for Monday; every day where none are chosen."""
    if names is None:
        return tuple(EVERY_DAY)
    return tuple(day for day, full in enumerate(WEEKDAY_NAMES) if full[:3].lower() in names)


def _whole(days: float | None) -> int | None:
    return None if days is None else round(days)


def without_running_season(vineyard: VineyardRecords, site: Site) -> Site:
    """A site's past without the season that is not over yet."""
    past: tuple[StageInterval, ...] = tuple(
        seen for seen in site.observations if seen.season < vineyard.running_season
    )
    return replace(site, observations=past)
