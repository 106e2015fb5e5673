"""The planting as a map: blocks in place, sources and their reach, and who stands without one."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from models.errors import CapfallError
from models.records import Block, FlowerType, Planting
from models.vineyard.reach import cultivar_of, pollen_makers_in_reach, sheds_viable_pollen
from service import clock
from service.board.bars import role_of
from service.board.pages import AsOf, PageRoute, page
from service.store.repositories import Repositories
from service.usecases.forecasts import stored_forecast
from service.usecases.pollen import pollinate
from service.web.access import Grower
from service.web.keys import VineyardKey
from service.web.records import store
from service.web.units import UnitsQuery
from service.words.pollen import uncovered_words

router = APIRouter(route_class=PageRoute, include_in_schema=False)

Shape = Literal["pistillate", "uncovered", "source", "not_viable"]
SAID_OF_SHAPE: dict[Shape, str] = {
    "pistillate": "pistillate, a pollen source in reach",
    "uncovered": "pistillate, no viable pollen in reach",
    "source": "pollen source",
    "not_viable": "pollen not viable",
}
MOST_LABELS = 150  # more would hide each other
INTERVAL = 0.8
ROOM_FOR_A_MARK = 34  # between two neighbours [px]
ROOM_FOR_A_LETTER = 4.5  # as labels stand above and below in turn [px]
WIDEST = 2400  # [px]


@dataclass(frozen=True)
class Place:
    """One block on the map. [%, m]"""

    block: str
    cultivar: str
    role: str
    vines: int
    bears: bool
    shape: Shape
    said: str
    x: float
    y: float
    x_m: float
    y_m: float
    sources: tuple[str, ...]
    without: tuple[str, ...] = ()


@dataclass(frozen=True)
class Link:
    """A pistillate block and a source in its reach. [%]"""

    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True)
class PlantingMap:
    """The map's content and its shape.

    ``reach`` is the radius of what a source reaches, in per cent as SVG counts radii. ``least_width`` keeps
    neighbours apart. [m, %, px]
    """

    width_m: float
    height_m: float
    least_width: int
    reach: float
    places: tuple[Place, ...]
    links: tuple[Link, ...]
    labelled: bool

    @property
    def uncovered(self) -> list[Place]:
        """The pistillate blocks without viable pollen in reach."""
        return [place for place in self.places if place.shape == "uncovered"]


@router.get("/vineyards/{vineyard}/map")
def planting_page(
    request: Request, vineyard: VineyardKey, grower: Grower, as_of: AsOf = None, units: UnitsQuery = "metric"
) -> HTMLResponse:
    """Where blocks and pollen sources stand."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        planting = records.blocks.planting(vineyard)
        day = clock.today(known.timezone) if as_of is None else as_of
        without = _without_pollen(records, vineyard, day)
    asked = {"units": units} | ({} if as_of is None else {"as_of": as_of.isoformat()})
    return page(
        "map.html",
        vineyard=known,
        units=units,
        asked=asked,
        reach_m=planting.reach_m,
        day=None if without is None else day,
        map=planting_map(planting, without) if planting.blocks else None,
        said_of_shape=SAID_OF_SHAPE,
    )


def _without_pollen(records: Repositories, vineyard: str, day: dt.date) -> dict[str, list[str]] | None:
    """Each block's days without pollen in words; None where there is no forecast of that day."""
    try:
        foreseen = stored_forecast(records, vineyard, as_of=day, fit=None, interval=INTERVAL)
    except CapfallError:
        return None
    return {
        block.block: [uncovered_words(run) for run in block.uncovered] for block in pollinate(foreseen).blocks
    }


def planting_map(planting: Planting, without: Mapping[str, Sequence[str]] | None = None) -> PlantingMap:
    """Lay out a planting that holds blocks, with what is said of days without pollen; the larger y is up."""
    blocks, reach = planting.blocks, planting.reach_m
    margin = max(reach, 5.0)
    left, right = min(block.x_m for block in blocks) - margin, max(block.x_m for block in blocks) + margin
    bottom, top = min(block.y_m for block in blocks) - margin, max(block.y_m for block in blocks) + margin
    width, height = right - left, top - bottom
    # a single long row would be a thread otherwise
    if height < width / 4:
        bottom, height = bottom - (width / 4 - height) / 2, width / 4
        top = bottom + height
    if width < height / 2:
        left, width = left - (height / 2 - width) / 2, height / 2

    def x(block: Block) -> float:
        return 100 * (block.x_m - left) / width

    def y(block: Block) -> float:
        return 100 * (top - block.y_m) / height

    places, links = [], []
    for block in blocks:
        cultivar = cultivar_of(planting, block)
        viable = [
            other
            for other in pollen_makers_in_reach(planting, block)
            if sheds_viable_pollen(cultivar_of(planting, other))
        ]
        shape = _shape(cultivar.flower_type, viable=sheds_viable_pollen(cultivar), covered=bool(viable))
        places.append(
            Place(
                block=block.key,
                cultivar=cultivar.name,
                role=role_of(cultivar),
                vines=block.vines,
                bears=cultivar.flower_type is not FlowerType.STAMINATE,
                shape=shape,
                said=SAID_OF_SHAPE[shape],
                x=x(block),
                y=y(block),
                x_m=block.x_m,
                y_m=block.y_m,
                sources=()
                if cultivar.flower_type is FlowerType.STAMINATE
                else tuple(other.key for other in viable),
                without=tuple((without or {}).get(block.key, ())),
            )
        )
        if shape == "pistillate":
            links += [Link(x(block), y(block), x(other), y(other)) for other in viable]
    return PlantingMap(
        width_m=width,
        height_m=height,
        least_width=_least_width(blocks, width),
        reach=100 * reach / math.sqrt((width**2 + height**2) / 2),
        places=tuple(places),
        links=tuple(links),
        labelled=len(blocks) <= MOST_LABELS,
    )


def _shape(flower_type: FlowerType, *, viable: bool, covered: bool) -> Shape:
    if flower_type is FlowerType.PISTILLATE:
        return "pistillate" if covered else "uncovered"
    return "source" if viable else "not_viable"


def _least_width(blocks: tuple[Block, ...], width_m: float) -> int:
    """How wide the map has to be so that labels of nearest neighbours stand apart. [px]"""
    if not 1 < len(blocks) <= MOST_LABELS:
        return 0
    nearest = min(
        (
            math.hypot(one.x_m - other.x_m, one.y_m - other.y_m)
            for place, one in enumerate(blocks)
            for other in blocks[:place]
            if (one.x_m, one.y_m) != (other.x_m, other.y_m)
        ),
        default=width_m,
    )
    room = max(ROOM_FOR_A_MARK, ROOM_FOR_A_LETTER * max(len(block.key) for block in blocks))
    return min(round(room * width_m / nearest), WIDEST)
