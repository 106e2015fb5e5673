"""Which pistillate blocks get pollen through their whole bloom, from which sources, and how sure it is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from models.errors import BadInput, Problem
from models.records import Block, FlowerType, Planting
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from models.vineyard.block_pollination import (
    AtReach,
    BlockPollination,
    MedianInterval,
    SourceCover,
    day_interval,
    share_interval,
    source_cover,
)
from models.vineyard.cover import Cover, cover, covered_share, open_anther_days
from models.vineyard.donors import donors
from models.vineyard.flower_days import POLLEN_DAYS, RECEPTIVE_DAYS, FlowerDays
from models.vineyard.pollen_warnings import PollenWarning, Span, WarningCode, WarningLevel, worst_first
from models.vineyard.reach import (
    cultivar_of,
    named,
    pollen_makers_in_reach,
    sheds_viable_pollen,
    vine_groups,
)
from models.vineyard.season_days import SeasonDays, median_day
from models.vineyard.standing_warnings import (
    InReach,
    bloom_warnings,
    frosted_in_part_warnings,
    main_source_warnings,
    reach_warnings,
)
from models.vineyard.supply import shares_of_supply, supply
from models.vineyard.synchrony import BoolArray
from models.vineyard.timing_warnings import Timing, timing_warnings
from models.vineyard.uncovered import Uncovered, daily_chance, uncovered_runs

if TYPE_CHECKING:
    import xarray as xr

__all__ = [
    "AtReach",
    "BlockPollination",
    "MedianInterval",
    "PollenWarning",
    "SourceCover",
    "Uncovered",
    "WarningCode",
    "WarningLevel",
    "pollination",
]

# Of the reach: at these it is told what cover would be. Our convention.
OTHER_REACHES = (0.5, 2.0)


def pollination(
    planting: Planting,
    draws: xr.Dataset,
    *,
    interval: float = 0.8,
    receptive_days: int = RECEPTIVE_DAYS,
    pollen_days: int = POLLEN_DAYS,
    frosted: Collection[str] = (),
    as_of: dt.date | None = None,
    lacking: tuple[str, ...] = (),
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
        Where blocks froze in part also ``pollen_day(draw, block, stage)``, the same of the bloom that gives pollen, and
        ``counted_on(draw, block)``, in which draws it does. [day]
    interval : float
        Share of the draws between low and high.
    receptive_days, pollen_days : int
        Days for which a flower is receptive and an anther sheds, from the day its cap falls, where the
        cultivar does not say. Assumptions: no source was found. [day]
    frosted : collection of str
        Keys of blocks whose shoots all froze this season, or nobody said how many. As a source such a block is not
        counted on: how many of its first flowers are left is not known, and bloom from secondary buds counts as no
        pollen (our convention).
    as_of : date, optional
        Days before this one are over; by default none is.
    lacking : tuple of str
        Bloom stages that the fit behind the draws does not know (NaN in all of them): why no cover is known.

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
    pollen_blooms = _bloom_by_block(draws["pollen_day"]) if "pollen_day" in draws else blooms
    counted_on = _read_counted_on(draws)
    opened = {}
    for block in planting.blocks:
        cultivar = cultivar_of(planting, block)
        if block.key in blooms and block.key not in frosted and sheds_viable_pollen(cultivar):
            sheds = flower_days.pollen_of(cultivar)
            first, last = open_anther_days(pollen_blooms[block.key], pollen_days=sheds)
            counted = counted_on.get(block.key, True)
            opened[block.key] = np.array([np.where(counted, first, np.inf), np.where(counted, last, -np.inf)])
    known = _Known(
        planting=planting,
        blooms=blooms,
        opened=opened,
        counted_on=counted_on,
        season=season,
        flower_days=flower_days,
        frosted=frozenset(frosted),
        as_of=as_of or dt.date.min,
        lacking=lacking,
    )
    return tuple(
        _block_pollination(known, block, interval)
        for block in planting.blocks
        if cultivar_of(planting, block).flower_type is FlowerType.PISTILLATE
    )


@dataclass(frozen=True, eq=False, kw_only=True)
class _Known:
    """What the cover of every block rests on.

    Attributes
    ----------
    opened : mapping of str to ndarray, shape (2, draw)
        First and last day with open anthers of every block whose pollen is viable, forecast and can be counted on; the
        last one minus infinite in draws in which it is not. [day]
    """

    planting: Planting
    blooms: Mapping[str, FloatArray]
    opened: Mapping[str, FloatArray]
    counted_on: Mapping[str, BoolArray]
    season: SeasonDays
    flower_days: FlowerDays
    frosted: frozenset[str]
    as_of: dt.date
    lacking: tuple[str, ...]

    def open_days_of(self, blocks: Sequence[Block], complete: BoolArray) -> tuple[FloatArray, FloatArray]:
        """First and last day with open anthers of several, in these draws; shape (block, draw). [day]"""
        opened = np.array([self.opened[block.key][:, complete] for block in blocks])
        first, last = opened.reshape(len(blocks), 2, np.count_nonzero(complete)).swapaxes(0, 1)
        return first, last


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
    blooms = _bloom_by_block(draws["day"])
    return (
        SeasonDays(dt.date.fromisoformat(draws.attrs["season_start"])),
        {key: bloom for key, bloom in blooms.items() if np.isfinite(bloom[:, 0]).any()},
    )


def _bloom_by_block(day: xr.DataArray) -> dict[str, FloatArray]:
    """Bloom days of every block; shape (draw, 3). [day]"""
    day = day.sel(stage=list(BLOOM_STAGES)).transpose("block", "draw", "stage")
    return dict(zip(day["block"].values.tolist(), np.ascontiguousarray(day.values), strict=True))


def _read_counted_on(draws: xr.Dataset) -> dict[str, BoolArray]:
    """In which draws each block is counted on, of those that are not in every one."""
    if "counted_on" not in draws:
        return {}
    counted = draws["counted_on"].transpose("block", "draw")
    keys = counted["block"].values.tolist()
    return {key: row for key, row in zip(keys, counted.values, strict=True) if not row.all()}


def _block_pollination(given: _Known, block: Block, interval: float) -> BlockPollination:
    planting = given.planting
    near = _in_reach(given, block, planting.reach_m)
    bloom, complete = _complete_draws(given.blooms.get(block.key))
    whole: tuple[Span, ...] = (_bloom_span(bloom, given.season),) if bloom.size else ()
    warnings = bloom_warnings(
        planting, block, near, 1.0 - float(complete.mean()), whole, lacking=given.lacking
    )
    if not bloom.size or (near.viable and not near.known):
        return BlockPollination(
            block=block.key,
            cultivar=block.cultivar,
            sources=(),
            share_of_bloom_covered=None,
            uncovered_days=None,
            uncovered=(),
            warnings=worst_first([*warnings, *reach_warnings(planting, block, near, ())]),
        )

    receptive = given.flower_days.receptive_of(cultivar_of(planting, block))
    first_open, last_open = given.open_days_of(near.known, complete)
    found = cover(bloom, first_open, last_open, receptive_days=receptive, parts=near.parts)
    uncovered = uncovered_runs(found, given.season, receptive_days=receptive)
    out = [run for run in uncovered if not near.viable or run.why == "no_pollen_source_in_reach"]
    told = reach_warnings(planting, block, near, tuple(run.span for run in out))
    left = {
        other.key: float(given.counted_on[other.key].mean())
        for other in near.known
        if other.key in given.counted_on
    }
    without = tuple(run.span for run in uncovered if run.why == "unknown_bloom")
    told += frosted_in_part_warnings(planting, block, left, found.failed_of.sum(axis=0), without)
    if near.known:
        sheds = [given.flower_days.pollen_of(cultivar_of(planting, other)) for other in near.known]
        timing = Timing(
            block=named(planting, block),
            sources=tuple(named(planting, other) for other in near.known),
            bloom=bloom,
            source_end=last_open - (np.array(sheds)[:, np.newaxis] - 1),
            first_open=first_open,
            last_open=last_open,
            season=given.season,
            reached=[part.reached for part in near.parts],
        )
        told += timing_warnings(timing, found, uncovered)
        told += main_source_warnings(planting, block, near, found, whole)
    told = [*(warning for warning in warnings if warning.code == "single_pollen_source"), *told]
    over = whole[0][1] + dt.timedelta(days=receptive - 1) < given.as_of
    supplied = shares_of_supply(planting, near.known)
    sources = (
        source_cover(block, other, found, index, interval, supplied[other.key])
        for index, other in enumerate(near.known)
    )
    return BlockPollination(
        block=block.key,
        cultivar=block.cultivar,
        sources=tuple(sorted(sources, key=lambda source: -source.share_of_bloom_covered)),
        share_of_bloom_covered=share_interval(found.covered, interval),
        uncovered_days=day_interval(found.uncovered_days.astype(np.float64), interval),
        uncovered=uncovered,
        warnings=worst_first(
            [
                *(warning for warning in warnings if warning.code != "single_pollen_source"),
                *(_as_it_stands(given, warning, block, found, complete, over=over) for warning in told),
            ]
        ),
        at_other_reach=tuple(_at_other_reach(given, block, near, bloom, complete, interval)),
        without_pollen=daily_chance(found, given.season),
    )


def _in_reach(given: _Known, block: Block, reach_m: float) -> InReach:
    makers = pollen_makers_in_reach(replace(given.planting, reach_m=reach_m), block)
    sheds = [other for other in makers if sheds_viable_pollen(cultivar_of(given.planting, other))]
    viable = tuple(other for other in sheds if other.key not in given.frosted)
    return InReach(
        makers=makers,
        viable=viable,
        doubtful=tuple(other for other in sheds if other.key in given.frosted),
        known=tuple(other for other in viable if other.key in given.opened),
        groups=vine_groups(block, viable, reach_m=reach_m),
    )


def _at_other_reach(
    given: _Known, block: Block, near: InReach, bloom: FloatArray, complete: BoolArray, interval: float
) -> Iterator[AtReach]:
    """The cover at half and at double the reach, where other sources stand in it: distance is an assumption."""
    receptive = given.flower_days.receptive_of(cultivar_of(given.planting, block))
    for factor in OTHER_REACHES:
        reach_m = factor * given.planting.reach_m
        other = _in_reach(given, block, reach_m)
        if other.groups == near.groups:
            continue
        share = None
        if other.known or not other.viable:
            opened = given.open_days_of(other.known, complete)
            covered = covered_share(bloom, *opened, receptive_days=receptive, parts=other.parts)
            share = share_interval(covered, interval)
        yield AtReach(reach_m, tuple(source.key for source in other.viable), share)


def _as_it_stands(
    given: _Known, warning: PollenWarning, block: Block, found: Cover, complete: BoolArray, *, over: bool
) -> PollenWarning:
    """What of a warning's days is still to come, and who can give pollen on them; past, where none is."""
    ahead = tuple((max(first, given.as_of), last) for first, last in warning.spans if last >= given.as_of)
    if not ahead and (warning.spans or over):
        return replace(warning, level="watch", past=True)
    if warning.code == "single_pollen_source":
        return replace(warning, ahead=ahead)
    opened = {
        named(given.planting, other): given.opened[other.key][:, complete]
        for other in given.planting.blocks
        if other.key != block.key and other.key in given.opened
    }
    giving = donors(found, opened, ahead, given.season)
    # of those with as many days the one that has most pollen to give comes first
    weight = {other.key: supply(given.planting, other) for other in given.planting.blocks}
    ordered = sorted(giving, key=lambda donor: (-len(donor.days), -weight[donor.block.key]))
    return replace(warning, ahead=ahead, donors=tuple(ordered))


def _bloom_span(bloom: FloatArray, season: SeasonDays) -> Span:
    """From bloom start to its end, by medians."""
    return season.date(median_day(bloom[:, 0])), season.date(median_day(bloom[:, 2]))


def _complete_draws(bloom: FloatArray | None) -> tuple[FloatArray, BoolArray]:
    """The draws in which the whole bloom falls into the season, and which ones they are."""
    if bloom is None:
        return np.empty((0, 3)), np.zeros(1, dtype=bool)
    complete: BoolArray = np.asarray(np.isfinite(bloom).all(axis=-1))
    return bloom[complete], complete
