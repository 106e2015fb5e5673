"""All vineyards that somebody may see, a row each, and how their season stands.

A row is kept until a change of its vineyard, its station or what vineyards share makes it old: the journal tells the
last one, and is asked in the transaction that reads them, so that no other process has to tell anyone. A request
computes for some seconds; rows that it does not come to are told as older, or not there yet, and the next request goes
on with them.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from threading import Lock
from typing import Literal

from models.bloom.forecast import Forecast
from models.errors import CapfallError
from models.vineyard.pollen_warnings import PollenWarning, worst_first
from models.vineyard.scouting import Trip
from service import clock
from service.bounded import Bounded
from service.store.engine import Store
from service.store.records import Vineyard
from service.store.repositories import Repositories
from service.usecases.forecasts import stored_forecast
from service.usecases.pollen import pollinate
from service.usecases.scouting import plan_scouting

INTERVAL = 0.8
MOST_ROWS = 20_000  # that one process keeps, of all growers; a row takes about 1 kB
MOST_GROWERS = 1_000  # of whom one process keeps what changed last
A_DAY = dt.timedelta(days=1)

BloomState = Literal["in_bloom", "before", "over", "unknown"]
SortedBy = Literal["worst", "grower", "name", "bloom", "trip", "weather"]
Order = tuple[str | int, ...]
Newest = Mapping[tuple[str, str], tuple[int, dt.datetime]]
"""The last change of each owner, as `Journal.newest` tells it."""


@dataclass(frozen=True)
class Bloom:
    """Where a vineyard stands in its bloom, from the first block's start to the last one's end, by medians.

    ``presumed`` is what the forecast alone says of days that are past: nobody saw a start, or that end.
    """

    state: BloomState
    starts: dt.date | None = None
    ends: dt.date | None = None
    presumed: bool = False


@dataclass(frozen=True)
class SeasonNow:
    """How one vineyard's season stands on a day."""

    season: int
    bloom: Bloom
    worst: PollenWarning | None
    next_trip: Trip | None
    temperatures_through: dt.date | None


@dataclass(frozen=True)
class RosterRow:
    """One vineyard; ``now`` is None where nothing can be forecast, for the reason ``why``.

    One that is not ``up_to_date`` was computed before the last change or on the day before, or not yet.
    """

    grower: str
    vineyard: str
    name: str
    as_of: dt.date
    now: SeasonNow | None
    why: CapfallError | None = None
    up_to_date: bool = True

    @property
    def weather_days_behind(self) -> int | None:
        """Days before today without temperatures; the morning after a measured day it is none."""
        through = None if self.now is None else self.now.temperatures_through
        return None if through is None else max((self.as_of - through).days - 1, 0)


class KeptRows:
    """The rows that one process keeps: one a vineyard and day, each with the last change that it knows."""

    def __init__(self, most: int = MOST_ROWS) -> None:
        self._rows: Bounded[tuple[str, str, dt.date], tuple[Hashable, RosterRow]] = Bounded(most)
        self._newest: Bounded[str, tuple[Hashable, Newest]] = Bounded(MOST_GROWERS)
        self._computing = Lock()

    def all(
        self, store: Store, growers: Sequence[str], as_of: dt.date | None, *, seconds: float
    ) -> list[RosterRow]:
        """A row for each vineyard of these growers; one request at a time computes those that are not kept."""
        mine = self._computing.acquire(blocking=False)
        until = clock.seconds() + seconds if mine else 0.0
        rows: list[RosterRow] = []
        try:
            for grower in growers:
                with store.transaction(grower, read_only=True) as records:
                    rows += self._of(records, as_of, until)
        finally:
            if mine:
                self._computing.release()
        return rows

    def _of(self, records: Repositories, as_of: dt.date | None, until: float) -> Iterator[RosterRow]:
        newest = self._changes(records)
        shared = max(
            (last for (kind, _), last in newest.items() if kind not in ("vineyard", "station")), default=None
        )
        for vineyard in records.vineyards.all():
            version = (
                shared,
                newest.get(("vineyard", vineyard.key)),
                newest.get(("station", vineyard.station or "")),
            )
            day = clock.today(vineyard.timezone) if as_of is None else as_of
            held = self._rows.find((records.grower, vineyard.key, day))
            if held is not None and held[0] == version:
                yield held[1]
            elif clock.seconds() < until:
                row = _row(records, vineyard, day)
                self._rows.keep((records.grower, vineyard.key, day), (version, row))
                yield row
            else:
                older = held or self._rows.find((records.grower, vineyard.key, day - A_DAY))
                row = (
                    RosterRow(records.grower, vineyard.key, vineyard.name, day, None)
                    if older is None
                    else older[1]
                )
                yield replace(row, up_to_date=False)

    def _changes(self, records: Repositories) -> Newest:
        version = records.journal.version()
        held = self._newest.find(records.grower)
        if held is None or held[0] != version:
            held = version, records.journal.newest()
            self._newest.keep(records.grower, held)
        return held[1]


def roster(
    store: Store,
    growers: Sequence[str],
    kept: KeptRows,
    *,
    as_of: dt.date | None,
    seconds: float,
    by: SortedBy = "worst",
) -> list[RosterRow]:
    """The vineyards of all these growers, sorted; by default as of today in each one's time zone.

    Rows that are not kept are computed for so many ``seconds``; the last of them may take longer.
    """
    return sorted(kept.all(store, growers, as_of, seconds=seconds), key=order(by))


def _row(records: Repositories, vineyard: Vineyard, day: dt.date) -> RosterRow:
    now, why = None, None
    try:
        now = season_now(records, vineyard.key, as_of=day)
    except CapfallError as error:
        error.__traceback__ = error.__context__ = error.__cause__ = None  # they hold all that was read
        why = error
    return RosterRow(records.grower, vineyard.key, vineyard.name, day, now, why)


def season_now(records: Repositories, vineyard: str, *, as_of: dt.date) -> SeasonNow:
    """How a vineyard's season stands: the one step of a roster that computes. Raises as `stored_forecast` does."""
    foreseen = stored_forecast(records, vineyard, as_of=as_of, fit=None, interval=INTERVAL)
    warnings = [told for block in pollinate(foreseen).blocks for told in block.warnings if not told.past]
    return SeasonNow(
        season=foreseen.forecast.season,
        bloom=bloom_of(foreseen.forecast),
        worst=next(iter(worst_first(warnings)), None),
        next_trip=next(iter(plan_scouting(foreseen).trips), None),
        temperatures_through=foreseen.forecast.traces.temperatures_through,
    )


def bloom_of(forecast: Forecast) -> Bloom:
    """Where the bloom stands; past its start it is unknown where the fit does not tell its end."""
    start_days, end_days = (list(_medians(forecast, stage)) for stage in ("bloom_start", "bloom_end"))
    starts = min((day for day, _ in start_days), default=None)
    ends, end_seen = max(end_days, default=(None, False))
    state: BloomState = "unknown"
    if starts is not None and forecast.as_of < starts:
        state = "before"
    elif starts is not None and ends is not None:
        state = "over" if forecast.as_of > ends else "in_bloom"
    seen = {"over": end_seen, "in_bloom": any(seen for _, seen in start_days)}
    return Bloom(state, starts, ends, presumed=not seen.get(state, True))


def _medians(forecast: Forecast, stage: str) -> Iterator[tuple[dt.date, bool]]:
    """Each block's day of a stage, and whether it was seen."""
    for block in forecast.blocks:
        told = block.stages.get(stage)
        if told is not None and told.median is not None:
            yield told.median, told.status == "observed"


def order(by: SortedBy) -> Callable[[RosterRow], Order]:
    """What rows are sorted by; those of one rank by grower and vineyard."""
    rank = RANKS[by]
    return lambda row: (*rank(row), row.grower, row.vineyard)


def _worst(row: RosterRow) -> Order:
    if row.now is None:
        return 3, 0
    if row.now.worst is None:
        return 2, 0
    return int(row.now.worst.level != "act"), -round(1e6 * row.now.worst.chance)


def _bloom(row: RosterRow) -> Order:
    bloom = Bloom("unknown") if row.now is None else row.now.bloom
    return ("in_bloom", "before", "over", "unknown").index(bloom.state), str(bloom.starts)


def _trip(row: RosterRow) -> Order:
    trip = None if row.now is None else row.now.next_trip
    return ("9999" if trip is None else trip.date.isoformat(),)


def _weather(row: RosterRow) -> Order:
    behind = row.weather_days_behind
    return (-1_000_000 if behind is None else -behind,)


RANKS: Mapping[SortedBy, Callable[[RosterRow], Order]] = {
    "worst": _worst,
    "grower": lambda _: (),
    "name": lambda row: (row.name.casefold(),),
    "bloom": _bloom,
    "trip": _trip,
    "weather": _weather,
}
