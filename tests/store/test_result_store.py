"""Fits are never changed; jobs tell how far they are."""

from __future__ import annotations

import pytest

from service.store import AlreadyThere, Job, NotFound, Store
from service.store.errors import TooManyJobs
from service.store.results import MOST_OPEN_JOBS

DOCUMENT = {
    "heat": {"base_c": 10.0},
    "seasons": [2014, 2015],
    "why": "Fruchtansatz – früh",
    "theta": 0.1 + 0.2,
}


def test_a_fit_comes_back_as_it_was_saved(store: Store) -> None:
    with store.transaction("local") as repositories:
        assert repositories.fits.all() == ()
        assert repositories.fits.add("z-first", DOCUMENT)
    with store.transaction("local") as repositories:
        assert repositories.fits.add("a-second", {"theta": None})
        assert not repositories.fits.add("z-first", {**DOCUMENT, "seasons": (2014, 2015)})
        with pytest.raises(AlreadyThere):
            repositories.fits.add("z-first", {"theta": None})
    with store.transaction("local", read_only=True) as repositories:
        assert repositories.fits.get("z-first") == DOCUMENT
        assert [fit.id for fit in repositories.fits.all()] == ["a-second", "z-first"]
        with pytest.raises(NotFound, match="fit 'other'"):
            repositories.fits.get("other")


def test_a_document_that_is_no_json_is_refused_on_every_database(store: Store) -> None:
    with store.transaction("local") as repositories:
        with pytest.raises(ValueError, match="not JSON compliant"):
            repositories.fits.add("f1", {"theta": float("nan")})
        repositories.jobs.add("j1", "hindcast")
        with pytest.raises(ValueError, match="not JSON compliant"):
            repositories.jobs.update("j1", result={"rmse": float("inf")})
        assert repositories.fits.all() == ()


def test_a_job_tells_how_far_it_is(store: Store) -> None:
    with store.transaction("local") as repositories:
        job = repositories.jobs.add("j1", "hindcast")
        assert job == Job(
            id="j1",
            kind="hindcast",
            subject=None,
            state="waiting",
            progress=0.0,
            message="",
            result=None,
            created_at=job.created_at,
            updated_at=job.created_at,
        )
        with pytest.raises(AlreadyThere):
            repositories.jobs.add("j1", "hindcast")
    with store.transaction("local") as repositories:
        repositories.jobs.update("j1", state="running", progress=0.25, message="season 3 of 12")
        done = repositories.jobs.update("j1", state="done", progress=1.0, result={"rmse": 3.7})
        assert done == repositories.jobs.get("j1")
    assert (done.state, done.progress, done.message, done.result) == (
        "done",
        1.0,
        "season 3 of 12",
        {"rmse": 3.7},
    )
    assert done.created_at == job.created_at < done.updated_at
    with store.transaction("local") as repositories, pytest.raises(NotFound, match="job 'j2'"):
        repositories.jobs.update("j2", progress=0.5)


def test_the_newest_job_on_a_subject_is_found_by_its_state(store: Store) -> None:
    with store.transaction("local") as repositories:
        for id, subject in (("j1", "f1"), ("j2", "f1"), ("j3", "f2")):
            repositories.jobs.add(id, "hindcast", subject=subject)
        repositories.jobs.update("j1", state="done", result={"rmse": 3.7})
    with store.transaction("local", read_only=True) as repositories:
        jobs = repositories.jobs
        found = [jobs.latest("hindcast", "f1", state) for state in ("done", "waiting", "failed")]
        assert [None if job is None else job.id for job in found] == ["j1", "j2", None]
        assert jobs.latest("hindcast", "f3", "waiting") is None
        assert jobs.latest("fit", "f1", "waiting") is None
    with store.transaction("another", read_only=True) as repositories:
        assert repositories.jobs.latest("hindcast", "f1", "done") is None


def test_a_job_is_cancelled_unless_it_has_ended(store: Store) -> None:
    with store.transaction("local") as repositories:
        for state in ("waiting", "running", "done", "failed"):
            repositories.jobs.add(state, "fit")
            repositories.jobs.update(state, state=state, message="as it was")
        states = [repositories.jobs.cancel(id).state for id in ("waiting", "running", "done", "failed")]
        assert states == ["cancelled", "cancelled", "done", "failed"]
        assert [job.id for job in repositories.jobs.all("done")] == ["done"]
        assert [job.id for job in repositories.jobs.all()] == ["failed", "done", "running", "waiting"]
        with pytest.raises(NotFound):
            repositories.jobs.cancel("other")
    with store.transaction("another") as repositories, pytest.raises(NotFound):
        repositories.jobs.cancel("done")


def test_so_many_jobs_of_a_grower_may_be_open(store: Store) -> None:
    with store.transaction("local") as repositories:
        for number in range(MOST_OPEN_JOBS):
            repositories.jobs.add(f"j{number}", "fit")
        with pytest.raises(TooManyJobs, match=f"{MOST_OPEN_JOBS} jobs"):
            repositories.jobs.add("more", "fit")
        repositories.jobs.cancel("j0")
        repositories.jobs.add("more", "fit")
    with store.transaction("another") as repositories:
        repositories.jobs.add("j0", "fit")
