"""Frost: the blocks that a night killed shoots in, limits by stage, and how much colder the cordons are."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from fastapi import Form, Request
from starlette.responses import HTMLResponse, RedirectResponse

from models.errors import BadInput, Problem
from models.heat.season import season_of
from models.records import FrostedBlock
from models.units import celsius_from_fahrenheit, fahrenheit_from_celsius
from models.vineyard.frost import COLDER_C, LIMIT_STAGES, FrostLimits
from service import clock
from service.board.fields import read_percent, read_step
from service.board.pages import Done, PageUnits, here, in_step, page, pages
from service.ingest.cells import number
from service.ingest.dates import parse_date
from service.store.records import Vineyard
from service.store.repositories import Repositories
from service.usecases.frost import mark_frosted
from service.web.access import Grower, needs
from service.web.keys import VineyardKey
from service.web.records import changing, store
from service.web.units import Units
from service.words.language import _

router = pages()

Cell = Annotated[str, Form(max_length=40)]
Keys = Annotated[list[str] | None, Form()]


@router.get("/vineyards/{vineyard}/frost")
def frost_page(
    request: Request, vineyard: VineyardKey, grower: Grower, units: PageUnits, change: Done = None
) -> HTMLResponse:
    """A form for a night of frost, the marks so far, and the limits."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        blocks = records.blocks.all(vineyard)
        marks = records.frosted.all(vineyard)
        season = _season(records, known)
    limits = known.frost_limits
    shown = {} if limits is None else {key: _shown(limit, units) for key, limit in limits.limits_c.items()}
    colder = known.colder_than_station_c
    return page(
        "frost.html",
        vineyard=known,
        asked={},
        change=change,
        units=units,
        blocks=[block.key for block in blocks],
        marks=sorted(marks, key=lambda mark: (-mark.season, mark.block)),
        season=season,
        stages=LIMIT_STAGES,
        limits=shown,
        limits_source="" if limits is None else limits.source,
        colder="" if colder is None else in_step(colder, units),
    )


@router.post("/vineyards/{vineyard}/frost")
@needs("record")
def mark_from_page(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    blocks: Keys = None,
    night: Cell = "",
    percent_killed: Cell = "",
) -> RedirectResponse:
    """Mark blocks whose shoots froze in a night; without one, in this season."""
    if not blocks:
        raise BadInput(_("no block is chosen"), [Problem("blocks", _("choose those whose shoots froze"))])
    killed = None
    if percent_killed.strip():
        killed = read_percent(percent_killed, where="percent_killed") / 100
        if killed == 0:
            raise BadInput(_("nothing froze"), [Problem("percent_killed", _("leave the block unmarked"))])
    with changing(request, grower, preview=False) as records:
        known = records.vineyards.get(vineyard)
        day = parse_date(night) if night.strip() else None
        season = _season(records, known) if day is None else season_of(day, _latitude(records, known))
        for block in blocks:
            mark_frosted(records, vineyard, FrostedBlock(block, season, day, killed))
    return RedirectResponse(here(vineyard, "frost", change=request.state.change), 303)


@router.post("/vineyards/{vineyard}/frost/remove")
@needs("record")
def unmark_from_page(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    block: Annotated[str, Form(max_length=63)],
    season: Annotated[int, Form()],
) -> RedirectResponse:
    """Take a mark away."""
    with changing(request, grower, preview=False) as records:
        records.frosted.delete(vineyard, block, season)
    return RedirectResponse(here(vineyard, "frost", change=request.state.change), 303)


@router.post("/vineyards/{vineyard}/frost/limits")
def change_limits(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    unit: Annotated[Units, Form()] = "metric",
    colder: Cell = "",
    budbreak: Cell = "",
    bloom_start: Cell = "",
    full_bloom: Cell = "",
    source: Annotated[str, Form(max_length=300)] = "",
) -> RedirectResponse:
    """Store limits by stage, whose they are, and by how much cordons are colder than the station."""
    typed = dict(zip(LIMIT_STAGES, (budbreak, bloom_start, full_bloom), strict=True))
    limits_c = {stage: _celsius(text, unit) for stage, text in typed.items() if text.strip()}
    limits = None
    if limits_c:
        if not source.strip():
            raise BadInput(_("limits have a source"), [Problem("source", _("say whose limits they are"))])
        limits = FrostLimits(limits_c, source.strip())
    step_c = read_step("colder", colder, unit, COLDER_C)
    with changing(request, grower, preview=False) as records:
        known = records.vineyards.get(vineyard)
        records.vineyards.put(replace(known, colder_than_station_c=step_c, frost_limits=limits))
    return RedirectResponse(here(vineyard, "frost", change=request.state.change), 303)


def _season(records: Repositories, vineyard: Vineyard) -> int:
    """The season that it is."""
    return season_of(clock.today(vineyard.timezone), _latitude(records, vineyard))


def _latitude(records: Repositories, vineyard: Vineyard) -> float:
    """North where no station says otherwise."""
    return 1.0 if vineyard.station is None else records.stations.get(vineyard.station).latitude


def _celsius(text: str, units: Units) -> float:
    told = number(text.strip())
    return celsius_from_fahrenheit(told) if units == "us" else told


def _shown(temperature_c: float, units: Units) -> str:
    return f"{fahrenheit_from_celsius(temperature_c) if units == 'us' else temperature_c:.6g}"
