"""When to pick a vineyard's blocks."""

from __future__ import annotations

from dataclasses import dataclass

from models.bloom.forecast import BlockForecast
from models.vineyard.picking import PickDays, ToPick, pick_days
from service.usecases.forecasts import VineyardForecast


@dataclass(frozen=True)
class VineyardPicking:
    """Days of picking by block, in their order, and the blocks of which harvest is not known."""

    picks: tuple[PickDays, ...]
    not_known: tuple[BlockForecast, ...]


def plan_picking(foreseen: VineyardForecast, *, vines_a_day: float) -> VineyardPicking:
    """Pick every block whose harvest is forecast, from its median on. Raises BadInput (the rate)."""
    vines = {block.key: block.vines for block in foreseen.vineyard.planting.blocks}
    ripe, unknown = [], []
    for block in foreseen.forecast.blocks:
        harvest = block.stages.get("harvest")
        if harvest is None or harvest.median is None:
            unknown.append(block)
        else:
            ripe.append(ToPick(block.block, vines[block.block], harvest.median))
    picks = pick_days(ripe, vines_a_day=vines_a_day, as_of=foreseen.forecast.as_of)
    return VineyardPicking(picks, tuple(unknown))
