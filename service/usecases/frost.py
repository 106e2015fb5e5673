"""Frost around a vineyard's bloom, from the traces of its forecast."""

from __future__ import annotations

from dataclasses import dataclass

from models.errors import BadInput, Problem
from models.heat.season import season_of
from models.records import FrostedBlock
from models.vineyard.frost import BlockFrost, FrostLimits, frost
from service.store.repositories import Repositories
from service.usecases.forecasts import VineyardForecast

LIMIT_C = 0.0  # an assumption: damage limits of muscadine are not known


@dataclass(frozen=True)
class VineyardFrost:
    """Frost of every block, by key; ``limits``: those by stage, where the vineyard has some. [°C]"""

    limit_c: float
    blocks: dict[str, BlockFrost]
    limits: FrostLimits | None = None


def look_for_frost(foreseen: VineyardForecast, *, limit_c: float = LIMIT_C) -> VineyardFrost:
    """Chance of nights at or below a limit from budbreak on, or at the vineyard's own limits, and those that came."""
    found, vineyard = foreseen.forecast, foreseen.vineyard
    blocks = frost(
        found.traces,
        found.draws,
        as_of=found.as_of,
        limit_c=limit_c,
        limits=vineyard.frost_limits,
        colder_c=vineyard.colder_c,
    )
    return VineyardFrost(limit_c, {block.block: block for block in blocks}, vineyard.frost_limits)


def mark_frosted(records: Repositories, vineyard: str, frosted: FrostedBlock) -> bool:
    """Mark a block whose shoots froze; True if it was not marked for that season.

    Raises
    ------
    NotFound
        If there is no such vineyard or block.
    BadInput
        If the night lies outside the season.
    """
    station = records.vineyards.get(vineyard).station
    if frosted.night is not None and station is not None:
        season = season_of(frosted.night, records.stations.get(station).latitude)
        if season != frosted.season:
            problem = f"{frosted.night} lies in season {season}, not in {frosted.season}"
            raise BadInput("the night lies outside the season", [Problem("night", problem)])
    return records.frosted.put(vineyard, frosted)
