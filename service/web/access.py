"""Who is asking, and whether they may: the only place that decides it.

Open access knows one grower, ``local``, and serves only the machine that it runs on. With keys every request needs
one, in a header; a browser that has signed in sends a token of its own in a cookie. What a route needs is said where it
is defined (`needs`); where it is not said, to read needs ``read`` and all else ``manage``.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextvars import ContextVar
from typing import Annotated, Any, Literal, NamedTuple, TypeVar

from fastapi import Depends, HTTPException, Query, Request
from fastapi.concurrency import run_in_threadpool

from models.errors import BadInput, Problem
from service.store.access import Role
from service.store.engine import Store
from service.store.errors import NotFound
from service.usecases.documents import Slug
from service.usecases.keys import LOCAL, LOCAL_GROWER, Asker, asker_with
from service.web.origins import check_own_page, cookie_name, host_in, is_loopback
from service.words.language import N_, _
from service.words.roles import may_words

__all__ = ["LOCAL_GROWER", "Asked", "Grower", "WhichGrower", "asker", "asker_may", "grower", "needs"]

Need = Role | Literal["nothing"]
Endpoint = TypeVar("Endpoint", bound=Callable[..., Any])

SAFE_METHODS = ("GET", "HEAD")
WRONG_KEY_SECONDS = 1.0
MOST_WAITING = 100
KEY_NEEDED = {"WWW-Authenticate": "Bearer"}
WRONG_KEY = N_("this key is not known: it was never made, was revoked, or its time is over")


class Sent(NamedTuple):
    """The secret of a key, or with ``session`` the token of a browser that has signed in."""

    secret: str
    session: bool = False


ANYBODY = Asker("", "invitation", ())
"""Who asks what needs nothing."""

ASKING: ContextVar[Asker] = ContextVar("asking", default=ANYBODY)
"""Who sent the request that is being answered, for what pages show."""


class WhichGrower(BadInput):
    """The key lets in to several growers, and none is named."""


def needs(role: Need) -> Callable[[Endpoint], Endpoint]:
    """Say which role a route needs, where it is not what its method tells."""

    def said(endpoint: Endpoint) -> Endpoint:
        endpoint.__dict__["needs"] = role
        return endpoint

    return said


def role_needed(request: Request) -> Need:
    """What the route of a request needs."""
    usual: Need = "read" if request.method in SAFE_METHODS else "manage"
    said: Need = getattr(request.scope["endpoint"], "needs", usual)
    return said


class WrongKeys:
    """Makes guessing slow: who sends a wrong key waits for the answer, and nobody else does."""

    def __init__(self) -> None:
        self.waiting = 0

    async def refuse(self) -> HTTPException:
        """The refusal, after a while."""
        if self.waiting >= MOST_WAITING:
            return HTTPException(429, "too many wrong keys at once", {"Retry-After": "1"})
        self.waiting += 1
        try:
            await asyncio.sleep(WRONG_KEY_SECONDS)
        finally:
            self.waiting -= 1
        return HTTPException(401, _(WRONG_KEY), KEY_NEEDED)


async def known(request: Request, sent: Sent) -> Asker:
    """Who asks with what was sent; it is looked up once a request.

    Raises
    ------
    HTTPException
        401, slowly, if it is not known.
    """
    before: tuple[Sent, Asker] | None = getattr(request.state, "known", None)
    if before is not None and before[0] == sent:
        return before[1]
    found = await run_in_threadpool(_look_up, request.app.state.store, sent)
    if found is None:
        raise await request.app.state.wrong_keys.refuse()
    request.state.known = (sent, found)
    return found


def _look_up(store: Store, sent: Sent) -> Asker | None:
    with store.access(read_only=True) as access:
        return asker_with(access, sent.secret, session=sent.session)


async def asker(request: Request) -> Asker:
    """Who sent this request, if they may ask it.

    Raises
    ------
    HTTPException
        401 if a key is needed, 403 if it is not enough, or if open access is asked for from elsewhere.
    NotFound
        If a grower is named to whom the key does not let in.
    """
    needed = role_needed(request)
    if needed == "nothing":
        return ANYBODY
    if request.app.state.settings.access == "open":
        _check_local(request)
        who = LOCAL
    else:
        who = await known(request, _secret(request, needed))
    if not who.may(needed):
        raise HTTPException(
            403,
            _(
                "a key that may {need} is needed; this one may {do}",
                need=may_words(needed),
                do=may_words(who.role),
            ),
        )
    named = request.query_params.get("grower") or request.scope.get("grower")
    if named is not None and named not in who.growers:
        raise NotFound("grower", named)
    request.state.asker = who
    ASKING.set(who)
    return who


def asker_may(needed: Role) -> bool:
    """Whether who sent the request may do more than it asked for: pages show no form that would be refused."""
    return ASKING.get().may(needed)


def _check_local(request: Request) -> None:
    # The client's address keeps other machines out; Host and Origin keep out the page of a foreign site that
    # is open in a browser on this machine.
    host = request.headers.get("host", "")
    asked_of = [request.client.host if request.client else None, host_in(f"//{host}")]
    if "origin" in request.headers:
        asked_of.append(host_in(request.headers["origin"]))
    if not all(is_loopback(host) for host in asked_of):
        raise HTTPException(403, _("open access serves only the machine that the service runs on"))


def sent_secret(request: Request) -> Sent:
    """The key that a request brings in a header, or the token in a browser's cookie.

    Raises
    ------
    HTTPException
        401 if there is none, 403 if the page of another site has sent a browser's.
    """
    scheme, __, bearer = request.headers.get("authorization", "").partition(" ")
    if scheme.lower() == "bearer":
        return Sent(bearer.strip())
    cookie = request.cookies.get(cookie_name(request))
    if cookie is None:
        raise HTTPException(401, _("a key is needed"), KEY_NEEDED)
    if request.method not in SAFE_METHODS:
        check_own_page(request)
    return Sent(cookie, session=True)


def _secret(request: Request, needed: Role) -> Sent:
    if needed == "calendar" and "key" in request.query_params:  # calendar programs send no headers
        return Sent(request.query_params["key"])
    return sent_secret(request)


Asked = Annotated[Asker, Depends(asker)]


async def grower(
    request: Request,
    who: Asked,
    named: Annotated[
        Slug | None,
        Query(alias="grower", description="Whose data; needed where the key lets in to several growers."),
    ] = None,
) -> str:
    """The grower whose data a request is about: the one that it names, or the only one of its key.

    Raises
    ------
    NotFound
        If a calendar link is of another vineyard.
    WhichGrower
        If none is named, and there are several.
    """
    vineyard = request.path_params.get("vineyard")
    if who.key is not None and who.key.vineyard not in (None, vineyard):
        raise NotFound("vineyard", str(vineyard))
    named = named or request.scope.get("grower")
    if named is None:
        if len(who.growers) > 1:
            problem = Problem("query.grower", f"name one of {', '.join(who.growers)}")
            raise WhichGrower("the key lets in to several growers, and none is named", [problem])
        return who.growers[0]
    return named


Grower = Annotated[str, Depends(grower)]
