"""Who can give pollen to whom: flower type, viability, and how far pollen is carried."""

from __future__ import annotations

import math
from dataclasses import dataclass

from models.errors import BadInput, Problem
from models.records import Block, Cultivar, FlowerType, Planting


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


def distance_m(block: Block, other: Block) -> float:
    """Straight distance between the places of two blocks. [m]"""
    return math.hypot(block.x_m - other.x_m, block.y_m - other.y_m)


def neighbours_given(block: Block, other: Block) -> bool:
    """Whether a list of neighbours, and not distance, decides on this pair."""
    return block.neighbours is not None or other.neighbours is not None


def in_reach(block: Block, other: Block, *, reach_m: float) -> bool:
    """Whether pollen is carried between two blocks; the same both ways.

    If either block lists its neighbours, they are in reach when one of the two names the other; distance
    then says nothing. A block with an empty list is in reach of those only that name it.
    """
    if neighbours_given(block, other):
        return other.key in (block.neighbours or ()) or block.key in (other.neighbours or ())
    return distance_m(block, other) <= reach_m + ROUNDING_M


def pollen_makers_in_reach(planting: Planting, block: Block) -> tuple[Block, ...]:
    """The other blocks in reach whose flowers make pollen, viable or not, in the planting's order."""
    return tuple(
        other
        for other in planting.blocks
        if other.key != block.key
        and makes_pollen(cultivar_of(planting, other))
        and in_reach(block, other, reach_m=planting.reach_m)
    )
