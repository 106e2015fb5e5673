"""A grower's all by page: taken out as one file, taken in after a look, and deleted for good."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from fastapi import File, Form, Request, UploadFile
from starlette.responses import HTMLResponse, RedirectResponse, Response

from models.errors import BadInput, Problem
from service.board.fields import content_of
from service.board.pages import page, pages
from service.usecases.everything import delete_everything, read_export, take_in
from service.web.access import Grower, needs
from service.web.records import changing, store
from service.words.language import _
from service.words.tables import rows_told

router = pages()


@router.get("/everything")
@needs("manage")
def everything_page(request: Request, grower: Grower) -> HTMLResponse:
    """What is kept of the grower, and what can be done with all of it."""
    return _page(request, grower)


@router.post("/everything/import")
def take_everything_in(
    request: Request,
    grower: Grower,
    step: Annotated[Literal["preview", "apply"], Form()] = "preview",
    export: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Say what an export would bring, or take it in: all of it, or nothing."""
    content = content_of(export)
    if content is None:
        raise BadInput(_("no file was chosen"), [Problem("export", _("choose the file"))])
    rows = read_export(content, request.app.state.check_row)
    with changing(request, grower, preview=step == "preview") as records:
        brought = take_in(records, rows)
    if step == "apply":
        return RedirectResponse("/", 303)
    return _page(request, grower, brought=brought)


@router.post("/everything/delete")
def delete_for_good(
    request: Request, grower: Grower, confirm: Annotated[str, Form(max_length=63)] = ""
) -> RedirectResponse:
    """Delete all of it for good, once the grower's name is typed."""
    with changing(request, grower, preview=False) as records:
        delete_everything(records, confirm.strip())
    return RedirectResponse("/everything", 303)


def _page(request: Request, grower: str, *, brought: Mapping[str, int] | None = None) -> HTMLResponse:
    with store(request).transaction(grower, read_only=True) as records:
        held = records.everything.held()
    return page(
        "everything.html",
        grower=grower,
        held=rows_told(held),
        brought=None if brought is None else rows_told(brought),
    )
