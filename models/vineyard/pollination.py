"""Which pistillate blocks get pollen through their whole bloom, from which sources, and how sure it is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

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
    day_interval,
    share_interval,
    source_cover,
)
from models.vineyard.cover import Cover, cover, open_anther_days
from models.vineyard.donors import donors
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
    SourcesFrosted,
    SourcesNotForecast,
    Span,
    Warned,
    WarningCode,
    WarningLevel,
    level_of,
    worst_first,
)
from models.vineyard.reach import (
    NamedBlock,
    cultivar_of,
    named,
    pollen_makers_in_reach,
    sheds_viable_pollen,
)
from models.vineyard.season_days import SeasonDays, median_day
from models.vineyard.synchrony import BoolArray
from models.vineyard.timing_warnings import Timing, timing_warnings
from models.vineyard.uncovered import Uncovered, uncovered_runs

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
    frosted: Collection[str] = (),
    as_of: dt.date | None = None,
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
    frosted : collection of str
        Keys of blocks whose shoots froze this season. As a source such a block is not counted on: how many of its
        first flowers are left is not known, and bloom from secondary buds counts as no pollen (our convention).
    as_of : date, optional
        Days before this one are over; by default none is.

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
    known = _Known(planting, blooms, season, flower_days, frozenset(frosted), as_of or dt.date.min)
    return tuple(
        _block_pollination(known, block, interval)
        for block in planting.blocks
        if cultivar_of(planting, block).flower_type is FlowerType.PISTILLATE
    )


@dataclass(frozen=True, eq=False)
class _Known:
    """What the cover of every block rests on."""

    planting: Planting
    blooms: Mapping[str, FloatArray]
    season: SeasonDays
    flower_days: FlowerDays
    frosted: frozenset[str]
    as_of: dt.date

    def counts(self, block: Block) -> bool:
        """Whether a block's pollen is viable and can be counted on."""
        return block.key not in self.frosted and sheds_viable_pollen(cultivar_of(self.planting, block))

    def open_days(self, block: Block, complete: BoolArray) -> tuple[FloatArray, FloatArray]:
        """First and last day with open anthers of a block with a forecast, in these draws. [day]"""
        days = self.flower_days.pollen_of(cultivar_of(self.planting, block))
        return open_anther_days(self.blooms[block.key][complete], pollen_days=days)


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


def _block_pollination(given: _Known, block: Block, interval: float) -> BlockPollination:
    planting, blooms, season, flower_days = given.planting, given.blooms, given.season, given.flower_days
    makers = pollen_makers_in_reach(planting, block)
    viable = tuple(other for other in makers if given.counts(other))
    doubtful = tuple(
        named(planting, other)
        for other in makers
        if other.key in given.frosted and sheds_viable_pollen(cultivar_of(planting, other))
    )
    known = tuple(other for other in viable if other.key in blooms)
    bloom, complete = _complete_draws(blooms.get(block.key))
    warnings = _bloom_warnings(planting, block, viable, doubtful, known, bloom, complete, season)
    if not bloom.size or (viable and not known):
        return BlockPollination(
            block=block.key,
            cultivar=block.cultivar,
            sources=(),
            share_of_bloom_covered=None,
            uncovered_days=None,
            uncovered=(),
            warnings=worst_first(
                [*warnings, *_reach_warnings(planting, block, makers, viable, doubtful, ())]
            ),
        )

    receptive = flower_days.receptive_of(cultivar_of(planting, block))
    sheds = [flower_days.pollen_of(cultivar_of(planting, other)) for other in known]
    shape = (len(known), len(bloom))
    opened = [given.open_days(other, complete) for other in known]
    first_open = np.array([first for first, _ in opened]).reshape(shape)
    last_open = np.array([last for _, last in opened]).reshape(shape)
    found = cover(bloom, first_open, last_open, receptive_days=receptive)
    uncovered = uncovered_runs(found, season, receptive_days=receptive)
    lacking = tuple(run.span for run in uncovered)
    warnings.extend(_reach_warnings(planting, block, makers, viable, doubtful, lacking))
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
        warnings.extend(timing_warnings(timing, found, uncovered))
        if len(viable) == len(known) > 1:
            warnings.extend(_main_source_warning(timing, found))
    warnings = [
        warning
        if warning.code == "unknown_bloom"
        else _as_it_stands(given, warning, block, bloom, found, complete, receptive_days=receptive)
        for warning in warnings
    ]
    sources = (source_cover(block, other, found, index, interval) for index, other in enumerate(known))
    return BlockPollination(
        block=block.key,
        cultivar=block.cultivar,
        sources=tuple(sorted(sources, key=lambda source: -source.share_of_bloom_covered)),
        share_of_bloom_covered=share_interval(found.covered, interval),
        uncovered_days=day_interval(found.uncovered_days.astype(np.float64), interval),
        uncovered=uncovered,
        warnings=worst_first(warnings),
    )


def _as_it_stands(
    given: _Known,
    warning: PollenWarning,
    block: Block,
    bloom: FloatArray,
    found: Cover,
    complete: BoolArray,
    *,
    receptive_days: int,
) -> PollenWarning:
    """What of a warning's days is still to come, and who can give pollen on them; past, where none is."""
    ahead = tuple((max(first, given.as_of), last) for first, last in warning.spans if last >= given.as_of)
    over = given.season.date(median_day(bloom[:, 2])) + dt.timedelta(days=receptive_days - 1) < given.as_of
    if not ahead and (warning.spans or over):
        return replace(warning, level="watch", past=True)
    opened = {
        named(given.planting, other): given.open_days(other, complete)
        for other in given.planting.blocks
        if other.key != block.key and other.key in given.blooms and given.counts(other)
    }
    return replace(warning, ahead=ahead, donors=donors(found, opened, ahead, given.season))


def _bloom_warnings(
    planting: Planting,
    block: Block,
    viable: tuple[Block, ...],
    doubtful: tuple[NamedBlock, ...],
    known: tuple[Block, ...],
    bloom: FloatArray,
    complete: BoolArray,
    season: SeasonDays,
) -> list[PollenWarning]:
    """What follows for the whole bloom from what can be forecast, and from there being one viable source."""
    spans = () if not bloom.size else (_bloom_span(bloom, season),)
    warned: list[tuple[Warned, WarningLevel, float]] = []
    unfinished = 1.0 - float(complete.mean())
    level = level_of(unfinished)
    if level is not None:
        of = BloomUnfinished() if unfinished < 1.0 else BloomNotForecast()
        warned.append((of, level, unfinished))
    unknown = tuple(named(planting, other) for other in viable if other not in known)
    if unknown:
        warned.append((SourcesNotForecast(unknown, not known), "watch" if known else "act", 1.0))
    if viable and doubtful:
        warned.append((SourcesFrosted(doubtful), "watch", 1.0))
    if len(viable) == 1:
        warned.append((OnlySource(named(planting, viable[0])), "watch", 1.0))
    name = named(planting, block)
    return [PollenWarning(name, of, level, chance, spans) for of, level, chance in warned]


def _reach_warnings(
    planting: Planting,
    block: Block,
    makers: tuple[Block, ...],
    viable: tuple[Block, ...],
    doubtful: tuple[NamedBlock, ...],
    spans: tuple[Span, ...],
) -> list[PollenWarning]:
    """That nothing in reach sheds viable pollen; ``spans`` are the days without."""
    if viable:
        return []
    of: Warned
    if makers:
        names = tuple(named(planting, other) for other in makers)
        of = NoneViable(tuple(name for name in names if name not in doubtful), doubtful)
    else:
        of = NoSourceInReach(planting.reach_m, block.neighbours is not None)
    return [PollenWarning(named(planting, block), of, "act", 1.0, spans)]


def _bloom_span(bloom: FloatArray, season: SeasonDays) -> Span:
    """From bloom start to its end, by medians."""
    return season.date(median_day(bloom[:, 0])), season.date(median_day(bloom[:, 2]))


def _main_source_warning(timing: Timing, found: Cover) -> list[PollenWarning]:
    """Whether most of the cover comes from the source that would be missed most."""
    most_missed = int(np.median(found.lost_without, axis=-1).argmax())
    lost = found.lost_without[most_missed]
    chance = float(np.mean((lost > 0) & (lost >= MOST * found.covered)))
    if chance < ACT:
        return []
    of = MainSource(timing.sources[most_missed], float(np.median(lost)))
    return [PollenWarning(timing.block, of, "watch", chance, (_bloom_span(timing.bloom, timing.season),))]


def _complete_draws(bloom: FloatArray | None) -> tuple[FloatArray, BoolArray]:
    """The draws in which the whole bloom falls into the season, and which ones they are."""
    if bloom is None:
        return np.empty((0, 3)), np.zeros(1, dtype=bool)
    complete: BoolArray = np.asarray(np.isfinite(bloom).all(axis=-1))
    return bloom[complete], complete
