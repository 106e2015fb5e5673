"""Whether the service is up."""

from __future__ import annotations

from fastapi import APIRouter, HTTPException, Request

from service.api.responses import problems
from service.api.schemas import Health
from service.web.access import needs
from service.web.records import store

router = APIRouter(tags=["service"])


@router.get("/healthz", summary="Is the service up?", responses=problems(503))
@needs("nothing")
def get_health(request: Request) -> Health:
    """`ok` once the store answers."""
    if not store(request).is_answering():
        raise HTTPException(503, "the store does not answer")
    return Health(status="ok")
