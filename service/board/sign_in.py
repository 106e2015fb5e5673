"""Sign in with a key, and out."""

from __future__ import annotations

import re
from typing import Annotated

from fastapi import Form, HTTPException, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from service.board.pages import pages, sign_in_page
from service.store.access import Key
from service.store.engine import Store
from service.usecases.keys import STAYS_FOR, begin_session, end_session
from service.web.access import Sent, known
from service.web.origins import check_own_page, cookie_name
from service.web.records import store
from service.words.language import _

router = pages()


def let_in(request: Request, to: str, token: str, *, stay: bool) -> RedirectResponse:
    """An answer that leads on, after which the browser sends its token by itself."""
    answer = RedirectResponse(to, 303)
    answer.set_cookie(
        cookie_name(request),
        token,
        max_age=int(STAYS_FOR.total_seconds()) if stay else None,
        httponly=True,
        samesite="lax",
        secure=request.scope["scheme"] == "https",
    )
    return answer


@router.get("/sign-in")
def ask_for_key(request: Request) -> Response:
    """The page that asks for a key."""
    if request.app.state.settings.access == "open":
        return RedirectResponse("/", 303)
    return sign_in_page(request, to="/", status=200)


@router.post("/sign-in")
async def sign_in(
    request: Request,
    key: Annotated[str, Form(max_length=200)] = "",
    to: Annotated[str, Form(max_length=2000)] = "/",
    stay: Annotated[bool, Form()] = False,
) -> Response:
    """Let a browser in whose key is known; another one waits, and may try again."""
    check_own_page(request)
    if not re.match(r"/(?![/\\])", to) or not to.isprintable():  # nowhere but to this service
        to = "/"
    try:
        who = await known(request, Sent(key.strip()))
    except HTTPException as error:
        if error.status_code != 401:
            raise
        return sign_in_page(request, to=to, wrong=str(error.detail))
    if not who.may("read"):
        return sign_in_page(request, to=to, wrong=_("this is a calendar link, which shows one calendar only"))
    assert who.key is not None
    token = await run_in_threadpool(_begun, request.app.state.store, who.key, stay)
    return let_in(request, to, token, stay=stay)


def _begun(kept: Store, key: Key, stay: bool) -> str:
    with kept.access() as access:
        return begin_session(access, key, stay=stay)


@router.post("/sign-out")
def sign_out(request: Request) -> RedirectResponse:
    """Know the browser no more; the key that it signed in with stays good."""
    check_own_page(request)
    token = request.cookies.get(cookie_name(request))
    if token is not None:
        with store(request).access() as access:
            end_session(access, token)
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(
        cookie_name(request), secure=request.scope["scheme"] == "https", httponly=True, samesite="lax"
    )
    return answer
