"""One grower's data within one transaction."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from models.records import (
    Block,
    BloomLogRow,
    Cultivar,
    DailyTemperatures,
    DateArray,
    Planting,
    Visit,
)
from models.units import FloatArray
from service.store.records import (
    BloomLogVersion,
    Counts,
    FitSummary,
    Job,
    JobState,
    Station,
    TemperatureVersion,
    Vineyard,
    VisitVersion,
)


class Stations:
    """The grower's weather stations."""

    def put(self, station: Station) -> bool:
        """Create or replace a station; True if it is new."""
        raise NotImplementedError

    def get(self, key: str) -> Station:
        """Raises NotFound."""
        raise NotImplementedError

    def all(self) -> tuple[Station, ...]:
        """By key."""
        raise NotImplementedError

    def delete(self, key: str) -> None:
        """Delete a station with its temperatures, outlooks and their history. Raises NotFound, InUse (vineyards)."""
        raise NotImplementedError


class Temperatures:
    """Daily extremes at the grower's stations: what was observed, and the outlooks that were supplied."""

    def store(self, station: str, dates: DateArray, tmin_c: FloatArray, tmax_c: FloatArray) -> Counts:
        """Store observed days, in any order; NaN is a missing value. Raises NotFound, BadInput (a day twice)."""
        raise NotImplementedError

    def observed(self, station: str) -> DailyTemperatures | None:
        """All days from the first to the last that is stored, NaN where none is; None without any. Raises NotFound."""
        raise NotImplementedError

    def history(self, station: str, date: dt.date) -> tuple[TemperatureVersion, ...]:
        """Every value that a day has had, oldest first. Raises NotFound (station)."""
        raise NotImplementedError

    def store_outlook(
        self, station: str, issued_on: dt.date, dates: DateArray, tmin_c: FloatArray, tmax_c: FloatArray
    ) -> Counts:
        """Store an outlook; it takes the place of one issued on the same day as a whole. Raises NotFound, BadInput."""
        raise NotImplementedError

    def outlook(self, station: str, as_of: dt.date) -> tuple[dt.date, DailyTemperatures] | None:
        """Day of issue and days of the latest outlook issued on or before ``as_of``. Raises NotFound."""
        raise NotImplementedError


class Cultivars:
    """The grower's cultivars."""

    def put(self, cultivar: Cultivar) -> bool:
        """Create or replace a cultivar; True if it is new."""
        raise NotImplementedError

    def get(self, key: str) -> Cultivar:
        """Raises NotFound."""
        raise NotImplementedError

    def all(self) -> tuple[Cultivar, ...]:
        """By key."""
        raise NotImplementedError

    def delete(self, key: str) -> None:
        """Raises NotFound, InUse (blocks and observations)."""
        raise NotImplementedError


class Vineyards:
    """The grower's vineyards."""

    def put(self, vineyard: Vineyard) -> bool:
        """Create or replace a vineyard, its blocks untouched; True if it is new. Raises UnknownReference (station)."""
        raise NotImplementedError

    def get(self, key: str) -> Vineyard:
        """Raises NotFound."""
        raise NotImplementedError

    def all(self) -> tuple[Vineyard, ...]:
        """By key."""
        raise NotImplementedError

    def delete(self, key: str) -> None:
        """Delete a vineyard with its blocks, observations and their history. Raises NotFound."""
        raise NotImplementedError


class Blocks:
    """The blocks of the grower's vineyards."""

    def put(self, vineyard: str, block: Block) -> bool:
        """Create or replace a block; True if it is new. Neighbours may be put later.

        Raises NotFound (vineyard), UnknownReference (cultivar).
        """
        raise NotImplementedError

    def get(self, vineyard: str, key: str) -> Block:
        """Raises NotFound (vineyard, block)."""
        raise NotImplementedError

    def all(self, vineyard: str) -> tuple[Block, ...]:
        """By key. Raises NotFound (vineyard)."""
        raise NotImplementedError

    def delete(self, vineyard: str, key: str) -> None:
        """Raises NotFound, InUse (observations; blocks that name it as a neighbour)."""
        raise NotImplementedError

    def replace_all(self, vineyard: str, blocks: Sequence[Block]) -> Counts:
        """Make these the vineyard's blocks. Blocks that stay keep their observations.

        Raises NotFound (vineyard), UnknownReference (cultivar, neighbour), InUse (a block that would go has
        observations), BadInput (a block twice).
        """
        raise NotImplementedError

    def planting(self, vineyard: str) -> Planting:
        """The blocks, the cultivars that stand in them, and the reach. Raises NotFound (vineyard)."""
        raise NotImplementedError


class BloomLog:
    """Dates at which stages were reached, by season."""

    def add(self, vineyard: str, rows: Sequence[BloomLogRow]) -> Counts:
        """Store rows. A stage that a row leaves out keeps the date it has. Counted by row.

        Raises NotFound (vineyard), UnknownReference (block, cultivar).
        """
        raise NotImplementedError

    def rows(self, vineyard: str) -> tuple[BloomLogRow, ...]:
        """The dates that hold, by season, cultivar, block. Raises NotFound (vineyard)."""
        raise NotImplementedError

    def history(self, vineyard: str) -> tuple[BloomLogVersion, ...]:
        """Every date that the log has had, oldest first within a season, block and stage. Raises NotFound."""
        raise NotImplementedError


class Visits:
    """Looks at single blocks."""

    def add(self, vineyard: str, visits: Sequence[Visit]) -> Counts:
        """Store visits; one of the same day, block (or cultivar) and observer takes the old one's place.

        Raises NotFound (vineyard), UnknownReference (block, cultivar).
        """
        raise NotImplementedError

    def all(self, vineyard: str) -> tuple[Visit, ...]:
        """The visits that hold, by date, cultivar, block, observer. Raises NotFound (vineyard)."""
        raise NotImplementedError

    def history(self, vineyard: str) -> tuple[VisitVersion, ...]:
        """Every form that the visits have had, oldest first within a visit. Raises NotFound (vineyard)."""
        raise NotImplementedError


class Fits:
    """Saved fits, as documents that are never changed."""

    def add(self, id: str, document: dict[str, Any]) -> bool:
        """Save a fit; False if the same document is there already. Raises AlreadyThere (another document)."""
        raise NotImplementedError

    def get(self, id: str) -> dict[str, Any]:
        """The document. Raises NotFound."""
        raise NotImplementedError

    def all(self) -> tuple[FitSummary, ...]:
        """Newest first."""
        raise NotImplementedError

    def latest(self) -> FitSummary | None:
        """The newest."""
        raise NotImplementedError


class Jobs:
    """Long work and what came out of it."""

    def add(self, id: str, kind: str) -> Job:
        """A job in state ``waiting``. Raises AlreadyThere."""
        raise NotImplementedError

    def get(self, id: str) -> Job:
        """Raises NotFound."""
        raise NotImplementedError

    def update(
        self,
        id: str,
        *,
        state: JobState | None = None,
        progress: float | None = None,
        message: str | None = None,
        result: dict[str, Any] | None = None,
    ) -> Job:
        """Change what is given, and say when. Raises NotFound."""
        raise NotImplementedError


class Repositories:
    """All that one grower owns, within one transaction; things of other growers look as if there were none."""

    grower: str
    stations: Stations
    temperatures: Temperatures
    cultivars: Cultivars
    vineyards: Vineyards
    blocks: Blocks
    bloom_log: BloomLog
    visits: Visits
    fits: Fits
    jobs: Jobs
