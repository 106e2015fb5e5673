"""The planting as a map: blocks in place or as lines, sources and their reach, and who stands without one."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
from fastapi import Request
from starlette.responses import HTMLResponse

from models.bloom.forecast import BlockForecast
from models.errors import CapfallError
from models.records import Block, FlowerType, Planting
from models.vineyard.reach import (
    cultivar_of,
    nearest_vines,
    pollen_makers_in_reach,
    sheds_viable_pollen,
    vine_groups,
    vine_places,
)
from models.vineyard.season_state import season_state, standing
from service import clock
from service.board.bars import role_of
from service.board.pages import AsOf, PageUnits, page, pages
from service.store.repositories import Repositories
from service.usecases.forecasts import stored_forecast
from service.usecases.pollen import pollinate
from service.web.access import Grower
from service.web.kept import KEPT
from service.web.keys import VineyardKey
from service.web.records import store
from service.web.turns import HEAVY
from service.words.language import N_, _
from service.words.plain import short_date
from service.words.pollen import uncovered_words
from service.words.season import standing_words, state_words

router = pages(KEPT, HEAVY)

Shape = Literal["pistillate", "uncovered", "source", "not_viable"]
SAID_OF_SHAPE: dict[Shape, str] = {
    "pistillate": N_("pistillate, a pollen source in reach"),
    "uncovered": N_("pistillate, no viable pollen in reach"),
    "source": N_("pollen source"),
    "not_viable": N_("pollen not viable"),
}
MOST_LABELS = 150  # more would hide each other
INTERVAL = 0.8
ROOM_FOR_A_MARK = 34  # between two neighbours [px]
ROOM_FOR_A_LETTER = 4.5  # as labels stand above and below in turn [px]
LONGEST_STANDING = 14  # "likely in bloom" stands below a block's name
WIDEST = 2400  # [px]


@dataclass(frozen=True)
class Line:
    """From one place on the map to another. [%]"""

    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True)
class Place:
    """One block on the map; ``x`` and ``y`` are its middle, ``line`` the ends of a line of vines. [%]

    ``ends_m`` are its one place or both ends; so many of its vines are ``out`` of reach of any source. [m]
    """

    block: str
    cultivar: str
    role: str
    vines: int
    bears: bool
    shape: Shape
    said: str
    x: float
    y: float
    line: Line | None
    ends_m: tuple[tuple[float, float], ...]
    out: int
    sources: tuple[str, ...]
    without: tuple[str, ...] = ()
    stands: str = ""


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
    links: tuple[Line, ...]
    labelled: bool

    @property
    def uncovered(self) -> list[Place]:
        """The pistillate blocks without viable pollen in reach."""
        return [place for place in self.places if place.shape == "uncovered"]

    @property
    def partly(self) -> list[Place]:
        """The pistillate blocks of which some vines have viable pollen in reach, and others none."""
        return [place for place in self.places if place.shape == "pistillate" and place.out]


@router.get("/vineyards/{vineyard}/map")
def planting_page(
    request: Request, vineyard: VineyardKey, grower: Grower, units: PageUnits, as_of: AsOf = None
) -> HTMLResponse:
    """Where blocks and pollen sources stand."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        planting = records.blocks.planting(vineyard)
        day = clock.today(known.timezone) if as_of is None else as_of
        state, told = _told_of_season(records, vineyard, day)
    asked = {"units": units} | ({} if as_of is None else {"as_of": as_of.isoformat()})
    return page(
        "map.html",
        vineyard=known,
        units=units,
        asked=asked,
        reach_m=planting.reach_m,
        state=state,
        map=planting_map(planting, told) if planting.blocks else None,
        said_of_shape={shape: _(said) for shape, said in SAID_OF_SHAPE.items()},
    )


@dataclass(frozen=True)
class ToldOfBlock:
    """How a block's bloom stands, and its days without pollen, in words."""

    stands: str
    without: tuple[str, ...] = ()


NOTHING_TOLD = ToldOfBlock("")


def _told_of_season(
    records: Repositories, vineyard: str, day: dt.date
) -> tuple[str, Mapping[str, ToldOfBlock]]:
    """The season in a sentence, and what is said of each block; nothing where there is no forecast of that day."""
    try:
        foreseen = stored_forecast(records, vineyard, as_of=day, fit=None, interval=INTERVAL)
    except CapfallError:
        return "", {}
    blocks, pollen = foreseen.forecast.blocks, pollinate(foreseen).blocks
    without = {block.block: tuple(uncovered_words(run) for run in block.uncovered) for block in pollen}
    return state_words(season_state(blocks, pollen, day)), {
        block.block: ToldOfBlock(_stands(block, day), without.get(block.block, ())) for block in blocks
    }


def _stands(block: BlockForecast, day: dt.date) -> str:
    """As the map has room for it: "in bloom", "from 28 May"."""
    stands = standing(block, day)
    start = block.stages.get("bloom_start")
    if stands == "to_come" and start is not None and start.median is not None:
        return _("from {date}", date=short_date(start.median))
    return "" if stands in ("unknown", "to_come") else standing_words(stands)


def planting_map(planting: Planting, told: Mapping[str, ToldOfBlock] = MappingProxyType({})) -> PlantingMap:
    """Lay out a planting that holds blocks, with what is said of their season; the larger y is up.

    ``links`` lead from each pistillate block to the sources in its reach, where the two are nearest.
    """
    blocks, reach = planting.blocks, planting.reach_m
    margin = max(reach, 5.0)
    ends = np.array([end for block in blocks for end in _ends(block)])
    left, bottom = map(float, ends.min(axis=0) - margin)
    right, top = map(float, ends.max(axis=0) + margin)
    width, height = right - left, top - bottom
    # a single long row would be a thread otherwise
    if height < width / 4:
        bottom, height = bottom - (width / 4 - height) / 2, width / 4
        top = bottom + height
    if width < height / 2:
        left, width = left - (height / 2 - width) / 2, height / 2

    def x(x_m: float) -> float:
        return 100 * (x_m - left) / width

    def y(y_m: float) -> float:
        return 100 * (top - y_m) / height

    def line(first: tuple[float, float], last: tuple[float, float]) -> Line:
        return Line(x(first[0]), y(first[1]), x(last[0]), y(last[1]))

    places, links = [], []
    for block in blocks:
        cultivar = cultivar_of(planting, block)
        viable = [
            other
            for other in pollen_makers_in_reach(planting, block)
            if sheds_viable_pollen(cultivar_of(planting, other))
        ]
        groups = vine_groups(block, viable, reach_m=reach)
        out = sum(group.vines for group in groups if not group.in_reach)
        own = _ends(block)
        shape = _shape(cultivar.flower_type, viable=sheds_viable_pollen(cultivar), covered=bool(viable))
        places.append(
            Place(
                block=block.key,
                cultivar=cultivar.name,
                role=role_of(cultivar),
                vines=block.vines,
                bears=cultivar.flower_type is not FlowerType.STAMINATE,
                shape=shape,
                said=_said(shape, out, block.vines),
                x=x((own[0][0] + own[-1][0]) / 2),
                y=y((own[0][1] + own[-1][1]) / 2),
                line=line(*own) if len(own) > 1 else None,
                ends_m=own,
                out=out,
                sources=()
                if cultivar.flower_type is FlowerType.STAMINATE
                else tuple(other.key for other in viable),
                without=told.get(block.key, NOTHING_TOLD).without,
                stands=told.get(block.key, NOTHING_TOLD).stands,
            )
        )
        if shape == "pistillate":
            links += [line(*_nearest(block, other)) for other in viable]
    return PlantingMap(
        width_m=width,
        height_m=height,
        least_width=_least_width(blocks, width),
        reach=100 * reach / math.sqrt((width**2 + height**2) / 2),
        places=tuple(places),
        links=tuple(links),
        labelled=len(blocks) <= MOST_LABELS,
    )


def _ends(block: Block) -> tuple[tuple[float, float], ...]:
    """The place of a block, or both ends of its line. [m]"""
    if block.x2_m is None or block.y2_m is None:
        return ((block.x_m, block.y_m),)
    return (block.x_m, block.y_m), (block.x2_m, block.y2_m)


def _nearest(block: Block, other: Block) -> tuple[tuple[float, float], tuple[float, float]]:
    """Where two blocks are nearest to each other. [m]"""
    places = vine_places(block)
    nearest = nearest_vines(places, other)
    pair = int(np.hypot(*(places - nearest).T).argmin())
    (x1, y1), (x2, y2) = places[pair].tolist(), nearest[pair].tolist()
    return (x1, y1), (x2, y2)


def _said(shape: Shape, out: int, vines: int) -> str:
    """What a mark means, and of how many vines it is not true."""
    if shape != "pistillate" or not out:
        return _(SAID_OF_SHAPE[shape])
    return _(
        "pistillate, a pollen source in reach of {reached} of its {vines} vines",
        reached=vines - out,
        vines=vines,
    )


def _shape(flower_type: FlowerType, *, viable: bool, covered: bool) -> Shape:
    if flower_type is FlowerType.PISTILLATE:
        return "pistillate" if covered else "uncovered"
    return "source" if viable else "not_viable"


def _least_width(blocks: tuple[Block, ...], width_m: float) -> int:
    """How wide the map has to be so that labels of nearest neighbours stand apart. [px]"""
    if not 1 < len(blocks) <= MOST_LABELS:
        return 0
    middles = [tuple(vine_places(block).mean(axis=0).tolist()) for block in blocks]
    nearest = min(
        (
            math.dist(one, other)
            for place, one in enumerate(middles)
            for other in middles[:place]
            if one != other
        ),
        default=width_m,
    )
    room = max(
        ROOM_FOR_A_MARK, ROOM_FOR_A_LETTER * max(*(len(block.key) for block in blocks), LONGEST_STANDING)
    )
    return min(round(room * width_m / nearest), WIDEST)
