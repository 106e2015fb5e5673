"""What was seen in the vineyards: bloom logs and visits, and what they said before."""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Iterable, Sequence
from typing import Any

from models.records import BloomLogRow, Visit
from models.stages import STAGE_KEYS, in_season_order
from service.store.errors import AlreadyThere, NotFound
from service.store.images import Values, key_names, key_of
from service.store.owned import OwnedByGrower, count, pick
from service.store.records import BloomLogVersion, Counts, FitSummary, KeptVisit, Place, VisitVersion
from service.store.tables import BlockRow, BloomDateRow, CultivarRow, VineyardRow, VisitRow, table_of


class Observations(OwnedByGrower):
    """What bloom log and visits share."""

    def _check_references(self, vineyard: str, seen: Iterable[BloomLogRow | Visit]) -> None:
        self._find(VineyardRow, "vineyard", key=vineyard)
        seen = list(seen)
        blocks = {row.block for row in seen if row.block is not None}
        self._check_known(BlockRow, "block", blocks, vineyard=vineyard)
        self._check_known(CultivarRow, "cultivar", {row.cultivar for row in seen})


class BloomLog(Observations):
    """Dates at which stages were reached, by season."""

    def add(self, vineyard: str, rows: Sequence[BloomLogRow]) -> Counts:
        """Store rows. A stage that a row leaves out keeps the date it has. Counted by row.

        Raises NotFound (vineyard), UnknownReference (block, cultivar), BadInput (a stage unknown).
        """
        self._check_references(vineyard, rows)
        dates = [_bloom_date(row, stage) for row in rows for stage in in_season_order(row.dates)]
        stored = self._store(BloomDateRow, dates, vineyard=vineyard)
        outcomes = iter(stored.outcomes)
        by_row = [{next(outcomes) for _ in row.dates} for row in rows]
        return count(
            (
                "replaced" if "replaced" in seen else "stored" if "stored" in seen else "unchanged"
                for seen in by_row
            ),
            stored.replaced,
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

    def history(self, vineyard: str, season: int, place: Place) -> tuple[BloomLogVersion, ...]:
        """Every date that a season's log of a block or cultivar has had, by stage, oldest first.

        Raises NotFound (vineyard).
        """
        self._find(VineyardRow, "vineyard", key=vineyard)
        found = self._history(BloomDateRow, vineyard, season=season, subject=place.subject)
        return tuple(
            BloomLogVersion(_log_row(row), row["stored_at"], row["superseded_at"], row["by"])
            for row in sorted(found, key=lambda row: STAGE_KEYS.index(row["stage"]))
        )

    def changed_since(self, vineyard: str, known: FitSummary) -> tuple[BloomLogRow, ...]:
        """The dates that are not what a fit knew: new, replaced or deleted; each in a row of its own."""
        return tuple(_log_row(row) for row in self._changed_since(BloomDateRow, vineyard, known))

    def delete(self, vineyard: str, season: int, place: Place, *, stage: str | None = None) -> None:
        """Delete a season's dates of a block or cultivar, or the one of a stage.

        Raises NotFound (vineyard, dates), BadInput (the stage is unknown).
        """
        self._find(VineyardRow, "vineyard", key=vineyard)
        if stage is not None:
            in_season_order([stage])
        only: dict[str, Any] = {} if stage is None else {"stage": stage}
        if not self._delete(BloomDateRow, vineyard=vineyard, season=season, subject=place.subject, **only):
            what = f"{season} {place.key}" + ("" if stage is None else f" {stage}")
            raise NotFound("bloom log date", what)


class Visits(Observations):
    """Looks at single blocks."""

    def add(self, vineyard: str, visits: Sequence[Visit]) -> Counts:
        """Store visits; one of the same day, block (or cultivar) and observer takes the old one's place.

        Raises NotFound (vineyard), UnknownReference (block, cultivar).
        """
        self._check_references(vineyard, visits)
        rows = [_visit_values(visit) for visit in visits]
        stored = self._store(VisitRow, rows, new_values=_new_id, vineyard=vineyard)
        return count(stored.outcomes, stored.replaced)

    def all(self, vineyard: str) -> tuple[Visit, ...]:
        """The visits that hold, by date, cultivar, block, observer. Raises NotFound (vineyard)."""
        return tuple(kept.visit for kept in self.kept(vineyard))

    def kept(self, vineyard: str) -> tuple[KeptVisit, ...]:
        """The visits that hold with their identifiers, in the same order. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        visits = [KeptVisit(row["id"], _visit(row)) for row in self._select(VisitRow, vineyard=vineyard)]
        return tuple(sorted(visits, key=lambda kept: kept.order))

    def get(self, vineyard: str, id: str) -> Visit:
        """Raises NotFound (vineyard, visit)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        return _visit(self._find(VisitRow, "visit", vineyard=vineyard, id=id))

    def replace(self, vineyard: str, id: str, visit: Visit) -> None:
        """Put another visit in the place of one, which keeps its identifier.

        Raises NotFound (vineyard, visit), UnknownReference (block, cultivar), AlreadyThere (a visit of that
        day, place and observer).
        """
        self.get(vineyard, id)
        self._check_references(vineyard, [visit])
        table = table_of(VisitRow)
        old = self._find(VisitRow, "visit", vineyard=vineyard, id=id)
        new = {**old, **_visit_values(visit), "stored_at": self._journal.now}
        keys = key_of(table, old), key_of(table, new)
        if keys[0] == keys[1]:
            self._write(table, {keys[1]: new}, {keys[0]: old})
            return
        names = key_names(table)
        if self._select(VisitRow, **dict(zip(names, keys[1], strict=True))):
            raise AlreadyThere("visit", f"{visit.date} {visit.block or visit.cultivar}")
        self._write(table, {keys[0]: None, keys[1]: new}, {keys[0]: old})

    def changed_since(self, vineyard: str, known: FitSummary) -> tuple[Visit, ...]:
        """The visits that are not what a fit knew: new, replaced or deleted."""
        return tuple(_visit(row) for row in self._changed_since(VisitRow, vineyard, known))

    def delete(self, vineyard: str, id: str) -> None:
        """Raises NotFound (vineyard, visit)."""
        self.get(vineyard, id)
        self._delete(VisitRow, vineyard=vineyard, id=id)

    def history(self, vineyard: str, id: str) -> tuple[VisitVersion, ...]:
        """Every form that a visit has had, oldest first, one that was deleted among them.

        Raises NotFound (vineyard, visit).
        """
        self._find(VineyardRow, "vineyard", key=vineyard)
        versions = self._history(VisitRow, vineyard, id=id)
        if not versions:
            raise NotFound("visit", id)
        return tuple(
            VisitVersion(_visit(row), row["stored_at"], row["superseded_at"], row["by"]) for row in versions
        )


def _subject(row: BloomLogRow | Visit) -> str:
    return (Place("cultivar", row.cultivar) if row.block is None else Place("block", row.block)).subject


def _new_id() -> dict[str, str]:
    return {"id": secrets.token_hex(8)}


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


def _log_row(row: Values) -> BloomLogRow:
    return BloomLogRow(
        season=row["season"],
        cultivar=row["cultivar"],
        block=row["block"],
        dates={row["stage"]: row["date"]},
        checked_every_days=row["checked_every_days"],
    )


def _visit_values(visit: Visit) -> dict[str, Any]:
    return {
        "date": visit.date,
        "subject": _subject(visit),
        "observer": visit.observer or "",
        "cultivar": visit.cultivar,
        "block": visit.block,
        "percent_open": visit.percent_open,
        "bbch": visit.bbch,
        "note": visit.note,
    }


def _visit(row: Values) -> Visit:
    return Visit(**{**pick(row, Visit), "observer": row["observer"] or None})
