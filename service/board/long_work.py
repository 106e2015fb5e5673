"""Stop long work from the page that tells how far it is, and say what was stopped."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Request
from starlette.responses import HTMLResponse, RedirectResponse

from service.board.pages import here, page, pages
from service.usecases import fit_jobs
from service.web.access import Grower
from service.web.keys import VineyardKey
from service.web.records import store

router = pages()

JobId = Annotated[str, Path(max_length=63)]


@router.post("/vineyards/{vineyard}/jobs/{job}/stop")
def stop_job(request: Request, vineyard: VineyardKey, grower: Grower, job: JobId) -> RedirectResponse:
    """Stop long work, and lead to the page that tells what was stopped; what has ended stays as it is."""
    with store(request).transaction(grower) as records:
        records.vineyards.get(vineyard)
        records.jobs.cancel(job)
    return RedirectResponse(here(vineyard, f"jobs/{job}"), 303)


@router.get("/vineyards/{vineyard}/jobs/{job}")
def job_page(request: Request, vineyard: VineyardKey, grower: Grower, job: JobId) -> HTMLResponse:
    """What became of long work, and how it is begun again."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        told = records.jobs.get(job)
    return page("job.html", vineyard=known, asked={}, job=told, is_fit=told.kind == fit_jobs.KIND)
