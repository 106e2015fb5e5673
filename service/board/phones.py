"""Add a phone by a picture that it reads, and revoke keys."""

from __future__ import annotations

from typing import Annotated

import segno
from fastapi import Form, Path, Request
from fastapi.concurrency import run_in_threadpool
from markupsafe import Markup
from starlette.responses import HTMLResponse, RedirectResponse, Response

from service.board.pages import page, pages
from service.board.sign_in import let_in
from service.store.access import Key
from service.store.engine import Store
from service.store.errors import NotFound
from service.usecases.keys import INVITED_FOR, Asker, accept, begin_session, invitation_with, invite
from service.web.access import Asked, needs
from service.web.origins import check_own_page, host_in, is_loopback, own_address
from service.web.records import store
from service.words.language import N_, _

router = pages()

USED_UP = N_("This link was used already, or is older than ten minutes: ask for a new one.")
Link = Annotated[str, Path(alias="link", max_length=100)]


@router.get("/phones")
@needs("manage")
def phones(request: Request, who: Asked) -> HTMLResponse:
    """The form that adds a phone, and all keys that let in."""
    with store(request).access(read_only=True) as access:
        keys = access.all_keys(who.growers)
    return page(
        "phones.html",
        who=who,
        keys=[key for key in keys if key.role != "invitation"],
        open=request.app.state.settings.access == "open",
    )


@router.post("/phones")
def add_phone(
    request: Request,
    who: Asked,
    name: Annotated[str, Form(max_length=200)] = "",
    grower: Annotated[list[str] | None, Form()] = None,
) -> HTMLResponse:
    """Show the picture of a link that makes a key for the phone that opens it."""
    address = own_address(request)
    with store(request).access() as access:
        _, secret = invite(access, who, name=name, growers=grower or _only(who))
    link = f"{address}/phone/{secret}"
    return page(
        "add_phone.html",
        name=name.strip(),
        link=link,
        picture=picture(link),
        minutes=int(INVITED_FOR.total_seconds() / 60),
        only_here=is_loopback(host_in(address)),
    )


def _only(who: Asker) -> tuple[str, ...]:
    return who.growers if len(who.growers) == 1 else ()


def picture(link: str) -> Markup:
    """A link as a picture that phones read (QR code, ISO/IEC 18004), as SVG."""
    code = segno.make(link, error="m", micro=False)
    return Markup(code.svg_inline(light="#fff", svgclass="qr", lineclass=None, omitsize=True))


@router.post("/phones/{key}/revoke")
def revoke(request: Request, who: Asked, key: Annotated[str, Path(max_length=63)]) -> RedirectResponse:
    """Revoke a key at once."""
    with store(request).access() as access:
        access.revoke(key, who.growers)
    return RedirectResponse("/phones", 303)


@router.get("/phone/{link}")
async def ask_phone(request: Request, link: Link) -> HTMLResponse:
    """Ask before the link is used up: programs that preview links open it too."""
    invitation = await run_in_threadpool(_invitation, request.app.state.store, link)
    if invitation is None:
        return await _used_up(request)
    return page("phone.html", name=invitation.name, growers=invitation.growers, link=link)


@router.post("/phone/{link}")
async def take_phone(request: Request, link: Link) -> Response:
    """Use the link up: the phone that asks has a key of its own from now on."""
    check_own_page(request)
    try:
        token = await run_in_threadpool(_accepted, request.app.state.store, link)
    except NotFound:
        return await _used_up(request)
    return let_in(request, "/", token, stay=True)


async def _used_up(request: Request) -> HTMLResponse:
    await request.app.state.wrong_keys.refuse()  # slow, as for a wrong key
    return page(
        "problem.html",
        status=404,
        title=_("This link lets in no more"),
        detail=_(USED_UP),
        problems=[],
        sent=False,
    )


def _invitation(kept: Store, link: str) -> Key | None:
    with kept.access(read_only=True) as access:
        return invitation_with(access, link)


def _accepted(kept: Store, link: str) -> str:
    with kept.access() as access:
        return begin_session(access, accept(access, link).key, stay=True)
