"""What was seen in the vineyards: bloom logs and visits, and what they said before a correction."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Any

from models.records import BloomLogRow, Visit
from models.stages import STAGE_KEYS, in_season_order
from service.store.owned import OwnedByGrower, Values, count, pick
from service.store.records import BloomLogVersion, Counts, VisitVersion
from service.store.tables import (
    Base,
    BlockRow,
    BloomDateHistoryRow,
    BloomDateRow,
    CultivarRow,
    VineyardRow,
    VisitHistoryRow,
    VisitRow,
)


class Observations(OwnedByGrower):
    """What bloom log and visits share."""

    def _check_references(self, vineyard: str, seen: Iterable[BloomLogRow | Visit]) -> None:
        self._find(VineyardRow, "vineyard", key=vineyard)
        seen = list(seen)
        blocks = {row.block for row in seen if row.block is not None}
        self._check_known(BlockRow, "block", blocks, vineyard=vineyard)
        self._check_known(CultivarRow, "cultivar", {row.cultivar for row in seen})

    def _versions(self, current: type[Base], history: type[Base], vineyard: str, *order: str) -> list[Values]:
        """All values that rows have or had, those of one row oldest first."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        past = sorted(self._select(history, vineyard=vineyard), key=lambda row: row["id"])
        holding = [{**row, "superseded_at": None} for row in self._select(current, vineyard=vineyard)]
        return sorted([*past, *holding], key=lambda row: [row[name] for name in order])


class BloomLog(Observations):
    """Dates at which stages were reached, by season."""

    def add(self, vineyard: str, rows: Sequence[BloomLogRow]) -> Counts:
        """Store rows. A stage that a row leaves out keeps the date it has. Counted by row.

        Raises NotFound (vineyard), UnknownReference (block, cultivar), BadInput (a stage unknown).
        """
        self._check_references(vineyard, rows)
        dates = [_bloom_date(row, stage) for row in rows for stage in in_season_order(row.dates)]
        outcomes = iter(self._supersede(BloomDateRow, BloomDateHistoryRow, dates, vineyard=vineyard))
        by_row = [{next(outcomes) for _ in row.dates} for row in rows]
        return count(
            "replaced" if "replaced" in seen else "stored" if "stored" in seen else "unchanged"
            for seen in by_row
        )

    def rows(self, vineyard: str) -> tuple[BloomLogRow, ...]:
        """The dates that hold, by season, cultivar, block. Raises NotFound (vineyard).

        Dates of one season and block that were looked for at different steps stand in rows of their own.
        """
        self._find(VineyardRow, "vineyard", key=vineyard)
        dates: dict[tuple[int, str, str, int], dict[str, dt.date]] = {}
        for row in self._select(BloomDateRow, vineyard=vineyard):
            key = (row["season"], row["cultivar"], row["block"] or "", row["checked_every_days"])
            dates.setdefault(key, {})[row["stage"]] = row["date"]
        return tuple(
            BloomLogRow(
                season=season,
                cultivar=cultivar,
                block=block or None,
                dates={stage: seen[stage] for stage in in_season_order(seen)},
                checked_every_days=checked_every_days,
            )
            for (season, cultivar, block, checked_every_days), seen in sorted(dates.items())
        )

    def history(self, vineyard: str) -> tuple[BloomLogVersion, ...]:
        """Every date that the log has had, oldest first within a season, block and stage.

        Raises NotFound (vineyard).
        """
        versions = self._versions(BloomDateRow, BloomDateHistoryRow, vineyard, "season", "subject")
        versions.sort(key=lambda row: (row["season"], row["subject"], STAGE_KEYS.index(row["stage"])))
        return tuple(
            BloomLogVersion(
                BloomLogRow(
                    season=row["season"],
                    cultivar=row["cultivar"],
                    block=row["block"],
                    dates={row["stage"]: row["date"]},
                    checked_every_days=row["checked_every_days"],
                ),
                row["stored_at"],
                row["superseded_at"],
            )
            for row in versions
        )


class Visits(Observations):
    """Looks at single blocks."""

    def add(self, vineyard: str, visits: Sequence[Visit]) -> Counts:
        """Store visits; one of the same day, block (or cultivar) and observer takes the old one's place.

        Raises NotFound (vineyard), UnknownReference (block, cultivar).
        """
        self._check_references(vineyard, visits)
        rows = [
            {
                "date": visit.date,
                "subject": _subject(visit),
                "observer": visit.observer or "",
                "cultivar": visit.cultivar,
                "block": visit.block,
                "percent_open": visit.percent_open,
                "bbch": visit.bbch,
                "note": visit.note,
            }
            for visit in visits
        ]
        return count(self._supersede(VisitRow, VisitHistoryRow, rows, vineyard=vineyard))

    def all(self, vineyard: str) -> tuple[Visit, ...]:
        """The visits that hold, by date, cultivar, block, observer. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        visits = [_visit(row) for row in self._select(VisitRow, vineyard=vineyard)]
        return tuple(sorted(visits, key=lambda v: (v.date, v.cultivar, v.block or "", v.observer or "")))

    def history(self, vineyard: str) -> tuple[VisitVersion, ...]:
        """Every form that the visits have had, oldest first within a visit. Raises NotFound (vineyard)."""
        versions = self._versions(VisitRow, VisitHistoryRow, vineyard, "date", "subject", "observer")
        return tuple(VisitVersion(_visit(row), row["stored_at"], row["superseded_at"]) for row in versions)


def _subject(row: BloomLogRow | Visit) -> str:
    return f"cultivar:{row.cultivar}" if row.block is None else f"block:{row.block}"


def _bloom_date(row: BloomLogRow, stage: str) -> dict[str, Any]:
    return {
        "season": row.season,
        "subject": _subject(row),
        "stage": stage,
        "cultivar": row.cultivar,
        "block": row.block,
        "date": row.dates[stage],
        "checked_every_days": row.checked_every_days,
    }


def _visit(row: Values) -> Visit:
    return Visit(**{**pick(row, Visit), "observer": row["observer"] or None})
