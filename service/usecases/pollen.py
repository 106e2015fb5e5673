"""Pollen cover of a vineyard's pistillate blocks, from the draws of its forecast."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from models.stages import BLOOM_STAGES
from models.vineyard.flower_days import POLLEN_DAYS, RECEPTIVE_DAYS
from models.vineyard.pollination import BlockPollination, pollination
from models.vineyard.wording import listed
from service.usecases.forecasts import VineyardForecast


@dataclass(frozen=True)
class VineyardPollination:
    """Cover of every pistillate block, and what it takes for granted. [day, m]"""

    blocks: tuple[BlockPollination, ...]
    receptive_days: int
    pollen_days: int
    reach_m: float
    cautions: tuple[str, ...]


def pollinate(foreseen: VineyardForecast) -> VineyardPollination:
    """Pollen cover from the very draws of a forecast.

    Where the fit lacks a bloom stage, all that does not depend on time is still told.
    """
    vineyard = foreseen.vineyard
    receptive = RECEPTIVE_DAYS if vineyard.receptive_days is None else vineyard.receptive_days
    pollen = POLLEN_DAYS if vineyard.pollen_days is None else vineyard.pollen_days
    draws = foreseen.forecast.draws
    lacking = [stage for stage in BLOOM_STAGES if stage not in foreseen.fit.fit.stages]
    if lacking:
        draws = draws.reindex(stage=[*foreseen.fit.fit.stages, *lacking])
    blocks = pollination(
        vineyard.planting,
        draws,
        interval=foreseen.forecast.interval,
        receptive_days=receptive,
        pollen_days=pollen,
    )
    cautions = tuple(_cautions(foreseen, lacking, receptive, pollen))
    return VineyardPollination(blocks, receptive, pollen, vineyard.planting.reach_m, cautions)


def _cautions(foreseen: VineyardForecast, lacking: list[str], receptive: int, pollen: int) -> Iterator[str]:
    vineyard = foreseen.vineyard
    yield from foreseen.cautions
    if lacking:
        yield (
            f"The fit lacks {', '.join(lacking)}, so pollen cover over time is not known; log all three bloom "
            "stages, or make a fit with them."
        )
    if vineyard.receptive_days is None or vineyard.pollen_days is None:
        yield (
            f"Assumed, without a source: a flower is receptive for {receptive} days and an anther sheds pollen "
            f"for {pollen} days from capfall."
        )
    own = sorted(
        key
        for key, cultivar in vineyard.planting.cultivars.items()
        if (cultivar.receptive_days, cultivar.pollen_days) != (None, None)
    )
    if own:
        yield f"Receptive or pollen days of their own are set for {listed(own)}."
    if any(block.neighbours is None for block in vineyard.planting.blocks):
        yield (
            f"Pollen is taken to reach {vineyard.planting.reach_m:g} m; by default 50 ft, which is common practice."
        )
