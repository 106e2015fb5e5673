"""A vineyard's season as the board shows it: pollen problems by cause, then one row a block in the order of bloom."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from models.bloom.cautions import ObservationFarOff, VisitsContradict
from models.bloom.forecast import BlockForecast
from models.heat.season import season_of
from models.records import Planting, Visit
from models.vineyard.pollen_warnings import WarningLevel
from models.vineyard.pollination import BlockPollination, PollenWarning, SourceCover, WarningCode
from models.vineyard.reach import cultivar_of, neighbours_given, notes_for, pollen_makers_in_reach
from models.vineyard.reach import distance_m as distance_between
from models.vineyard.season_state import Standing, standing
from service.board.bars import Bar, bar, shown_days, strip
from service.board.charts import Column
from service.board.time_axis import TimeAxis
from service.store.records import KeptVisit
from service.usecases.forecasts import VineyardForecast
from service.words.plain import sentence
from service.words.pollen import cover_words, note_words, other_reach_words, uncovered_words

Show = Literal["now", "14", "all"]
LONG_PAST_DAYS = 10
TWO_WEEKS = dt.timedelta(days=14)
NOW: tuple[Standing, ...] = ("due", "presumed", "in_bloom")


@dataclass(frozen=True)
class Source:
    """A block in reach that makes pollen; ``cover`` is None where it is not viable or not forecast. [m]"""

    bar: Bar
    distance_m: float | None
    cover: SourceCover | None


@dataclass(frozen=True)
class PollenState:
    """How a pistillate block's pollen stands: the sources in its reach, in words, and day by day."""

    sources: tuple[Source, ...]
    said: str
    uncovered: tuple[str, ...]
    strip: tuple[Column, ...]
    level: WarningLevel | None
    at_other_reach: tuple[str, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Row:
    """One block's row; ``pollen`` is None unless it is pistillate."""

    bar: Bar
    standing: Standing
    first_day: dt.date | None
    last_day: dt.date | None
    pollen: PollenState | None

    def within(self, show: Show, as_of: dt.date) -> bool:
        """Whether it belongs to what was asked for."""
        if show == "all" or self.standing in NOW:
            return True
        if show == "now" or self.first_day is None or self.last_day is None:
            return False
        return self.first_day <= as_of + TWO_WEEKS and as_of <= self.last_day


@dataclass(frozen=True)
class Cause:
    """All warnings of one kind, worst first, each with its block."""

    code: WarningCode
    level: WarningLevel
    past: bool
    warnings: tuple[PollenWarning, ...]


@dataclass(frozen=True)
class SeasonView:
    """All that the picture of the season shows."""

    axis: TimeAxis | None
    today_x: float | None
    rows: tuple[Row, ...]
    causes: tuple[Cause, ...]


def season_view(foreseen: VineyardForecast, pollen: Sequence[BlockPollination]) -> SeasonView:
    """What the board draws of a forecast and its pollen cover."""
    planting, found = foreseen.vineyard.planting, foreseen.forecast
    axis = TimeAxis.around(shown_days(found.blocks), today=found.as_of)
    visits = _visits_by_block(foreseen, found.as_of)
    forecast_of = {block.block: block for block in found.blocks}
    bars = {
        block.key: bar(
            block, cultivar_of(planting, block), forecast_of[block.key], axis, visits.get(block.key, ())
        )
        for block in planting.blocks
    }
    pollen_of = {block.block: block for block in pollen}
    rows = [
        _row(
            bars[block.key],
            forecast_of[block.key],
            found.as_of,
            _pollen_state(planting, pollen_of[block.key], bars, axis) if block.key in pollen_of else None,
        )
        for block in planting.blocks
    ]
    rows.sort(key=_in_order_of_bloom)
    return SeasonView(
        axis=axis,
        today_x=axis.morning(found.as_of) if axis is not None and axis.shows(found.as_of) else None,
        rows=tuple(rows),
        causes=_causes([warning for block in pollen for warning in block.warnings]),
    )


def _in_order_of_bloom(row: Row) -> tuple[bool, dt.date, dt.date, str]:
    """By first and last day; what is over stands last."""
    return row.standing == "over", row.first_day or dt.date.max, row.last_day or dt.date.max, row.bar.block


def _row(drawn: Bar, found: BlockForecast, as_of: dt.date, pollen: PollenState | None) -> Row:
    days = list(shown_days([found]))
    return Row(
        bar=drawn,
        standing=standing(found, as_of),
        first_day=min(days, default=None),
        last_day=max(days, default=None),
        pollen=pollen,
    )


def _causes(warnings: Sequence[PollenWarning]) -> tuple[Cause, ...]:
    """Warnings by what causes them; the worst cause first."""
    groups: dict[tuple[WarningCode, WarningLevel, bool], list[PollenWarning]] = defaultdict(list)
    for warning in warnings:
        groups[warning.code, warning.level, warning.past].append(warning)
    causes = [
        Cause(code, level, past, tuple(sorted(told, key=lambda each: (-each.chance, each.block.key))))
        for (code, level, past), told in groups.items()
    ]
    return tuple(
        sorted(causes, key=lambda cause: (cause.past, cause.level != "act", -cause.warnings[0].chance))
    )


def _visits_by_block(foreseen: VineyardForecast, as_of: dt.date) -> Mapping[str, Sequence[Visit]]:
    """Looks of this season at each block, those at a whole cultivar too."""
    site = foreseen.vineyard.site
    by_block: dict[str, list[Visit]] = defaultdict(list)
    for visit in site.only(season_of(as_of, site.latitude)).known_on(as_of).visits:
        for block in foreseen.vineyard.planting.blocks:
            if visit.block == block.key or (visit.block is None and visit.cultivar == block.cultivar):
                by_block[block.key].append(visit)
    return by_block


def _pollen_state(
    planting: Planting, pollen: BlockPollination, bars: Mapping[str, Bar], axis: TimeAxis | None
) -> PollenState:
    block = next(each for each in planting.blocks if each.key == pollen.block)
    cover_of = {source.block: source for source in pollen.sources}
    sources = [
        Source(
            bars[other.key],
            None if neighbours_given(block, other) else distance_between(block, other),
            cover_of.get(other.key),
        )
        for other in pollen_makers_in_reach(planting, block)
    ]
    sources.sort(key=lambda source: -source.cover.share_of_bloom_covered if source.cover else 1.0)
    return PollenState(
        sources=tuple(sources),
        said=sentence(cover_words(pollen.share_of_bloom_covered)),
        uncovered=tuple(uncovered_words(run) for run in pollen.uncovered),
        strip=() if axis is None else strip(axis, pollen.without_pollen),
        level=pollen.warnings[0].level if pollen.warnings else None,
        at_other_reach=tuple(other_reach_words(other) for other in pollen.at_other_reach),
        notes=tuple(note_words(note, planting.cultivars) for note in notes_for(planting, block.cultivar)),
    )


def doubtful_visits(foreseen: VineyardForecast, kept: Sequence[KeptVisit]) -> tuple[KeptVisit, ...]:
    """Visits that contradict each other, or lie weeks off what fit and weather say."""
    at_odds: set[Visit] = set()
    far_off: set[tuple[str, dt.date]] = set()
    for caution in foreseen.forecast.cautions:
        if isinstance(caution, VisitsContradict):
            at_odds.update(caution.visits)
        elif isinstance(caution, ObservationFarOff):
            far_off.add((caution.block, caution.day))
    return tuple(
        each
        for each in kept
        if each.visit in at_odds or (each.visit.block or each.visit.cultivar, each.visit.date) in far_off
    )


def stale_since(foreseen: VineyardForecast) -> dt.date | None:
    """The day after the last measured one, if that is long past: the board of that day says more."""
    through = foreseen.forecast.traces.temperatures_through
    if through is None or (foreseen.forecast.as_of - through).days <= LONG_PAST_DAYS:
        return None
    return through + dt.timedelta(days=1)
