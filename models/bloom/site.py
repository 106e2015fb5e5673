"""One vineyard's past as it was noted. It is cut here and nowhere else, so that no cut forgets a part of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from functools import cached_property

from models.bloom.looks import (
    Contradiction,
    Disagreement,
    Look,
    Place,
    contradictions,
    disagreements,
    looks_by_place,
    stage_intervals,
    told_intervals,
)
from models.heat.season import season_of
from models.records import BloomLogRow, DailyTemperatures, FrostedBlock, StageInterval, Visit

HALF_A_YEAR = dt.timedelta(days=184)


@dataclass(frozen=True, eq=False)
class Site:
    """One vineyard's past: its station's weather, and what was seen there.

    Attributes
    ----------
    latitude : float
        Negative south of the equator; decides to which season a visit belongs. [degree]
    station : str or None
        Where the temperatures come from, if other sites may share it. [key]
    changed_on : tuple of date
        When the station was moved or its thermometer changed.
    log, visits : tuple of BloomLogRow, tuple of Visit
        As of `models.bloom.looks.stage_intervals`.
    frosted : tuple of FrostedBlock
        What is seen in such a block counts for itself, and teaches nothing about others. Looks at a whole
        cultivar teach: they don't say which block they tell of.
    """

    key: str
    latitude: float
    temperatures: DailyTemperatures
    log: tuple[BloomLogRow, ...] = ()
    visits: tuple[Visit, ...] = ()
    frosted: tuple[FrostedBlock, ...] = ()
    station: str | None = None
    changed_on: tuple[dt.date, ...] = ()

    def place(self, season: int) -> str:
        """What shares a season's effect, and whose effects drift from season to season.

        That is the station, as far as it stayed the same; the site itself where none is named. A change in the first
        half of a season counts from that season on, a later one from the next. No key holds a blank.
        """
        if self.station is None and not self.changed_on:
            return self.key
        name = self.key if self.station is None else f"station {self.station}"
        first = [season_of(day + HALF_A_YEAR, self.latitude) for day in self.changed_on]
        since = max((changed for changed in first if changed <= season), default=None)
        return name if since is None else f"{name} from {since}"

    @cached_property
    def seen(self) -> tuple[StageInterval, ...]:
        """Between which days each block reached each stage, frosted blocks too."""
        return stage_intervals(self.log, self.visits, latitude=self.latitude)

    @cached_property
    def teaching(self) -> tuple[StageInterval, ...]:
        """What of it a fit may learn from."""
        return self._unfrosted.seen

    @cached_property
    def teaching_looks(self) -> dict[Place, tuple[Look, ...]]:
        """The visits that a fit may learn from, day by day."""
        return looks_by_place(self._unfrosted.visits, latitude=self.latitude)

    @cached_property
    def contradictions(self) -> tuple[Contradiction, ...]:
        """Visits that contradict each other."""
        return contradictions(self.visits, latitude=self.latitude)

    @cached_property
    def disagreements(self) -> tuple[Disagreement, ...]:
        """Stages on which log and visits exclude each other."""
        return disagreements(self.log, self.visits, latitude=self.latitude)

    def told_on(self, day: dt.date) -> tuple[StageInterval, ...]:
        """What of ``teaching`` was told on a day, if looks went on as the log has it: see `told_intervals`."""
        known = self._unfrosted
        return told_intervals(known.log, known.visits, latitude=self.latitude, day=day)

    def frosted_in(self, season: int) -> frozenset[str]:
        """The blocks whose shoots froze in a season."""
        return frozenset(mark.block for mark in self.frosted if mark.season == season)

    def killed_in(self, season: int) -> dict[str, float]:
        """Share of the shoots that froze, of each block that was marked in a season; 1 where it was not told."""
        return {
            mark.block: 1.0 if mark.share_killed is None else mark.share_killed
            for mark in self.frosted
            if mark.season == season
        }

    @property
    def running_season(self) -> int:
        """Label of the season that the temperatures have not reached the end of."""
        last: dt.date = self.temperatures.dates[-1].item()
        return season_of(last + dt.timedelta(days=1), self.latitude)

    def known_on(self, day: dt.date) -> Site:
        """What was known on a day: temperatures of the days before, and what was seen by then."""
        log = (
            replace(row, dates={stage: date for stage, date in row.dates.items() if date <= day})
            for row in self.log
        )
        return replace(
            self,
            temperatures=self.temperatures.before(day),
            log=tuple(row for row in log if row.dates),
            visits=tuple(visit for visit in self.visits if visit.date <= day),
            frosted=tuple(mark for mark in self.frosted if mark.night is None or mark.night <= day),
            changed_on=tuple(changed for changed in self.changed_on if changed <= day),
        )

    def without(self, seasons: Collection[int]) -> Site:
        """The same weather, and nothing that was seen in some seasons."""
        return self._seen_where(lambda season: season not in seasons) if seasons else self

    def only(self, season: int) -> Site:
        """The same weather, and what was seen in one season."""
        return self._seen_where(lambda other: other == season)

    def before(self, season: int) -> Site:
        """The same weather, and what was seen in earlier seasons."""
        return self._seen_where(lambda other: other < season)

    def _seen_where(self, kept: Callable[[int], bool]) -> Site:
        return replace(
            self,
            log=tuple(row for row in self.log if kept(row.season)),
            visits=tuple(visit for visit in self.visits if kept(season_of(visit.date, self.latitude))),
            frosted=tuple(mark for mark in self.frosted if kept(mark.season)),
        )

    @cached_property
    def _unfrosted(self) -> Site:
        """All but what was seen in frosted blocks."""
        if not self.frosted:
            return self
        marks = {(mark.season, mark.block) for mark in self.frosted}
        return replace(
            self,
            log=tuple(row for row in self.log if (row.season, row.block) not in marks),
            visits=tuple(
                visit
                for visit in self.visits
                if (season_of(visit.date, self.latitude), visit.block) not in marks
            ),
            frosted=(),
        )
