"""What the routes of each part of version 1 share, known as they are built: FastAPI analyses each of them once."""

from __future__ import annotations

from fastapi import APIRouter, Depends
from fastapi.params import Depends as Needed
from fastapi.routing import APIRoute

from service.api.responses import EVERYWHERE
from service.web.access import asker
from service.web.kept import KEPT, KEPT_WITH_TOLD, KeptRoute
from service.web.known_query import known_query


def operation_id(route: APIRoute) -> str:
    """What the API document calls a route: the name of its function."""
    return route.name


def part(prefix: str, tag: str, *needs: Needed) -> APIRouter:
    """A router for one part; who asks comes first, so nothing of a stranger's request is looked at.

    Parameters
    ----------
    prefix : str
    tag : str
        The part's heading in the API document.
    needs : KEPT or KEPT_WITH_TOLD, HEAVY
        Of every route: its answer is kept, it waits for a turn to compute.
    """
    return APIRouter(
        prefix=prefix,
        tags=[tag],
        route_class=KeptRoute if KEPT in needs or KEPT_WITH_TOLD in needs else APIRoute,
        responses=EVERYWHERE,
        dependencies=[Depends(asker), Depends(known_query), *needs],
        generate_unique_id_function=operation_id,
    )
