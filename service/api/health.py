"""Whether the service is up, whether it can work, and how busy it is."""

from __future__ import annotations

from anyio import CapacityLimiter, to_thread
from fastapi import HTTPException, Request
from fastapi.responses import PlainTextResponse
from prometheus_client import CONTENT_TYPE_LATEST

from service.api.part import part
from service.api.responses import problems
from service.api.schemas import Health
from service.web.access import needs
from service.web.records import store

router = part("", "service")


@router.get("/healthz", summary="Is the service up?")
@needs("nothing")
async def get_health() -> Health:
    """`ok` as soon as the service runs; it waits for nothing, however much is being computed."""
    return Health(status="ok")


@router.get("/readyz", summary="Can the service work?", responses=problems(503))
@needs("nothing")
async def get_readiness(request: Request) -> Health:
    """`ok` if the store answers; else 503."""
    own_thread = CapacityLimiter(1)  # not one of those that answer requests: all of them may be busy
    if not await to_thread.run_sync(store(request).is_answering, limiter=own_thread):
        raise HTTPException(503, "the store does not answer")
    return Health(status="ok")


@router.get("/metrics", include_in_schema=False)
def get_metrics(request: Request) -> PlainTextResponse:
    """Counts for Prometheus; for whoever may use the service. They name no grower and no vineyard."""
    return PlainTextResponse(request.app.state.metrics.text(), media_type=CONTENT_TYPE_LATEST)
