"""This season's observations as the forecast uses them: bounds of heat and of days for every block."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from models.bloom.mixed_model import Units
from models.bloom.observations import IntArray, heat_bounds, unit_name
from models.bloom.thresholds import Fit
from models.bloom.traces import Traces
from models.heat.accumulate import SeasonHeat
from models.records import Block, StageInterval
from models.stages import BLOOM_STAGES
from models.units import FloatArray


def known_by(
    observations: Sequence[StageInterval], fit: Fit, season: int, as_of: dt.date
) -> list[StageInterval]:
    """What was known of a season on a day, as far as the fit has its stage and cultivar."""
    known = []
    for seen in observations:
        told = seen.by if seen.by is not None else seen.after
        in_fit = seen.stage in fit.stages and seen.cultivar in fit.cultivars
        if in_fit and seen.season == season and told is not None and told <= as_of:
            known.append(seen)
    return known


@dataclass(frozen=True, eq=False)
class SeasonLooks:
    """This season's observations, laid out for the model.

    Attributes
    ----------
    cultivars : list of int
        Places in the fit of the cultivars that are grown or were seen; effects are numbered along it.
    names : list of str
        What was looked at: the rows of ``units``.
    units : Units
        Heat bounds of what was seen. [°C·day]
    cultivar_effect : ndarray of int, shape (block,)
    unit_of_block : list of int or None
        The row of ``units`` that speaks of each block.
    lower, upper : ndarray, shape (block, stage)
        Heat bounds, -inf and inf where nothing was seen. [°C·day]
    first_day, last_day : ndarray, shape (block, stage)
        Days since the start of the season between which the stage must lie. [day]
    last_not_yet : dict
        Heat at the last look that said "not yet", by name and stage. [°C·day]
    observed : set
        Names and stages that were seen.
    """

    cultivars: list[int]
    names: list[str]
    units: Units
    cultivar_effect: IntArray
    unit_of_block: list[int | None]
    lower: FloatArray
    upper: FloatArray
    first_day: FloatArray
    last_day: FloatArray
    last_not_yet: dict[tuple[str, str], float]
    observed: set[tuple[str, str]]

    @classmethod
    def of(
        cls, seen: Sequence[StageInterval], blocks: Sequence[Block], fit: Fit, traces: Traces
    ) -> SeasonLooks:
        """Lay out observations of blocks whose cultivars the fit knows."""
        heat = SeasonHeat(traces.window, np.diff(traces.expected, prepend=0.0), traces.expected)
        names = sorted({unit_name(look) for look in seen})
        grown = {block.cultivar for block in blocks} | {look.cultivar for look in seen}
        cultivars = [place for place, key in enumerate(fit.cultivars) if key in grown]
        effect = {fit.cultivars[place]: number for number, place in enumerate(cultivars)}
        lower, upper = np.full((2, len(names), len(fit.stages)), np.nan)
        of_unit = {unit_name(look): effect[look.cultivar] for look in seen}
        first_day = np.full((len(names), len(fit.stages)), -np.inf)
        last_day = np.full((len(names), len(fit.stages)), np.inf)
        last_not_yet: dict[tuple[str, str], float] = {}
        observed: set[tuple[str, str]] = set()
        for look in seen:
            place = names.index(unit_name(look)), fit.stages.index(look.stage)
            lower[place], upper[place] = heat_bounds(look, heat)
            if look.after is not None:
                first_day[place] = traces.window.day_index(look.after) + 1
            if look.by is not None:
                last_day[place] = traces.window.day_index(look.by)
            if look.by is None:
                last_not_yet[unit_name(look), look.stage] = float(lower[place])
            else:
                observed.add((unit_name(look), look.stage))
        units = Units(
            np.array([of_unit[name] for name in names], dtype=np.int64),
            np.full(len(names), len(cultivars), dtype=np.int64),
            lower,
            upper,
        )
        # a look at a whole cultivar stands for each of its blocks that has none of its own
        unit_of_block = [
            names.index(name) if (name := block.key) in names or (name := block.cultivar) in names else None
            for block in blocks
        ]
        return cls(
            cultivars,
            names,
            units,
            np.array([effect[block.cultivar] for block in blocks], dtype=np.int64),
            unit_of_block,
            _of_blocks(lower, unit_of_block, -np.inf),
            _of_blocks(upper, unit_of_block, np.inf),
            np.maximum.accumulate(_of_blocks(first_day, unit_of_block, -np.inf), axis=1),
            np.minimum.accumulate(_of_blocks(last_day, unit_of_block, np.inf)[:, ::-1], axis=1)[:, ::-1],
            last_not_yet,
            observed,
        )

    def units_outside(self, frosted: Collection[str]) -> Units:
        """The units that teach about others."""
        kept = np.array([name not in frosted for name in self.names], dtype=np.bool_)
        units = self.units
        return Units(
            units.cultivar_effect[kept], units.season_effect[kept], units.lower[kept], units.upper[kept]
        )

    def has_begun(self, block: Block) -> bool:
        """Whether a bloom stage of the block itself was seen."""
        return any((block.key, stage) in self.observed for stage in BLOOM_STAGES)


def _of_blocks(of_units: FloatArray, unit_of_block: Sequence[int | None], unseen: float) -> FloatArray:
    """What was seen of each block; shape (block, stage)."""
    rows = np.full((len(unit_of_block), of_units.shape[1]), unseen)
    for row, unit in enumerate(unit_of_block):
        if unit is not None:
            rows[row] = np.where(np.isnan(of_units[unit]), unseen, of_units[unit])
    return rows
