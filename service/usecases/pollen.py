"""Pollen cover of a vineyard's pistillate blocks, from the draws of its forecast."""

from __future__ import annotations

from dataclasses import dataclass

from models.vineyard.flower_days import POLLEN_DAYS, RECEPTIVE_DAYS
from models.vineyard.pollination import BlockPollination, pollination
from service.usecases.forecasts import VineyardForecast


@dataclass(frozen=True)
class VineyardPollination:
    """Cover of every pistillate block, and the days and reach that it rests on. [day, m]"""

    blocks: tuple[BlockPollination, ...]
    receptive_days: int
    pollen_days: int
    reach_m: float


def pollinate(foreseen: VineyardForecast) -> VineyardPollination:
    """Pollen cover from the very draws of a forecast.

    Where the fit lacks a bloom stage, all that does not depend on time is still told.
    """
    vineyard = foreseen.vineyard
    receptive = RECEPTIVE_DAYS if vineyard.receptive_days is None else vineyard.receptive_days
    pollen = POLLEN_DAYS if vineyard.pollen_days is None else vineyard.pollen_days
    draws = foreseen.forecast.draws
    lacking = foreseen.fit.fit.lacking
    if lacking:
        draws = draws.reindex(stage=[*foreseen.fit.fit.stages, *lacking])
    blocks = pollination(
        vineyard.planting,
        draws,
        interval=foreseen.forecast.interval,
        receptive_days=receptive,
        pollen_days=pollen,
        frosted=[block.block for block in foreseen.forecast.blocks if block.share_killed == 1],
        as_of=foreseen.forecast.as_of,
        lacking=lacking,
    )
    return VineyardPollination(blocks, receptive, pollen, vineyard.planting.reach_m)
