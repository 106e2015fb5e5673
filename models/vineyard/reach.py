"""Who can give pollen to whom: flower type, viability, and how far pollen is carried."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.errors import BadInput, Problem
from models.records import Block, Cultivar, FlowerType, Planting, PollenNote
from models.units import FloatArray
from models.vineyard.synchrony import BoolArray


@dataclass(frozen=True)
class NamedBlock:
    """A block as a grower knows it: its key, and its cultivar's name."""

    key: str
    cultivar: str


def named(planting: Planting, block: Block) -> NamedBlock:
    """A block with its cultivar's name. Raises BadInput as `cultivar_of` does."""
    return NamedBlock(block.key, cultivar_of(planting, block).name)


def cultivar_of(planting: Planting, block: Block) -> Cultivar:
    """The cultivar that a block holds.

    Raises
    ------
    BadInput
        If the planting does not know the cultivar.
    """
    try:
        return planting.cultivars[block.cultivar]
    except KeyError:
        raise BadInput(
            "a block holds an unknown cultivar",
            [Problem(f"block {block.key}", f"cultivar {block.cultivar!r} is not in the planting")],
        ) from None


# Lengths differ by less through rounding, as 50 ft in metres do.
ROUNDING_M = 1e-6


def makes_pollen(cultivar: Cultivar) -> bool:
    """Whether the flowers have fertile-looking anthers: perfect and staminate do, pistillate never."""
    return cultivar.flower_type is not FlowerType.PISTILLATE


def sheds_viable_pollen(cultivar: Cultivar) -> bool:
    """Whether a cultivar can be a pollen source."""
    return makes_pollen(cultivar) and cultivar.viable_pollen


def vine_places(block: Block) -> FloatArray:
    """Where the vines of a block stand: its one place, or every vine of its line; shape (place, 2). [m]"""
    if block.x2_m is None or block.y2_m is None:
        return np.array([[block.x_m, block.y_m]])
    return np.linspace((block.x_m, block.y_m), (block.x2_m, block.y2_m), block.vines)


def vines_a_place(block: Block) -> int:
    """How many vines stand at each of a block's places."""
    return 1 if block.is_line else block.vines


def nearest_vines(places: FloatArray, block: Block) -> FloatArray:
    """The place of a block's vine that is nearest to each of these places; both of shape (place, 2). [m]"""
    first = np.array([block.x_m, block.y_m])
    if block.x2_m is None or block.y2_m is None:
        return np.broadcast_to(first, places.shape)
    along = np.array([block.x2_m, block.y2_m]) - first
    gaps = block.vines - 1
    vine = np.clip(np.rint((places - first) @ along / (along @ along) * gaps), 0, gaps)
    return np.asarray(first + vine[:, np.newaxis] / gaps * along)


def nearest_vine_m(places: FloatArray, block: Block) -> FloatArray:
    """Distance of each place, shape (place, 2), to the nearest vine of a block; shape (place,). [m]"""
    return np.asarray(np.hypot(*(places - nearest_vines(places, block)).T))


def distance_m(block: Block, other: Block) -> float:
    """Straight distance between the nearest two vines of two blocks. [m]"""
    return float(nearest_vine_m(vine_places(block), other).min())


def neighbours_given(block: Block, other: Block) -> bool:
    """Whether a list of neighbours, and not distance, decides on this pair."""
    return block.neighbours is not None or other.neighbours is not None


def places_in_reach(block: Block, other: Block, *, reach_m: float) -> BoolArray:
    """Which of a block's places pollen is carried to from another block; shape (place,).

    If either block lists its neighbours, they are in reach when one of the two names the other; distance
    then says nothing. A block with an empty list is in reach of those only that name it.
    """
    places = vine_places(block)
    if neighbours_given(block, other):
        named_so = other.key in (block.neighbours or ()) or block.key in (other.neighbours or ())
        return np.full(len(places), named_so)
    return np.asarray(nearest_vine_m(places, other) <= reach_m + ROUNDING_M)


def vines_in_reach(block: Block, other: Block, *, reach_m: float) -> BoolArray:
    """Whether pollen is carried between each place of two blocks; shape (place, other place). As `places_in_reach`."""
    places, others = vine_places(block), vine_places(other)
    if neighbours_given(block, other):
        return np.full((len(places), len(others)), in_reach(block, other, reach_m=reach_m))
    apart = places[:, np.newaxis] - others
    return np.asarray(np.hypot(apart[..., 0], apart[..., 1]) <= reach_m + ROUNDING_M)


def in_reach(block: Block, other: Block, *, reach_m: float) -> bool:
    """Whether pollen is carried between two vines of two blocks; the same both ways. As `places_in_reach`."""
    if not neighbours_given(block, other):
        if _least_distance_m(block, other) > reach_m + ROUNDING_M:
            return False
        if not (block.is_line or other.is_line):
            return True
    return bool(places_in_reach(block, other, reach_m=reach_m).any())


def _least_distance_m(block: Block, other: Block) -> float:
    """Between the boxes around two blocks: of two in one place each their distance, of lines a bound of it. [m]"""
    (left, right), (low, high) = _box_m(block)
    (other_left, other_right), (other_low, other_high) = _box_m(other)
    return math.hypot(
        max(other_left - right, left - other_right, 0.0), max(other_low - high, low - other_high, 0.0)
    )


def _box_m(block: Block) -> tuple[tuple[float, float], tuple[float, float]]:
    x2_m = block.x_m if block.x2_m is None else block.x2_m
    y2_m = block.y_m if block.y2_m is None else block.y2_m
    return (min(block.x_m, x2_m), max(block.x_m, x2_m)), (min(block.y_m, y2_m), max(block.y_m, y2_m))


@dataclass(frozen=True)
class VineGroup:
    """Those vines of a block that have the same blocks in reach, in the order asked; possibly none."""

    vines: int
    in_reach: tuple[Block, ...]


def vine_groups(block: Block, others: Sequence[Block], *, reach_m: float) -> tuple[VineGroup, ...]:
    """A block's vines by which of the others pollen is carried from to them.

    A block in one place is one group.
    """
    if not others:
        return (VineGroup(block.vines, ()),)
    reached = np.array([places_in_reach(block, other, reach_m=reach_m) for other in others], dtype=np.bool_)
    sets, counts = np.unique(reached, axis=1, return_counts=True)
    return tuple(
        VineGroup(
            int(count) * vines_a_place(block),
            tuple(other for other, inside in zip(others, column, strict=True) if inside),
        )
        for column, count in zip(sets.T, counts, strict=True)
    )


def pollen_makers_in_reach(planting: Planting, block: Block) -> tuple[Block, ...]:
    """The other blocks in reach whose flowers make pollen, viable or not, in the planting's order."""
    return tuple(
        other
        for other in planting.blocks
        if other.key != block.key
        and makes_pollen(cultivar_of(planting, other))
        and in_reach(block, other, reach_m=planting.reach_m)
    )


def notes_for(planting: Planting, cultivar: str) -> tuple[PollenNote, ...]:
    """What was noted of a cultivar with sources that stand in the planting."""
    standing = {block.cultivar for block in planting.blocks}
    return tuple(note for note in planting.cultivars[cultivar].pollen_notes if note.source in standing)
