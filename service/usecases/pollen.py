"""Pollen cover of a vineyard's pistillate blocks, from the draws of its forecast."""

from __future__ import annotations

from dataclasses import dataclass

from models.stages import BLOOM_STAGES
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
    lacking = lacking_stages(foreseen)
    if lacking:
        draws = draws.reindex(stage=[*foreseen.fit.fit.stages, *lacking])
    blocks = pollination(
        vineyard.planting,
        draws,
        interval=foreseen.forecast.interval,
        receptive_days=receptive,
        pollen_days=pollen,
    )
    return VineyardPollination(blocks, receptive, pollen, vineyard.planting.reach_m)


def lacking_stages(foreseen: VineyardForecast) -> tuple[str, ...]:
    """The bloom stages that the fit does not know."""
    return tuple(stage for stage in BLOOM_STAGES if stage not in foreseen.fit.fit.stages)
