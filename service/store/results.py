"""What was computed: fits, and long work."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import update

from service import clock
from service.store.errors import AlreadyThere, InUse, TooManyJobs
from service.store.owned import OwnedByGrower, pick
from service.store.records import FitInUse, FitSummary, Job, JobState
from service.store.tables import FitInUseRow, FitRow, JobRow, VineyardRow, table_of

UNFINISHED: tuple[JobState, ...] = ("waiting", "running")
MOST_OPEN_JOBS = 20  # of one grower


class Fits(OwnedByGrower):
    """Saved fits, as documents that are never changed."""

    def add(self, id: str, document: dict[str, Any], *, knows_change: int | None = None) -> bool:
        """Save a fit; False if the same document is there already, of which then is noted what it knows now.

        Raises AlreadyThere (another document), ValueError (a number that JSON does not know, as NaN).
        """
        document = as_json(document)
        held = self._select(FitRow, id=id)
        if held:
            if held[0]["document"] != document:
                raise AlreadyThere("fit", id)
            if knows_change is not None:
                self._put(FitRow, {"knows_change": knows_change}, id=id)
            return False
        new = {"created_at": clock.now(), "document": document, "knows_change": knows_change}
        self._insert(FitRow, [{"id": id, **new}])
        return True

    def summary(self, id: str) -> FitSummary:
        """The fit without its document. Raises NotFound."""
        return FitSummary(**pick(self._find(FitRow, "fit", id=id), FitSummary))

    def get(self, id: str) -> dict[str, Any]:
        """The document. Raises NotFound."""
        document: dict[str, Any] = self._find(FitRow, "fit", id=id)["document"]
        return document

    def delete(self, id: str) -> None:
        """Raises NotFound, InUse (vineyards)."""
        self.get(id)
        users = sorted(f"vineyard {row['vineyard']}" for row in self._select(FitInUseRow, fit=id))
        if users:
            raise InUse("fit", id, users)
        self._delete(FitRow, id=id)

    def all(self) -> tuple[FitSummary, ...]:
        """Newest first."""
        fits = [FitSummary(**pick(row, FitSummary)) for row in self._select(FitRow)]
        return tuple(sorted(fits, key=lambda fit: (fit.created_at, fit.id), reverse=True))


class FitsInUse(OwnedByGrower):
    """Which fit the answers of each vineyard rest on."""

    def get(self, vineyard: str) -> FitInUse | None:
        """None where none is in use. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        found = self._select(FitInUseRow, vineyard=vineyard)
        return FitInUse(**pick(found[0], FitInUse)) if found else None

    def put(self, vineyard: str, fit: str) -> FitInUse:
        """Put a fit in use; one that is in use already stays so since it was. Raises NotFound (vineyard, fit)."""
        self._find(FitRow, "fit", id=fit)
        held = self.get(vineyard)
        if held is not None and held.fit == fit:
            return held
        now = FitInUse(vineyard, fit, self._journal.now)
        self._put(FitInUseRow, {"fit": fit, "since": now.since}, vineyard=vineyard)
        return now

    def vineyards(self) -> dict[str, str]:
        """The fit of each vineyard that has one."""
        return {row["vineyard"]: row["fit"] for row in self._select(FitInUseRow)}


class Jobs(OwnedByGrower):
    """Long work and what came out of it."""

    def add(
        self, id: str, kind: str, *, subject: str | None = None, asked: dict[str, Any] | None = None
    ) -> Job:
        """A job in state ``waiting``. Raises AlreadyThere, TooManyJobs (that have not ended)."""
        if self._select(JobRow, id=id):
            raise AlreadyThere("job", id)
        if sum(len(self._select(JobRow, state=state)) for state in UNFINISHED) >= MOST_OPEN_JOBS:
            raise TooManyJobs(MOST_OPEN_JOBS)
        now = clock.now()
        job = Job(
            id=id,
            kind=kind,
            subject=subject,
            state="waiting",
            progress=0.0,
            message="",
            result=None,
            created_at=now,
            updated_at=now,
            asked=None if asked is None else as_json(asked),
        )
        self._insert(JobRow, [vars(job)])
        return self.get(id)

    def get(self, id: str) -> Job:
        """Raises NotFound."""
        return Job(**pick(self._find(JobRow, "job", id=id), Job))

    def all(self, state: JobState | None = None) -> tuple[Job, ...]:
        """Newest first; those in one state where it is given."""
        rows = self._select(JobRow) if state is None else self._select(JobRow, state=state)
        jobs = [Job(**pick(row, Job)) for row in rows]
        return tuple(sorted(jobs, key=lambda job: (job.created_at, job.id), reverse=True))

    def cancel(self, id: str) -> Job:
        """End a job before its time; one that has ended stays as it is. Raises NotFound."""
        self.get(id)
        table = table_of(JobRow)
        self._connection.execute(
            update(table)
            .where(*self._matching(table, {"id": id}), table.c.state.in_(UNFINISHED))
            .values(state="cancelled", message="cancelled", updated_at=clock.now())
        )
        return self.get(id)

    def latest(self, kind: str, subject: str, *states: JobState) -> Job | None:
        """The newest job of this kind on this subject that is in one of these states."""
        jobs = [Job(**pick(row, Job)) for row in self._select(JobRow, kind=kind, subject=subject)]
        found = [job for job in jobs if job.state in states]
        return max(found, key=lambda job: (job.created_at, job.id), default=None)

    def update(
        self,
        id: str,
        *,
        state: JobState | None = None,
        progress: float | None = None,
        message: str | None = None,
        result: dict[str, Any] | None = None,
    ) -> Job:
        """Change what is given, and note when. Raises NotFound, ValueError (NaN in the result)."""
        self.get(id)
        if result is not None:
            result = as_json(result)
        given = {"state": state, "progress": progress, "message": message, "result": result}
        values = {name: value for name, value in given.items() if value is not None}
        self._put(JobRow, {**values, "updated_at": clock.now()}, id=id)
        return self.get(id)


def as_json(document: dict[str, Any]) -> dict[str, Any]:
    """A document as it will come back. NaN is no JSON: PostgreSQL would refuse it, and SQLite would not."""
    plain: dict[str, Any] = json.loads(json.dumps(document, allow_nan=False))
    return plain
