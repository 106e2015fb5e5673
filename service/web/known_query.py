"""Query parameters that a route does not know: refused, as an answer without them would answer another question."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import get_origin

from fastapi import Request
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute

from models.errors import BadInput, Problem
from service.likeness import nearest

FEED_ENDING = ".ics"  # calendar programs put parameters of their own behind an address


async def known_query(request: Request) -> None:
    """Let a request pass whose query parameters are all known, each given once unless it is a list.

    Raises
    ------
    BadInput
        With the name that was probably meant, or the names that there are.
    """
    route = request.scope["route"]
    if not isinstance(route, APIRoute) or request.scope["path"].endswith(FEED_ENDING):
        return
    lists = dict(_parameters(route.dependant))
    asked = [name for name, _ in request.query_params.multi_items()]
    problems = []
    for name in dict.fromkeys(asked):
        if name not in lists:
            problems.append(Problem(f"query.{name}", _advice(name, list(lists))))
        elif asked.count(name) > 1 and not lists[name]:
            problems.append(Problem(f"query.{name}", f"given {asked.count(name)} times; which one is meant?"))
    if problems:
        raise BadInput("the query cannot be answered as it is asked", problems)


def _parameters(dependant: Dependant) -> Iterator[tuple[str, bool]]:
    """Each query parameter of a route and of what it depends on, and whether it is a list."""
    for field in dependant.query_params:
        yield field.alias, get_origin(field.field_info.annotation) in (list, Sequence)
    for each in dependant.dependencies:
        yield from _parameters(each)


def _advice(name: str, known: list[str]) -> str:
    if not known:
        return "not known: this route takes no query parameters"
    folded = {each.replace("_", ""): each for each in known}
    near = nearest(name.casefold().replace("_", "").replace("-", ""), folded)
    if near:
        return f"not known; did you mean {folded[near]}?"
    return f"not known; this route knows {', '.join(sorted(known))}"
