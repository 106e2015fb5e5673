"""What can be kept up by hand: visits, planting, settings, and the changes made so far."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from fastapi import Form, Path, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from models.errors import BadInput, Problem
from models.records import Block, Cultivar, FlowerType, Visit
from models.units import FEET_PER_METRE
from models.vineyard.frost import COLDER_C
from models.vineyard.scouting import WEEKDAY_NAMES
from service import clock
from service.board.fields import doubted, read_percent, read_step
from service.board.pages import Done, PageUnits, here, page, pages
from service.clock import check_timezone
from service.ingest.cells import number, whole_number
from service.ingest.dates import parse_date
from service.ingest.names import slug
from service.ingest.options import Confirm, ReadOptions
from service.ingest.planting import default_viable_pollen
from service.store.records import Change, Station
from service.store.repositories import Repositories
from service.usecases.observations import change_visit
from service.usecases.temperatures import put_station
from service.web.access import Asked, Grower, needs
from service.web.edge_words import for_page
from service.web.keys import VineyardKey
from service.web.records import changing, store
from service.web.undoing import check_may_undo, may_undo
from service.web.units import Units
from service.words.changes import what_changed
from service.words.language import _
from service.words.plain import WEEKDAYS as WEEKDAY_WORDS

router = pages()

MOST_CHANGES = 50
MOST_VINES = 1_000_000
FARTHEST_M = 100_000.0
FARTHEST_REACH_M = 10_000.0
WEEKDAYS = tuple((name[:3].lower(), said) for name, said in zip(WEEKDAY_NAMES, WEEKDAY_WORDS, strict=True))

VisitId = Annotated[str, Path(max_length=63)]
BlockName = Annotated[str, Query(max_length=63)]
Short = Annotated[str, Form(max_length=63)]
Cell = Annotated[str, Form(max_length=40)]


@router.get("/vineyards/{vineyard}/visits")
def visit_list(
    request: Request, vineyard: VineyardKey, grower: Grower, change: Done = None, block: BlockName = ""
) -> HTMLResponse:
    """All visits, the newest first."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        kept = [each for each in records.visits.kept(vineyard) if block in ("", each.visit.block)]
        blocks = [each.key for each in records.blocks.all(vineyard)]
    return page(
        "visits.html",
        vineyard=known,
        asked={},
        change=change,
        visits=sorted(kept, key=lambda each: each.order, reverse=True),
        blocks=blocks,
        chosen=block,
    )


@router.get("/vineyards/{vineyard}/visits/{visit}")
def visit_page(request: Request, vineyard: VineyardKey, grower: Grower, visit: VisitId) -> HTMLResponse:
    """One visit, to be changed or deleted."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        seen = records.visits.get(vineyard, visit)
        places = list(records.blocks.known(vineyard))
    return page("visit_edit.html", vineyard=known, asked={}, id=visit, visit=seen, places=places)


@router.post("/vineyards/{vineyard}/visits/{visit}")
@needs("record")
def change_visit_from_page(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    visit: VisitId,
    do: Annotated[Literal["change", "delete"], Form()] = "change",
    block: Short = "",
    date: Cell = "",
    percent_open: Cell = "",
    observer: Annotated[str, Form(max_length=200)] = "",
    note: Annotated[str, Form(max_length=2000)] = "",
) -> RedirectResponse:
    """Store it as it is told now, or delete it."""
    with changing(request, grower, preview=False) as records:
        if do == "delete":
            records.visits.delete(vineyard, visit)
        else:
            old = records.visits.get(vineyard, visit)
            today = clock.today(records.vineyards.get(vineyard).timezone)
            told = Visit(
                parse_date(date),
                "" if block else old.cultivar,
                block or None,
                percent_open=read_percent(percent_open) if percent_open.strip() else None,
                bbch=None if percent_open.strip() else old.bbch,
                observer=observer.strip() or None,
                note=note.strip() or None,
            )
            change_visit(records, vineyard, visit, told, options=ReadOptions(sent_on=today))
    return RedirectResponse(here(vineyard, "visits", change=request.state.change), 303)


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
        far = _("{length} is too far off", length=f"{told:g} {_unit(per_m)}")
        raise BadInput(_("the place cannot be right"), [Problem(where, far)])
    return told / per_m


def _unit(per_m: float) -> str:
    return "m" if per_m == 1.0 else "ft"


@router.get("/vineyards/{vineyard}/settings")
def settings_page(
    request: Request, vineyard: VineyardKey, grower: Grower, units: PageUnits, change: Done = None
) -> HTMLResponse:
    """Name, station, reach, weekdays and time zone; and the station itself."""
    return _settings(request, vineyard, grower, units, change=change)


def _settings(
    request: Request,
    vineyard: str,
    grower: str,
    units: Units,
    *,
    change: int | None = None,
    doubtful: tuple[Station, Sequence[Problem]] | None = None,
) -> HTMLResponse:
    """The page; with a station as it was told, where it can be right only if that is confirmed."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        stations = records.stations.all()
    stands = next((each for each in stations if each.key == known.station), None)
    return page(
        "settings.html",
        status=200 if doubtful is None else 422,
        vineyard=known,
        asked={},
        change=change,
        units=units,
        stations=stations,
        station=stands if doubtful is None else doubtful[0],
        doubts=() if doubtful is None else [for_page(each.problem) for each in doubtful[1]],
        weekdays=WEEKDAYS,
    )


@router.post("/vineyards/{vineyard}/settings")
def change_settings(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    name: Annotated[str, Form(max_length=200)] = "",
    station: Short = "",
    reach: Cell = "",
    reach_unit: Annotated[Literal["m", "ft"], Form()] = "m",
    weekdays: Annotated[list[str] | None, Form()] = None,
    timezone: Annotated[str, Form(max_length=100)] = "",
) -> RedirectResponse:
    """Store the settings as they are told now."""
    if not name.strip():
        raise BadInput(_("a vineyard has a name"), [Problem("name", _("give the vineyard a name"))])
    told, per_m = number(reach), FEET_PER_METRE if reach_unit == "ft" else 1.0
    if not 0 <= told / per_m <= FARTHEST_REACH_M:
        farthest = f"{FARTHEST_REACH_M * per_m:,.0f} {_unit(per_m)}"
        outside = _(
            "{length} is outside 0 to {farthest}", length=f"{told:g} {_unit(per_m)}", farthest=farthest
        )
        raise BadInput(_("the reach cannot be right"), [Problem("reach", outside)])
    days = tuple(day for day, _ in WEEKDAYS if day in (weekdays or ()))
    with changing(request, grower, preview=False) as records:
        known = records.vineyards.get(vineyard)
        records.vineyards.put(
            replace(
                known,
                name=name.strip(),
                station=station or None,
                reach_m=told / per_m,
                scouting_weekdays=None if len(days) in (0, len(WEEKDAYS)) else days,
                timezone=check_timezone(timezone.strip()) if timezone.strip() else None,
            )
        )
    return RedirectResponse(here(vineyard, "settings", change=request.state.change), 303)


@router.post("/vineyards/{vineyard}/station")
def change_station(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    units: PageUnits,
    station: Short = "",
    name: Annotated[str, Form(max_length=200)] = "",
    latitude: Cell = "",
    longitude: Cell = "",
    elevation_m: Cell = "",
    confirm: Annotated[list[Confirm] | None, Form()] = None,
) -> Response:
    """Store the station as it is told now; a new one, where none is named, becomes the vineyard's."""
    told = Station(
        station or slug(name),
        name.strip(),
        _degrees("latitude", latitude, 90),
        _degrees("longitude", longitude, 180),
        number(elevation_m) if elevation_m.strip() else None,
    )
    try:
        _put_station(request, vineyard, grower, told, new=not station, confirm=confirm or ())
    except BadInput as error:
        if not doubted(error.problems):
            raise
        return _settings(request, vineyard, grower, units, doubtful=(told, error.problems))
    return RedirectResponse(here(vineyard, "settings", change=request.state.change), 303)


def _put_station(
    request: Request, vineyard: str, grower: str, told: Station, *, new: bool, confirm: Sequence[Confirm]
) -> None:
    with changing(request, grower, preview=False) as records:
        if new and told.key in {each.key for each in records.stations.all()}:
            raise BadInput(
                _("the name is taken"),
                [Problem("name", _("{name} is a station already", name=repr(told.key)))],
            )
        put_station(records, told, confirm=confirm)
        if new:
            records.vineyards.put(replace(records.vineyards.get(vineyard), station=told.key))


def _degrees(where: str, text: str, most: float) -> float:
    told = number(text.strip())
    if abs(told) > most:
        raise BadInput(
            _("the place cannot be right"),
            [
                Problem(
                    where,
                    _(
                        "{number} is outside {low} to {high}",
                        number=f"{told:g}",
                        low=f"-{most:g}",
                        high=f"{most:g}",
                    ),
                )
            ],
        )
    return told


@router.post("/vineyards/{vineyard}/delete")
def delete_vineyard(request: Request, vineyard: VineyardKey, grower: Grower) -> RedirectResponse:
    """Delete the vineyard with all that was seen there; the list of vineyards offers to undo it."""
    with changing(request, grower, preview=False) as records:
        records.vineyards.delete(vineyard)
    return RedirectResponse(f"/?change={request.state.change}", 303)


@router.get("/vineyards/{vineyard}/changes")
def change_list(
    request: Request, vineyard: VineyardKey, grower: Grower, who: Asked, change: Done = None
) -> HTMLResponse:
    """What was changed in the vineyard and at its station, the newest first."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        found = {
            each.number: each
            for kind, key in (("vineyard", vineyard), ("station", known.station))
            if key is not None
            for each in records.changes.all(owners={kind: key}, limit=MOST_CHANGES)
        }
    newest = sorted(found.values(), key=lambda each: -each.number)[:MOST_CHANGES]
    zone = None if known.timezone is None else ZoneInfo(known.timezone)
    return page(
        "changes.html",
        vineyard=known,
        asked={},
        change=change,
        changes=[
            (each, what_changed(each.code, each.params), _at(each, zone), may_undo(who, each))
            for each in newest
        ],
    )


def _at(change: Change, zone: ZoneInfo | None) -> dt.datetime:
    return change.at.astimezone(zone)


@router.post("/changes/{change}/undo")
@needs("record")
def undo_from_page(
    request: Request,
    grower: Grower,
    who: Asked,
    change: Annotated[int, Path(ge=1, le=2**31 - 1)],
    back: Annotated[str, Form(max_length=300)] = "/",
) -> RedirectResponse:
    """Undo a change, and go back to the page that it was asked for on."""
    with changing(request, grower, preview=False) as records:
        check_may_undo(who, records.changes.get(change))
        records.changes.undo(change)
    own = back if back.startswith("/") and not back.startswith(("//", "/\\")) else "/"
    return RedirectResponse(f"{own}{'&' if '?' in own else '?'}change={request.state.change}", 303)
