"""A vineyard and its station: names, places, days, and their end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Annotated, Literal

from fastapi import Form, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from models.errors import BadInput, Problem
from models.units import FEET_PER_METRE
from models.vineyard.scouting import WEEKDAY_NAMES
from service.board.fields import doubted, length_unit
from service.board.pages import Done, PageUnits, here, page, pages
from service.clock import check_timezone
from service.ingest.cells import number
from service.ingest.names import slug
from service.ingest.options import Confirm
from service.store.records import Station
from service.usecases.temperatures import put_station
from service.web.access import Grower
from service.web.edge_words import for_page
from service.web.keys import VineyardKey
from service.web.records import changing, store
from service.web.units import Units
from service.words.language import _
from service.words.plain import WEEKDAYS as WEEKDAY_WORDS

router = pages()

FARTHEST_REACH_M = 10_000.0
WEEKDAYS = tuple((name[:3].lower(), said) for name, said in zip(WEEKDAY_NAMES, WEEKDAY_WORDS, strict=True))
Short = Annotated[str, Form(max_length=63)]
Cell = Annotated[str, Form(max_length=40)]


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
        farthest = f"{FARTHEST_REACH_M * per_m:,.0f} {length_unit(per_m)}"
        outside = _(
            "{length} is outside 0 to {farthest}", length=f"{told:g} {length_unit(per_m)}", farthest=farthest
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
