"""Frost around a vineyard's bloom, from the traces of its forecast."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from models.vineyard.frost import AFTER_FROST_CAUTION, FROST_CAUTION, BlockFrost, frost
from service.usecases.forecasts import VineyardForecast

LIMIT_C = 0.0  # an assumption: damage limits of muscadine are not known


@dataclass(frozen=True)
class VineyardFrost:
    """Frost of every block, by key, and what has to be borne in mind. [°C]"""

    limit_c: float
    blocks: dict[str, BlockFrost]
    cautions: tuple[str, ...]


def look_for_frost(foreseen: VineyardForecast, *, limit_c: float = LIMIT_C) -> VineyardFrost:
    """Chance of nights at or below a limit from budbreak on, and those that came."""
    found = foreseen.forecast
    blocks = frost(found.traces, found.draws, as_of=found.as_of, limit_c=limit_c)
    return VineyardFrost(limit_c, {block.block: block for block in blocks}, tuple(_cautions(blocks)))


def _cautions(blocks: tuple[BlockFrost, ...]) -> Iterator[str]:
    if any(block.chance or block.frost_nights for block in blocks):
        yield FROST_CAUTION
    if any(block.frost_nights for block in blocks):
        yield AFTER_FROST_CAUTION
