"""How much pollen a block can give beside others: vines, flowers a vine, quality. It weighs; it hides no gap."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.records import Block, Planting
from models.vineyard.reach import cultivar_of


def supply(planting: Planting, block: Block) -> float:
    """Vines x flowers a vine x quality of the pollen; only its ratio to others' says something.

    Where a cultivar does not tell its flowers a vine, they are the mean of those that do, else 1: all alike. A quality
    that is not told is 1.
    """
    cultivar = cultivar_of(planting, block)
    known = [each.flowers_a_vine for each in planting.cultivars.values() if each.flowers_a_vine is not None]
    flowers = cultivar.flowers_a_vine
    if flowers is None:
        flowers = float(np.mean(known)) if known else 1.0
    quality = 1.0 if cultivar.pollen_quality is None else cultivar.pollen_quality
    return block.vines * flowers * quality


def shares_of_supply(planting: Planting, sources: Sequence[Block]) -> dict[str, float]:
    """Each source's share of what all of them can give, by key."""
    given = {source.key: supply(planting, source) for source in sources}
    total = sum(given.values())
    return {key: each / total for key, each in given.items()}
