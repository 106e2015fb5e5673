"""Sign in with a key, and out."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Request
from starlette.responses import RedirectResponse, Response

from service.board.pages import PageRoute, sign_in_page
from service.web.access import known
from service.web.origins import check_own_page, cookie_name
from service.words.language import _

router = APIRouter(route_class=PageRoute, include_in_schema=False)

STAYS_FOR = dt.timedelta(days=400)  # the longest that browsers keep a cookie (RFC 6265bis)


def let_in(request: Request, to: str, secret: str, *, stay: bool) -> RedirectResponse:
    """An answer that leads on, after which the browser sends the key by itself."""
    answer = RedirectResponse(to, 303)
    answer.set_cookie(
        cookie_name(request),
        secret,
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
        who = await known(request, key.strip())
    except HTTPException as error:
        if error.status_code != 401:
            raise
        return sign_in_page(request, to=to, wrong=str(error.detail))
    if not who.may("read"):
        return sign_in_page(request, to=to, wrong=_("this is a calendar link, which shows one calendar only"))
    return let_in(request, to, key.strip(), stay=stay)


@router.post("/sign-out")
def sign_out(request: Request) -> RedirectResponse:
    """Let the browser forget the key, which stays good."""
    check_own_page(request)
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(
        cookie_name(request), secure=request.scope["scheme"] == "https", httponly=True, samesite="lax"
    )
    return answer
