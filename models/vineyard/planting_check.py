"""Whether a planting is laid out so that every pistillate vine gets pollen, and what would help where not."""

from __future__ import annotations

from dataclasses import dataclass

from models.bloom.site import Site
from models.bloom.thresholds import Fit
from models.errors import BadInput, Problem
from models.records import Planting
from models.vineyard.block_check import BlockCheck, HelpfulCultivar, History, SeasonCover, block_check
from models.vineyard.flower_days import POLLEN_DAYS, RECEPTIVE_DAYS, FlowerDays
from models.vineyard.layout_rules import LayoutFinding, RowsAlong, layout_findings
from models.vineyard.past_cover import DRAWS, past_blooms
from models.vineyard.reach import sheds_viable_pollen
from models.vineyard.vine_counts import heaviest_load, who_serves_whom

__all__ = [
    "BlockCheck",
    "HelpfulCultivar",
    "LayoutFinding",
    "PlantingCheck",
    "SeasonCover",
    "planting_check",
]


@dataclass(frozen=True)
class PlantingCheck:
    """What a planting's layout is worth.

    Attributes
    ----------
    share_in_reach : float or None
        Share of the pistillate vines with a source in reach; None without pistillate vines.
    vines_per_source : float or None
        Pistillate vines in reach of a source for each vine with viable pollen in the vineyard.
    heaviest_load : int or None
        Those that the busiest source vine must serve, the work shared as evenly as reach allows.
    seasons : tuple of int
        Past seasons that were looked at: all whose temperatures are complete enough.
    """

    pistillate_vines: int
    source_vines: int
    share_in_reach: float | None
    vines_per_source: float | None
    heaviest_load: int | None
    layout: tuple[LayoutFinding, ...]
    seasons: tuple[int, ...]
    blocks: tuple[BlockCheck, ...]


def planting_check(
    planting: Planting,
    fit: Fit | None,
    site: Site | None,
    *,
    enough_share: float = 0.8,
    enough_seasons: float = 0.8,
    receptive_days: int = RECEPTIVE_DAYS,
    pollen_days: int = POLLEN_DAYS,
    rows_along: RowsAlong | None = None,
    draws: int = DRAWS,
) -> PlantingCheck:
    """Check a planting against reach, published layouts and past seasons.

    Parameters
    ----------
    planting : Planting
        Its cultivars may hold more than are planted: those with viable pollen are tried where a block is
        exposed. So are those that only the fit knows, whose flower type must be asked for.
    fit : Fit or None
        Without one, only the layout is checked.
    site : Site or None
        Weather, and what was seen; without it, too.
    enough_share : float
        Share of a block's bloom that must be covered for a season to count. Our assumption.
    enough_seasons : float
        A block is exposed where a smaller share of the seasons counts. Our assumption.
    receptive_days, pollen_days : int
        As of `pollination`. [day]
    rows_along : "x", "y" or None
        The axis along which rows of vines run, where blocks are vines in rows.
    draws : int
        For each season.

    Raises
    ------
    BadInput
        If an option is out of range or a block's cultivar is unknown.
    """
    for where, share in (("enough_share", enough_share), ("enough_seasons", enough_seasons)):
        if not 0 < share <= 1:
            raise BadInput("a share lies above 0 and is at most 1", [Problem(where, f"{share:g} does not")])
    flower_days = FlowerDays(receptive_days, pollen_days)
    receptive = {key: flower_days.receptive_of(cultivar) for key, cultivar in planting.cultivars.items()}
    pollen = {key: flower_days.pollen_of(cultivar) for key, cultivar in planting.cultivars.items()}
    found = who_serves_whom(planting)
    givers = [key for key, cultivar in planting.cultivars.items() if sheds_viable_pollen(cultivar)]
    strangers = [] if fit is None else [key for key in fit.cultivars if key not in planting.cultivars]
    pollen |= dict.fromkeys(strangers, pollen_days)
    needed = {block.cultivar for block in found.pistillate} | {*givers, *strangers}
    past = past_blooms(fit, site, needed, planting.blocks, draws=draws) if fit and site else ()
    history = History(
        past, receptive, pollen, enough_share, enough_seasons, () if fit is None else fit.lacking
    )
    candidates = {key: key in planting.cultivars for key in sorted({*givers, *strangers})}
    blocks = tuple(
        block_check(block, found.groups[place], candidates, history)
        for place, block in enumerate(found.pistillate)
    )
    in_reach = found.vines_in_reach
    return PlantingCheck(
        pistillate_vines=found.pistillate_vines,
        source_vines=found.source_vines,
        share_in_reach=in_reach / found.pistillate_vines if found.pistillate_vines else None,
        vines_per_source=in_reach / found.source_vines if found.source_vines else None,
        heaviest_load=heaviest_load(found),
        layout=layout_findings(planting, found, rows_along=rows_along),
        seasons=tuple(season.season for season in past),
        blocks=blocks,
    )
