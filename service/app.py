"""The service, put together. Nothing else composes it."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial

from fastapi import FastAPI
from fastapi.concurrency import run_in_threadpool
from starlette.middleware.gzip import GZipMiddleware
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from service.api import routes as api
from service.api.change_header import ChangeHeader
from service.api.document import document
from service.api.everything import check_row
from service.board import routes as board
from service.board.pages import problem_page
from service.jobs import JobRunner
from service.settings import Settings
from service.store.engine import Store
from service.threads import use_one_thread
from service.usecases import fit_jobs, hindcast_jobs
from service.usecases.roster import KeptRows
from service.web import problems
from service.web.access import WrongKeys
from service.web.grower_path import GrowerPath
from service.web.kept import KeptAnswers
from service.web.key_first import KeyFirst
from service.web.methods import HeadAndOptions
from service.web.reading import ReadingOfPages
from service.web.safe_headers import SafeHeaders
from service.web.traffic import Metrics, Traffic
from service.web.turns import Turns
from service.workers import workers_for

DESCRIPTION = """
When each grape cultivar of a planting blooms, and where pollen runs out before the flowers that need it.

Identifiers are slugs that the client chooses; PUT creates (201) or replaces (200), as often as it is sent. An
upload is taken as a whole or not at all. Temperatures are °C and degree-days °C·day unless `units=us`. Every
error is an `application/problem+json` (RFC 9457) whose `errors` say where and what; its `type` opens a page that
says what to do. Where the service asks for keys, send yours as `Authorization: Bearer KEY`; one that lets in to
several growers names one by `?grower=`. Every path answers HEAD, as GET without its body, and OPTIONS.
"""
WORKS = {fit_jobs.KIND: fit_jobs.work, hindcast_jobs.KIND: hindcast_jobs.work}


def create_app(settings: Settings) -> FastAPI:
    """The web service over the store that the settings name; its tables are brought up to date at start."""
    use_one_thread()
    store = Store(settings.database_url)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        await run_in_threadpool(store.migrate)
        jobs = app.state.jobs = JobRunner(store, WORKS, partial(workers_for, settings.scheduler))
        await run_in_threadpool(jobs.start)
        yield
        await run_in_threadpool(jobs.close)
        await run_in_threadpool(store.close)

    app = FastAPI(
        title="Capfall",
        version="1",
        summary="Bloom windows and pollen warnings for grape growers.",
        description=DESCRIPTION,
        lifespan=lifespan,
        # The usual pages fetch scripts from outside; the board has one that fetches nothing.
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        routes=[*api.routes, *board.routes],
    )
    app.state.settings = settings
    app.state.store = store
    app.state.kept = KeptAnswers()
    app.state.kept_rows = KeptRows()
    app.state.turns = Turns()
    app.state.metrics = Metrics(app.state.turns)
    app.state.wrong_keys = WrongKeys()
    app.state.check_row = check_row
    app.state.problem_page = problem_page
    app.add_middleware(ChangeHeader)
    problems.install(app, max_bytes=round(settings.max_upload_mb * 1e6))
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)
    app.add_middleware(Traffic, metrics=app.state.metrics)
    app.add_middleware(HeadAndOptions, routes=app.routes)
    if settings.access == "keys":
        app.add_middleware(KeyFirst, open_forms=board.OPEN_FORMS)
    app.add_middleware(ReadingOfPages)
    app.add_middleware(GrowerPath)
    app.add_middleware(SafeHeaders)
    app.add_middleware(ProxyHeadersMiddleware, trusted_hosts=settings.trusted_proxies)
    app.openapi = partial(document, app)  # type: ignore[method-assign]
    return app
