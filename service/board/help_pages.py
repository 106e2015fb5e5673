"""The guide, kept as Markdown in ``help/``: a page for each file, and one for each kind of problem."""

from __future__ import annotations

import importlib.resources
import re
from collections.abc import Mapping
from functools import cache

from fastapi import HTTPException
from fastapi.responses import HTMLResponse

from service.board.markdown import HELP, rendered
from service.board.pages import page, pages
from service.web.problems import all_kinds

FOLDER = importlib.resources.files("service.board") / "help"
# In the order in which they are listed.
PAGES = (
    "session",
    "phone",
    "year",
    "answers",
    "files",
    "commands",
    "growers",
    "proxy",
    "settings",
    "running",
    "assumptions",
    "problems",
    "changes",
)

router = pages()


@cache
def text_of(name: str) -> str:
    """A page's Markdown."""
    return (FOLDER / f"{name}.md").read_text(encoding="utf-8")


def title_of(name: str) -> str:
    """A page's first line."""
    return text_of(name).partition("\n")[0].removeprefix("# ")


@cache
def sections(name: str) -> Mapping[str, str]:
    """What stands under each heading of the second order of a page."""
    _, *parts = re.split(r"^## (.*)\n", text_of(name), flags=re.MULTILINE)
    return dict(zip(parts[::2], (part.strip() for part in parts[1::2]), strict=True))


def _listed() -> list[tuple[str, str]]:
    return [(f"{HELP}{name}", title_of(name)) for name in PAGES]


@router.get("/help")
def contents() -> HTMLResponse:
    """What the guide holds."""
    return page("help.html", title="Guide", pages=_listed(), here=None, text=None)


@router.get("/help/{name}")
def guide(name: str) -> HTMLResponse:
    """One page of the guide."""
    if name not in PAGES:
        raise HTTPException(404, f"The guide has no page {name!r}.")
    return page(
        "help.html", title=title_of(name), pages=_listed(), here=HELP + name, text=rendered(text_of(name))
    )


@router.get("/problems/{slug}")
def problem(slug: str) -> HTMLResponse:
    """What a kind of problem means, and what to do: where the ``type`` of a problem leads."""
    kind = all_kinds().get(slug)
    if kind is None:
        raise HTTPException(404, f"There is no kind of problem {slug!r}.")
    return page("kind.html", kind=kind, text=rendered(sections("problems")[slug]))
