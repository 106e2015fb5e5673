"""A vineyard's season as the board shows it: pistillate blocks beside their pollen sources, worst first."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from models.bloom.cautions import ObservationFarOff, VisitsContradict
from models.heat.season import season_of
from models.records import FlowerType, Planting, Visit
from models.vineyard.pollination import BlockPollination, MedianInterval, PollenWarning, SourceCover
from models.vineyard.reach import cultivar_of, neighbours_given, pollen_makers_in_reach
from models.vineyard.reach import distance_m as distance_between
from service.board.bars import Bar, Stretch, bar, shown_days, uncovered_stretch
from service.board.time_axis import TimeAxis
from service.store.records import KeptVisit
from service.usecases.forecasts import VineyardForecast
from service.words.plain import sentence
from service.words.pollen import cover_words, other_reach_words, uncovered_words

LONG_PAST_DAYS = 10


@dataclass(frozen=True)
class Source:
    """A block in reach that makes pollen; ``cover`` is None where it is not viable or not forecast. [m]"""

    bar: Bar
    distance_m: float | None
    cover: SourceCover | None


@dataclass(frozen=True)
class Group:
    """One pistillate block, the sources in its reach, and how its pollen stands."""

    bar: Bar
    sources: tuple[Source, ...]
    covered: MedianInterval | None
    uncovered: tuple[Stretch, ...]
    warnings: tuple[PollenWarning, ...]
    at_other_reach: tuple[str, ...] = ()

    @property
    def level(self) -> str:
        """The worst of its warnings: act, watch, or nothing."""
        return self.warnings[0].level if self.warnings else ""

    @property
    def said(self) -> str:
        """How much of its bloom gets pollen, in words."""
        return sentence(cover_words(self.covered))


@dataclass(frozen=True)
class SeasonView:
    """All that the picture of the season shows. ``others`` are the blocks that are not pistillate."""

    axis: TimeAxis | None
    today_x: float | None
    groups: tuple[Group, ...]
    others: tuple[Bar, ...]
    warnings: tuple[tuple[str, PollenWarning], ...]


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
    groups = [_group(planting, block, bars, axis) for block in pollen]
    groups.sort(key=_worst_first)
    warnings = [(block.block, warning) for block in pollen for warning in block.warnings]
    warnings.sort(key=lambda told: (told[1].level != "act", -told[1].chance))
    return SeasonView(
        axis=axis,
        today_x=axis.morning(found.as_of) if axis is not None and axis.shows(found.as_of) else None,
        groups=tuple(groups),
        others=tuple(
            bars[block.key]
            for block in planting.blocks
            if cultivar_of(planting, block).flower_type is not FlowerType.PISTILLATE
        ),
        warnings=tuple(warnings),
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


def _group(
    planting: Planting, pollen: BlockPollination, bars: Mapping[str, Bar], axis: TimeAxis | None
) -> Group:
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
    return Group(
        bar=bars[block.key],
        sources=tuple(sources),
        covered=pollen.share_of_bloom_covered,
        uncovered=tuple(uncovered_stretch(axis, *run.span, uncovered_words(run)) for run in pollen.uncovered)
        if axis is not None
        else (),
        warnings=pollen.warnings,
        at_other_reach=tuple(other_reach_words(other) for other in pollen.at_other_reach),
    )


def _worst_first(group: Group) -> tuple[int, float, str]:
    level = {"act": 0, "watch": 1}.get(group.level, 2)
    return level, -max((warning.chance for warning in group.warnings), default=0.0), group.bar.block


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
