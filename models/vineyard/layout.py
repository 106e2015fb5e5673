"""A layout that works: the fewest vines to change for covered bloom in a stated share of past seasons."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.bloom.site import Site
from models.bloom.thresholds import Fit
from models.errors import BadInput, Problem
from models.records import Block, Cultivar, FlowerType, Planting
from models.vineyard.block_check import History
from models.vineyard.flower_days import POLLEN_DAYS, RECEPTIVE_DAYS, FlowerDays
from models.vineyard.past_cover import DRAWS, SeasonBloom, past_blooms
from models.vineyard.pollen_needs import CoverBySources, Demand, Spare, cover_by_sources, demands
from models.vineyard.reach import ROUNDING_M, VineGroup, in_reach, sheds_viable_pollen
from models.vineyard.synchrony import BoolArray
from models.vineyard.vine_changes import Changes, VineChange, VinePlace, fewest_changes, places_of
from models.vineyard.vine_counts import who_serves_whom

# Georgia extension C949: 20 ft in the row, 12 ft between rows. [m]
VINE_SPACING_M = 6.096
ROW_SPACING_M = 3.6576


@dataclass(frozen=True)
class PlannedRow:
    """A row of a field that is to be planted; ``cultivar`` is None where it is left to the search."""

    vines: int
    cultivar: str | None


@dataclass(frozen=True)
class PlannedField:
    """Straight rows of vines at even spacing, the first vine of the first row at the origin. [m]"""

    rows: tuple[PlannedRow, ...]
    vine_spacing_m: float = VINE_SPACING_M
    row_spacing_m: float = ROW_SPACING_M

    def places(self) -> tuple[VinePlace, ...]:
        """Where its vines stand."""
        return tuple(
            VinePlace(
                f"row {number}",
                (vine - 1) * self.vine_spacing_m,
                (number - 1) * self.row_spacing_m,
                1,
                row.cultivar,
                first_vine=vine,
            )
            for number, row in enumerate(self.rows, start=1)
            for vine in range(1, row.vines + 1)
        )


@dataclass(frozen=True)
class LayoutStep:
    """What it takes for every pistillate vine to be covered in so many of the past seasons.

    ``seasons`` is 0 where only reach is known. ``order`` counts the vines to buy or graft by cultivar.
    """

    seasons: int
    share_of_seasons: float
    found: Changes

    @property
    def order(self) -> dict[str, int]:
        """How many of each cultivar, by key."""
        count: Counter[str] = Counter()
        for change in self.found.changes:
            count[change.new] += change.vines
        return dict(sorted(count.items()))


@dataclass(frozen=True)
class Recomputed:
    """Cover of a pistillate cultivar's worst vines in the new planting, computed anew: seasons covered of so many.

    ``vines_without_source`` have none in reach; ``seasons_covered`` is None where the fit does not know.
    """

    cultivar: str
    vines: int
    vines_without_source: int
    seasons_covered: int | None
    seasons: int


@dataclass(frozen=True)
class Layout:
    """A layout that works, and what each next step costs.

    Attributes
    ----------
    seasons : tuple of int
        Past seasons that were looked at; none where cover is not known, and only reach was asked for.
    asked : LayoutStep
        The fewest changes for what was asked.
    steps : tuple of LayoutStep
        What each number of changed vines buys at most, by the number of seasons.
    recomputed : tuple of Recomputed
        Cover with the changes of ``asked`` made.
    only_reach : tuple of str
        Pistillate cultivars whose bloom is not known: they were given a source in reach, whenever it blooms.
    plant : tuple of str
        Cultivars that were tried.
    """

    vines: int
    seasons: tuple[int, ...]
    asked: LayoutStep
    steps: tuple[LayoutStep, ...]
    recomputed: tuple[Recomputed, ...]
    only_reach: tuple[str, ...]
    plant: tuple[str, ...]


def layout(
    planting: Planting,
    fit: Fit | None,
    site: Site | None,
    *,
    plant: Sequence[str],
    field: PlannedField | None = None,
    keep: Sequence[str] = (),
    share_of_seasons: float = 1.0,
    enough_share: float = 0.8,
    spare: Spare = "none",
    receptive_days: int = RECEPTIVE_DAYS,
    pollen_days: int = POLLEN_DAYS,
    draws: int = DRAWS,
    time_limit_s: float = 20.0,
) -> Layout:
    """Search the fewest vines to change so that every pistillate vine has viable, overlapping pollen in reach.

    Parameters
    ----------
    planting : Planting
        Its cultivars hold those of ``plant`` and ``field`` too.
    fit, site
        Bloom of past seasons; without them only reach is asked for.
    plant : sequence of str
        Cultivars that one would plant or graft.
    field : PlannedField, optional
        Searched in the place of the planting's blocks.
    keep : sequence of str
        Blocks whose vines stay.
    share_of_seasons : float
        Of the past seasons, in which each pistillate vine must be covered.
    enough_share : float
        Of the bloom, that makes a season a covered one. Our assumption.
    spare : "none", "vine" or "cultivar"
        What may fail without harm: nothing, any one source vine, or any one source cultivar.
    receptive_days, pollen_days : int
        As of `pollination`. [day]
    draws : int
        For each season.
    time_limit_s : float
        For all searches together. [s]

    Raises
    ------
    BadInput
        If an option is out of range, a cultivar is unknown, or there is no vine.
    """
    for where, share in (("enough_share", enough_share), ("seasons", share_of_seasons)):
        if not 0 < share <= 1:
            raise BadInput("a share lies above 0 and is at most 1", [Problem(where, f"{share:g} does not")])
    places = _places(planting, field)
    _check_cultivars(planting, plant, places)
    flower_days = FlowerDays(receptive_days, pollen_days)
    kinds = planting.cultivars
    options = dict.fromkeys([*(place.cultivar for place in places if place.cultivar is not None), *plant])
    givers = [key for key in options if sheds_viable_pollen(kinds[key])]
    pistillate = [key for key in options if kinds[key].flower_type is FlowerType.PISTILLATE]
    past = () if fit is None or site is None else past_blooms(fit, site, options, draws=draws)
    covers = _covers(past, pistillate, givers, kinds, flower_days, enough_share)
    reached = vines_reached(planting, places)
    any_source = frozenset(givers)
    by_needs: dict[tuple[tuple[Demand, ...], ...], Changes] = {}
    count = len(past)

    def step(seasons: int, share: float, patience: float) -> LayoutStep:
        needs = {
            key: demands(covers[key], share_of_seasons=share, spare=spare) if key in covers else (any_source,)
            for key in pistillate
        }
        told = tuple(needs[key] for key in pistillate)
        if told not in by_needs:
            by_needs[told] = fewest_changes(
                places,
                reached,
                needs,
                plant,
                each_met_by=2 if spare == "vine" else 1,
                may_change=[place.block not in keep for place in places],
                time_limit_s=patience * time_limit_s,
            )
        return LayoutStep(seasons, share if count else 0.0, by_needs[told])

    wanted = int(np.ceil(share_of_seasons * count - 1e-9))
    asked = step(wanted, share_of_seasons, 0.5 if count else 1.0)
    levels = [
        asked if seasons == wanted else step(seasons, seasons / count, 0.5 / count)
        for seasons in range(count + 1 if count else 0)
    ]
    new = replanted(planting, places, asked.found.changes, as_rows=field is not None)
    history = History(
        past,
        {key: flower_days.receptive_of(kinds[key]) for key in kinds},
        {key: flower_days.pollen_of(kinds[key]) for key in kinds},
        enough_share,
        share_of_seasons,
    )
    return Layout(
        vines=sum(place.vines for place in places),
        seasons=tuple(season.season for season in past),
        asked=asked,
        steps=_worth_their_price(levels or [asked]),
        recomputed=() if asked.found.vines is None else recomputed(new, history),
        only_reach=tuple(key for key in pistillate if key not in covers),
        plant=tuple(plant),
    )


def vines_reached(planting: Planting, places: Sequence[VinePlace]) -> BoolArray:
    """Which places reach which: by distance, or as the lists of their blocks say; shape (place, place)."""
    xy = np.array([[place.x_m, place.y_m] for place in places])
    apart = np.hypot(*(xy[:, np.newaxis] - xy).transpose(2, 0, 1))
    reached: BoolArray = apart <= planting.reach_m + ROUNDING_M
    listed = {block.key for block in planting.blocks if block.neighbours is not None}
    if not listed:
        return reached
    blocks = {block.key: block for block in planting.blocks}
    for one, place in enumerate(places):
        for other, beside in enumerate(places[:one]):
            if place.block != beside.block and not listed.isdisjoint((place.block, beside.block)):
                near = in_reach(blocks[place.block], blocks[beside.block], reach_m=planting.reach_m)
                reached[one, other] = reached[other, one] = near
    return reached


def replanted(
    planting: Planting, places: Sequence[VinePlace], changes: Sequence[VineChange], *, as_rows: bool = False
) -> Planting:
    """The planting with its vines changed: a block for every cultivar of a place."""
    changed: dict[tuple[str, float, float], list[VineChange]] = {}
    for change in changes:
        changed.setdefault((change.block, change.x_m, change.y_m), []).append(change)
    lists = {} if as_rows else {block.key: block.neighbours for block in planting.blocks}
    made: list[Block] = []
    names: dict[str, list[str]] = {}
    for number, place in enumerate(places):
        here = changed.get((place.block, place.x_m, place.y_m), [])
        left = place.vines - sum(change.vines for change in here)
        held = [(place.cultivar, left), *((change.new, change.vines) for change in here)]
        for cultivar, vines in held:
            if cultivar is not None and vines:
                key = f"{place.block} {number} {cultivar}"
                names.setdefault(place.block, []).append(key)
                made.append(Block(key, cultivar, place.x_m, place.y_m, vines, lists.get(place.block)))
    blocks = tuple(
        block
        if block.neighbours is None
        else replace(
            block,
            neighbours=tuple(
                key
                for near in (block.key.split(" ", maxsplit=1)[0], *block.neighbours)
                for key in names.get(near, ())
                if key != block.key
            ),
        )
        for block in made
    )
    return replace(planting, blocks=blocks)


def recomputed(planting: Planting, history: History) -> tuple[Recomputed, ...]:
    """Cover of each pistillate cultivar's worst vines, from the sources in reach of each block, computed anew."""
    found = who_serves_whom(planting)
    of: dict[str, list[tuple[Block, tuple[VineGroup, ...]]]] = {}
    for block, groups in zip(found.pistillate, found.groups, strict=True):
        of.setdefault(block.cultivar, []).append((block, groups))
    answers = []
    for cultivar, blocks in sorted(of.items()):
        seasons = [history.of(block, groups) for block, groups in blocks] if history.knows(cultivar) else []
        answers.append(
            Recomputed(
                cultivar,
                sum(block.vines for block, _ in blocks),
                sum(group.vines for _, groups in blocks for group in groups if not group.in_reach),
                min((history.covered(each) for each in seasons), default=None),
                max((len(each) for each in seasons), default=0),
            )
        )
    return tuple(answers)


def _places(planting: Planting, field: PlannedField | None) -> tuple[VinePlace, ...]:
    if field is not None:
        places = field.places()
    else:
        places = tuple(place for block in planting.blocks for place in places_of(block))
    if not places:
        raise BadInput("there is no vine to lay out", [Problem("field", "give rows, or plant blocks first")])
    return places


def _check_cultivars(planting: Planting, plant: Sequence[str], places: Sequence[VinePlace]) -> None:
    unknown = [key for key in plant if key not in planting.cultivars]
    unknown += [
        place.cultivar
        for place in places
        if place.cultivar is not None and place.cultivar not in planting.cultivars
    ]
    if unknown:
        raise BadInput(
            "a cultivar is not known",
            [Problem(f"cultivar {key}", "is not among yours") for key in dict.fromkeys(unknown)],
        )


def _covers(
    past: Sequence[SeasonBloom],
    pistillate: Sequence[str],
    givers: Sequence[str],
    kinds: Mapping[str, Cultivar],
    flower_days: FlowerDays,
    enough_share: float,
) -> dict[str, CoverBySources]:
    """Of each pistillate cultivar whose bloom is known, what each set of sources covers."""
    known = past[0].blooms.keys() if past else set()
    sources = [key for key in givers if key in known]
    return {
        key: cover_by_sources(
            past,
            key,
            sources,
            enough_share=enough_share,
            receptive_days=flower_days.receptive_of(kinds[key]),
            pollen_days_of={source: flower_days.pollen_of(kinds[source]) for source in sources},
        )
        for key in pistillate
        if key in known
    }


def _worth_their_price(levels: Sequence[LayoutStep]) -> tuple[LayoutStep, ...]:
    """Of levels by their seasons, the highest at each price, and the first that nothing reaches."""
    kept: list[LayoutStep] = []
    for level in levels:
        same = kept and (kept[-1].found.found, kept[-1].found.vines) == (level.found.found, level.found.vines)
        if same and level.found.vines is not None:
            kept[-1] = level
        elif not same:
            kept.append(level)
    return tuple(kept)
