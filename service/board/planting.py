"""All blocks of a vineyard, and one to be changed."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Literal

from fastapi import Form, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse

from models.errors import BadInput, Problem
from models.records import Block, Cultivar, FlowerType
from models.units import FEET_PER_METRE
from models.vineyard.frost import COLDER_C
from service.board.fields import length_unit, read_step
from service.board.pages import Done, PageUnits, here, page, pages
from service.ingest.cells import number, whole_number
from service.ingest.names import slug
from service.ingest.planting import default_viable_pollen
from service.store.repositories import Repositories
from service.web.access import Grower
from service.web.keys import VineyardKey
from service.web.records import changing, store
from service.web.units import Units
from service.words.language import _

router = pages()

MOST_VINES = 1_000_000
FARTHEST_M = 100_000.0
BlockName = Annotated[str, Query(max_length=63)]
Short = Annotated[str, Form(max_length=63)]
Cell = Annotated[str, Form(max_length=40)]


@router.get("/vineyards/{vineyard}/planting")
def planting_list(
    request: Request, vineyard: VineyardKey, grower: Grower, units: PageUnits, change: Done = None
) -> HTMLResponse:
    """All blocks, each to be opened."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        blocks = records.blocks.all(vineyard)
        cultivars = {each.key: each for each in records.cultivars.all()}
    return page(
        "planting.html",
        vineyard=known,
        asked={},
        change=change,
        units=units,
        blocks=blocks,
        cultivars=cultivars,
    )


@router.get("/vineyards/{vineyard}/block")
def block_page(
    request: Request, vineyard: VineyardKey, grower: Grower, units: PageUnits, block: BlockName = ""
) -> HTMLResponse:
    """One block, to be changed, renamed or deleted; a new one where none is named."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        stands = records.blocks.get(vineyard, block) if block else None
        cultivars = records.cultivars.all()
        frosted = {(each.block, each.season) for each in records.frosted.all(vineyard)}
    return page(
        "block.html",
        vineyard=known,
        asked={},
        block=stands,
        units=units,
        cultivars=cultivars,
        flower_types=list(FlowerType),
        frosted=sorted(season for key, season in frosted if key == block),
    )


@router.post("/vineyards/{vineyard}/block")
def change_block(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    block: Short = "",
    do: Annotated[Literal["change", "delete"], Form()] = "change",
    name: Short = "",
    cultivar: Short = "",
    new_cultivar: Short = "",
    flower_type: Cell = "pistillate",
    x: Cell = "",
    y: Cell = "",
    unit: Annotated[Literal["m", "ft"], Form()] = "m",
    vines: Cell = "",
    neighbours: Annotated[str, Form(max_length=2000)] = "",
    colder: Cell = "",
    colder_unit: Annotated[Units, Form()] = "metric",
) -> RedirectResponse:
    """Store the block as it is told now; under a new name its past follows. Or take it out of the planting."""
    with changing(request, grower, preview=False) as records:
        if do == "delete":
            records.blocks.delete(vineyard, block)
        else:
            key = slug(name)
            if not block and key in records.blocks.known(vineyard):
                raise BadInput(
                    _("the name is taken"),
                    [Problem("name", _("{name} stands or stood here already", name=repr(key)))],
                )
            if block and key != block:
                records.blocks.rename(vineyard, block, key)
            if new_cultivar.strip():
                cultivar = _new_cultivar(records, new_cultivar.strip(), flower_type)
            per_m = FEET_PER_METRE if unit == "ft" else 1.0
            place = _length("x", x, per_m), _length("y", y, per_m)
            stood = records.blocks.get(vineyard, key) if block else Block(key, cultivar, *place)
            told = replace(
                stood,
                cultivar=cultivar,
                x_m=place[0],
                y_m=place[1],
                vines=whole_number(vines.strip(), low=1, high=MOST_VINES) if vines.strip() else stood.vines,
                neighbours=tuple(slug(each) for each in neighbours.split(";") if each.strip()) or None,
                colder_than_station_c=read_step("colder", colder, colder_unit, COLDER_C),
            )
            records.blocks.put(vineyard, told)
    return RedirectResponse(here(vineyard, "planting", change=request.state.change), 303)


def _new_cultivar(records: Repositories, name: str, flower_type: str) -> str:
    key, kind = slug(name), FlowerType(flower_type)
    if key not in {each.key for each in records.cultivars.all()}:
        records.cultivars.put(Cultivar(key, name, kind, default_viable_pollen(kind)))
    return key


def _length(where: str, text: str, per_m: float) -> float:
    told = number(text.strip() or "0")
    if abs(told / per_m) > FARTHEST_M:
        far = _("{length} is too far off", length=f"{told:g} {length_unit(per_m)}")
        raise BadInput(_("the place cannot be right"), [Problem(where, far)])
    return told / per_m
