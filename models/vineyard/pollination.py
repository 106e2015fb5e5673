"""Which pistillate blocks get pollen through their whole bloom, from which sources, and how sure it is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import numpy as np
import xarray as xr

from models.errors import BadInput, Problem
from models.records import Block, FlowerType, Planting
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from models.vineyard.block_pollination import (
    BlockPollination,
    MedianInterval,
    SourceCover,
    Uncovered,
    day_interval,
    share_interval,
    source_cover,
    uncovered_runs,
)
from models.vineyard.cover import Cover, cover, open_anther_days
from models.vineyard.flower_days import POLLEN_DAYS, RECEPTIVE_DAYS, FlowerDays
from models.vineyard.pollen_warnings import (
    ACT,
    MOST,
    BloomNotForecast,
    BloomUnfinished,
    MainSource,
    NoneViable,
    NoSourceInReach,
    OnlySource,
    PollenWarning,
    SourcesNotForecast,
    Warned,
    WarningCode,
    WarningLevel,
    level_of,
    worst_first,
)
from models.vineyard.reach import (
    cultivar_of,
    named,
    pollen_makers_in_reach,
    sheds_viable_pollen,
)
from models.vineyard.season_days import SeasonDays, median_day
from models.vineyard.synchrony import BoolArray
from models.vineyard.timing_warnings import Timing, timing_warnings

__all__ = [
    "BlockPollination",
    "MedianInterval",
    "PollenWarning",
    "SourceCover",
    "Uncovered",
    "WarningCode",
    "WarningLevel",
    "pollination",
]


def pollination(
    planting: Planting,
    draws: xr.Dataset,
    *,
    interval: float = 0.8,
    receptive_days: int = RECEPTIVE_DAYS,
    pollen_days: int = POLLEN_DAYS,
) -> tuple[BlockPollination, ...]:
    """Pollen cover of every pistillate block, from joint draws of the bloom of all blocks.

    Weather and season are shared within a draw, so blocks are compared within draws only. Draws in which
    the block itself does not finish its bloom say nothing of its cover and are left out.

    Parameters
    ----------
    planting : Planting
        Blocks, cultivars and reach.
    draws : Dataset
        ``day(draw, block, stage)``: whole days since ``attrs["season_start"]`` (ISO date), NaN where the
        season ends first or the block has no forecast; stages bloom_start, full_bloom, bloom_end in this
        order in every draw. A block of the planting that is missing here counts as one without a forecast.
        [day]
    interval : float
        Share of the draws between low and high.
    receptive_days, pollen_days : int
        Days for which a flower is receptive and an anther sheds, from the day its cap falls, where the
        cultivar does not say. Assumptions: no source was found. [day]

    Returns
    -------
    tuple of BlockPollination
        Pistillate blocks in the planting's order.

    Raises
    ------
    BadInput
        If an option is out of range, the draws lack a bloom stage or the season's start, or a block's
        cultivar is unknown.
    """
    flower_days = FlowerDays(receptive_days, pollen_days)
    if not 0 < interval < 1:
        raise BadInput("an interval lies between 0 and 1", [Problem("interval", f"{interval:g} does not")])
    season, blooms = _read_draws(draws)
    return tuple(
        _block_pollination(planting, block, blooms, season, flower_days, interval)
        for block in planting.blocks
        if cultivar_of(planting, block).flower_type is FlowerType.PISTILLATE
    )


def _read_draws(draws: xr.Dataset) -> tuple[SeasonDays, dict[str, FloatArray]]:
    """Calendar, and bloom days (draw, 3) of every block that has a forecast."""
    if "season_start" not in draws.attrs:
        raise BadInput(
            "the draws do not say when their season starts", [Problem("season_start", "is missing")]
        )
    missing = [stage for stage in BLOOM_STAGES if stage not in draws["stage"].values]
    if missing:
        raise BadInput(
            "pollen cover needs all three bloom stages",
            [Problem("stage", f"{stage} is not in the draws") for stage in missing],
        )
    day = draws["day"].sel(stage=list(BLOOM_STAGES)).transpose("block", "draw", "stage")
    blooms = dict(zip(day["block"].values.tolist(), day.values, strict=True))
    return (
        SeasonDays(dt.date.fromisoformat(draws.attrs["season_start"])),
        {key: bloom for key, bloom in blooms.items() if np.isfinite(bloom[:, 0]).any()},
    )


def _block_pollination(
    planting: Planting,
    block: Block,
    blooms: Mapping[str, FloatArray],
    season: SeasonDays,
    flower_days: FlowerDays,
    interval: float,
) -> BlockPollination:
    makers = pollen_makers_in_reach(planting, block)
    viable = tuple(other for other in makers if sheds_viable_pollen(cultivar_of(planting, other)))
    known = tuple(other for other in viable if other.key in blooms)
    bloom, complete = _complete_draws(blooms.get(block.key))
    warnings = _standing_warnings(planting, block, makers, viable, known, bloom, complete, season)
    if not bloom.size or (viable and not known):
        return BlockPollination(
            block=block.key,
            cultivar=block.cultivar,
            sources=(),
            share_of_bloom_covered=None,
            uncovered_days=None,
            uncovered=(),
            warnings=worst_first(warnings),
        )

    receptive = flower_days.receptive_of(cultivar_of(planting, block))
    sheds = [flower_days.pollen_of(cultivar_of(planting, other)) for other in known]
    shape = (len(known), len(bloom))
    opened = [
        open_anther_days(blooms[other.key][complete], pollen_days=days)
        for other, days in zip(known, sheds, strict=True)
    ]
    first_open = np.array([first for first, _ in opened]).reshape(shape)
    last_open = np.array([last for _, last in opened]).reshape(shape)
    found = cover(bloom, first_open, last_open, receptive_days=receptive)
    if known:
        timing = Timing(
            block=named(planting, block),
            sources=tuple(named(planting, other) for other in known),
            bloom=bloom,
            source_end=last_open - (np.array(sheds)[:, np.newaxis] - 1),
            first_open=first_open,
            last_open=last_open,
            receptive_days=receptive,
            season=season,
        )
        warnings.extend(timing_warnings(timing, found))
        if len(viable) == len(known) > 1:
            warnings.extend(_main_source_warning(timing, found))
    sources = (source_cover(block, other, found, index, interval) for index, other in enumerate(known))
    return BlockPollination(
        block=block.key,
        cultivar=block.cultivar,
        sources=tuple(sorted(sources, key=lambda source: -source.share_of_bloom_covered)),
        share_of_bloom_covered=share_interval(found.covered, interval),
        uncovered_days=day_interval(found.uncovered_days.astype(np.float64), interval),
        uncovered=tuple(uncovered_runs(found, season)),
        warnings=worst_first(warnings),
    )


def _standing_warnings(
    planting: Planting,
    block: Block,
    makers: tuple[Block, ...],
    viable: tuple[Block, ...],
    known: tuple[Block, ...],
    bloom: FloatArray,
    complete: BoolArray,
    season: SeasonDays,
) -> list[PollenWarning]:
    """What follows from where sources stand, whether their pollen is viable, and what can be forecast."""
    days = None
    if bloom.size:
        days = season.date(median_day(bloom[:, 0])), season.date(median_day(bloom[:, 2]))
    warned: list[tuple[Warned, WarningLevel, float]] = []
    unfinished = 1.0 - float(complete.mean())
    level = level_of(unfinished)
    if level is not None:
        of = BloomUnfinished() if unfinished < 1.0 else BloomNotForecast()
        warned.append((of, level, unfinished))
    unknown = tuple(named(planting, other) for other in viable if other not in known)
    if unknown:
        warned.append((SourcesNotForecast(unknown, not known), "watch" if known else "act", 1.0))
    if not makers:
        by_list = block.neighbours is not None
        warned.append((NoSourceInReach(planting.reach_m, by_list), "act", 1.0))
    elif not viable:
        warned.append((NoneViable(tuple(named(planting, other) for other in makers)), "act", 1.0))
    elif len(viable) == 1:
        warned.append((OnlySource(named(planting, viable[0])), "watch", 1.0))
    name = named(planting, block)
    return [PollenWarning(name, of, level, chance, days) for of, level, chance in warned]


def _main_source_warning(timing: Timing, found: Cover) -> list[PollenWarning]:
    """Whether most of the cover comes from the source that would be missed most."""
    most_missed = int(np.median(found.lost_without, axis=-1).argmax())
    lost = found.lost_without[most_missed]
    chance = float(np.mean((lost > 0) & (lost >= MOST * found.covered)))
    if chance < ACT:
        return []
    days = (
        timing.season.date(median_day(timing.bloom[:, 0])),
        timing.season.date(median_day(timing.bloom[:, 2])),
    )
    of = MainSource(timing.sources[most_missed], float(np.median(lost)))
    return [PollenWarning(timing.block, of, "watch", chance, days)]


def _complete_draws(bloom: FloatArray | None) -> tuple[FloatArray, BoolArray]:
    """The draws in which the whole bloom falls into the season, and which ones they are."""
    if bloom is None:
        return np.empty((0, 3)), np.zeros(1, dtype=bool)
    complete: BoolArray = np.asarray(np.isfinite(bloom).all(axis=-1))
    return bloom[complete], complete
