"""This season's observations as the forecast uses them: bounds of heat and of days for every block."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from models.bloom.mixed_model import Units
from models.bloom.observations import IntArray, heat_bounds
from models.bloom.thresholds import Fit
from models.heat.accumulate import SeasonHeat
from models.heat.season import SeasonWindow
from models.records import Block, StageInterval, Unit
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
    names : list of Unit
        What was looked at: the rows of ``units``.
    units : Units
        Heat bounds of what was seen. [°C·day]
    cultivar_effect : ndarray of int, shape (block,)
        Places in the fit.
    unit_of_block : list of int or None
        The row of ``units`` that speaks of each block.
    lower, upper : ndarray, shape (block, stage)
        Heat bounds, -inf and inf where nothing was seen. [°C·day]
    first_day, last_day : ndarray, shape (block, stage)
        Days since the start of the season between which the stage must lie. [day]
    last_not_yet : dict
        Heat at the last look that said "not yet", by what was looked at and stage. [°C·day]
    observed : set
        What was looked at, and the stages that were seen of it.
    first_look : dict
        Of these, where nobody had looked before, the day on which the stage had come.
    """

    names: list[Unit]
    units: Units
    cultivar_effect: IntArray
    unit_of_block: list[int | None]
    lower: FloatArray
    upper: FloatArray
    first_day: FloatArray
    last_day: FloatArray
    last_not_yet: dict[tuple[Unit, str], float]
    observed: set[tuple[Unit, str]]
    first_look: dict[tuple[Unit, str], dt.date]

    @classmethod
    def of(
        cls,
        seen: Sequence[StageInterval],
        blocks: Sequence[Block],
        fit: Fit,
        window: SeasonWindow,
        accumulated: FloatArray,
    ) -> SeasonLooks:
        """Lay out observations of blocks whose cultivars the fit knows, in the heat of one trace."""
        heat = SeasonHeat(window, np.diff(accumulated, prepend=0.0), accumulated)
        names = sorted({look.unit for look in seen})
        effect = {cultivar: place for place, cultivar in enumerate(fit.cultivars)}
        lower, upper = np.full((2, len(names), len(fit.stages)), np.nan)
        of_unit = {look.unit: effect[look.cultivar] for look in seen}
        first_day = np.full((len(names), len(fit.stages)), -np.inf)
        last_day = np.full((len(names), len(fit.stages)), np.inf)
        last_not_yet: dict[tuple[Unit, str], float] = {}
        observed: set[tuple[Unit, str]] = set()
        first_look: dict[tuple[Unit, str], dt.date] = {}
        for look in seen:
            place = names.index(look.unit), fit.stages.index(look.stage)
            lower[place], upper[place] = heat_bounds(look, heat)
            if look.after is not None:
                first_day[place] = window.day_index(look.after) + 1
            if look.by is not None:
                last_day[place] = window.day_index(look.by)
            if look.by is None:
                last_not_yet[look.unit, look.stage] = float(lower[place])
            else:
                observed.add((look.unit, look.stage))
                if look.after is None:
                    first_look[look.unit, look.stage] = look.by
        units = Units(
            np.array([of_unit[name] for name in names], dtype=np.int64),
            np.full(len(names), len(fit.cultivars), dtype=np.int64),
            lower,
            upper,
        )
        speaks = [unit_of(block, names) for block in blocks]
        unit_of_block = [names.index(unit) if unit in names else None for unit in speaks]
        return cls(
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
            first_look,
        )

    def units_outside(self, frosted: Collection[str]) -> Units:
        """The units that teach about others: all but these blocks."""
        kept = np.array(
            [unit.kind != "block" or unit.name not in frosted for unit in self.names], dtype=np.bool_
        )
        units = self.units
        return Units(
            units.cultivar_effect[kept], units.season_effect[kept], units.lower[kept], units.upper[kept]
        )

    def has_begun(self, block: Block) -> bool:
        """Whether a bloom stage of the block itself was seen."""
        return any((Unit("block", block.key), stage) in self.observed for stage in BLOOM_STAGES)

    def within(self, days: FloatArray) -> FloatArray:
        """Days of the blocks' stages, shape (draw, block, stage), moved into what was seen. [day]"""
        last_day = np.where(np.isinf(self.last_day), np.nan, self.last_day)
        return np.maximum(np.fmin(days, last_day), self.first_day)


def unit_of(block: Block, looked_at: Collection[Unit]) -> Unit:
    """What speaks of a block: a look at its whole cultivar, where it has none of its own."""
    own = Unit("block", block.key)
    return own if own in looked_at else Unit("cultivar", block.cultivar)


def _of_blocks(of_units: FloatArray, unit_of_block: Sequence[int | None], unseen: float) -> FloatArray:
    """What was seen of each block; shape (block, stage)."""
    rows = np.full((len(unit_of_block), of_units.shape[1]), unseen)
    for row, unit in enumerate(unit_of_block):
        if unit is not None:
            rows[row] = np.where(np.isnan(of_units[unit]), unseen, of_units[unit])
    return rows
