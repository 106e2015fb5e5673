"""A cultivar's pollen: how good it is, how many flowers its vines bear, and what was noted of sources for it."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from fastapi import Form, Path, Request
from starlette.responses import HTMLResponse, RedirectResponse

from models.errors import BadInput, Problem
from models.records import PollenNote
from service.board.fields import read_percent
from service.board.pages import Done, here, page, pages
from service.ingest.cells import number
from service.ingest.names import slug
from service.web.access import Grower
from service.web.keys import VineyardKey
from service.web.records import changing, store
from service.words.language import _

router = pages()

LONGEST_TEXT, LONGEST_REFERENCE, MOST_NOTES = 1000, 300, 100
PARTS = 3
CultivarName = Annotated[str, Path(max_length=63)]
Cell = Annotated[str, Form(max_length=40)]


@router.get("/vineyards/{vineyard}/cultivars/{cultivar}")
def cultivar_page(
    request: Request, vineyard: VineyardKey, grower: Grower, cultivar: CultivarName, change: Done = None
) -> HTMLResponse:
    """The fields of its pollen, and the notes, one a line."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        found = records.cultivars.get(cultivar)
        others = [each for each in records.cultivars.all() if each.key != cultivar]
    return page("cultivar.html", vineyard=known, asked={}, change=change, cultivar=found, others=others)


@router.post("/vineyards/{vineyard}/cultivars/{cultivar}")
def change_cultivar(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    cultivar: CultivarName,
    quality: Cell = "",
    flowers: Cell = "",
    notes: Annotated[str, Form(max_length=100_000)] = "",
) -> RedirectResponse:
    """Store them as they are told now."""
    share = read_percent(quality, where="quality") / 100 if quality.strip() else None
    count = number(flowers.strip()) if flowers.strip() else None
    for where, told in (("quality", share), ("flowers", count)):
        if told is not None and told <= 0:
            raise BadInput(
                _("it cannot be right"), [Problem(where, _("give a number above 0, or leave it empty"))]
            )
    with changing(request, grower, preview=False) as records:
        known = {each.key for each in records.cultivars.all()}
        told_notes = _notes(notes, known)
        found = records.cultivars.get(cultivar)
        records.cultivars.put(
            replace(found, pollen_quality=share, flowers_a_vine=count, pollen_notes=told_notes)
        )
    return RedirectResponse(here(vineyard, f"cultivars/{cultivar}", change=request.state.change), 303)


def _notes(text: str, known: set[str]) -> tuple[PollenNote, ...]:
    """One a line: source, text, reference, split by "|"."""
    found, problems = [], []
    for place, line in enumerate(filter(None, (each.strip() for each in text.splitlines())), 1):
        note = _("note {number}", number=place)
        parts = [part.strip() for part in line.split("|")]
        if len(parts) != PARTS or not all(parts):
            problems.append(Problem(note, _('write "source | what was noted | where that is from"')))
        elif slug(parts[0]) not in known:
            problems.append(Problem(note, _("{name} is no cultivar here", name=repr(parts[0]))))
        elif len(parts[1]) > LONGEST_TEXT or len(parts[2]) > LONGEST_REFERENCE:
            problems.append(Problem(note, _("it is too long")))
        else:
            found.append(PollenNote(slug(parts[0]), parts[1], parts[2]))
    if len(found) > MOST_NOTES:
        problems.append(Problem("notes", _("at most {number}", number=MOST_NOTES)))
    if problems:
        raise BadInput(_("the notes cannot be read"), problems)
    return tuple(found)
