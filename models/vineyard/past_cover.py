"""How much of a block's bloom the sources in its reach would have covered in past seasons."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from models.bloom.forecast import forecast
from models.bloom.site import Site
from models.bloom.thresholds import Fit
from models.errors import NotEnoughData
from models.heat.gaps import MOST_MISSING_SHARE, season_gap_share
from models.heat.season import season_of, season_window
from models.records import Block, Unit
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from models.vineyard import cover
from models.vineyard.cover import Part, open_anther_days
from models.vineyard.reach import VineGroup

DRAWS = 200


@dataclass(frozen=True, eq=False)
class SeasonBloom:
    """Bloom of a season: bloom start, full bloom and bloom end, shape (draw, 3). [day]

    Attributes
    ----------
    blooms : mapping of str to ndarray
        By cultivar: one block stands for all of which nothing was seen in the season.
    own : mapping of str to ndarray
        By block: of those that were looked at, or froze, in the season.
    frosted : frozenset of str
        Blocks whose shoots froze: as sources they are not counted on, as in `pollination`.
    """

    season: int
    blooms: Mapping[str, FloatArray]
    own: Mapping[str, FloatArray] = field(default_factory=dict)
    frosted: frozenset[str] = frozenset()

    def stands_for(self, block: Block) -> Unit:
        """Whose bloom is taken for a block's: its own, or its cultivar's."""
        return Unit.of(block.cultivar, block.key if block.key in self.own else None)

    def of(self, unit: Unit) -> FloatArray:
        """Its bloom."""
        return (self.own if unit.kind == "block" else self.blooms)[unit.name]

    def sources(self, group: VineGroup) -> frozenset[Unit]:
        """What in a group's reach gave pollen that counts, as far as its bloom is known."""
        return frozenset(
            self.stands_for(block)
            for block in group.in_reach
            if block.key not in self.frosted and block.cultivar in self.blooms
        )


def past_blooms(
    fit: Fit,
    site: Site,
    cultivars: Collection[str],
    blocks: Sequence[Block] = (),
    *,
    draws: int = DRAWS,
) -> tuple[SeasonBloom, ...]:
    """Bloom of cultivars and blocks in each past season whose temperatures are complete enough.

    Each season is forecast on its last day: its weather is known then, and what was seen in it is used, of each
    block as in a forecast. Blocks of a cultivar of which nothing was seen bloom as one.

    Parameters
    ----------
    fit : Fit
    site : Site
    cultivars : collection of str
        Keys; those that the fit does not know are left out.
    blocks : sequence of Block
        Told apart in the seasons in which they were looked at or froze, where the fit knows their cultivar.
    draws : int

    Returns
    -------
    tuple of SeasonBloom
        Seasons with at most ``MOST_MISSING_SHARE`` of their days missing, in order; none where the fit lacks a
        bloom stage or the record holds a single season.
    """
    known = sorted(set(cultivars) & set(fit.cultivars))
    if not known or fit.lacking:
        return ()
    stand_ins = [Block(f"cultivar {key}", key, 0.0, 0.0) for key in known]
    found = []
    for season, last_day in _complete_seasons(fit, site):
        frosted = site.frosted_in(season)
        looked_at = {each.block for each in site.seen if each.season == season} | frosted
        apart = [block for block in blocks if block.key in looked_at and block.cultivar in known]
        try:
            made = forecast(
                fit,
                site,
                [*stand_ins, *apart],
                as_of=last_day,
                season=season,
                history=site.temperatures,
                draws=draws,
            )
        except NotEnoughData:
            return ()
        day = made.draws["day"].sel(stage=list(BLOOM_STAGES)).transpose("block", "draw", "stage").values
        blooms = dict(zip(known, day[: len(known)], strict=True))
        own = {block.key: bloom for block, bloom in zip(apart, day[len(known) :], strict=True)}
        found.append(SeasonBloom(season, blooms, own, frosted))
    return tuple(found)


def covered_share(
    season: SeasonBloom,
    block: Block,
    groups: Sequence[VineGroup],
    *,
    receptive_days: int,
    pollen_days_of: Mapping[str, int],
) -> FloatArray:
    """Share of a block's bloom that the sources in reach of its vines cover, by draw.

    Parameters
    ----------
    season : SeasonBloom
    block : Block
        Of a cultivar whose bloom is known.
    groups : sequence of VineGroup
        Its vines by the blocks with viable pollen in their reach; those whose bloom is not known are left out.
    receptive_days, pollen_days_of
        As of `pollination`; the latter by cultivar. [day]

    Returns
    -------
    ndarray, shape (draw,)
        Draws in which the block does not finish its bloom are left out.
    """
    bloom = season.of(season.stands_for(block))
    complete = np.isfinite(bloom).all(axis=-1)
    bloom = bloom[complete]
    reached = [season.sources(group) for group in groups]
    sources = sorted({source for each in reached for source in each})
    if not sources or not bloom.size:
        return np.zeros(len(bloom))
    held = {other.key: other.cultivar for group in groups for other in group.in_reach}
    opened = [
        open_anther_days(
            season.of(source)[complete],
            pollen_days=pollen_days_of[held[source.name] if source.kind == "block" else source.name],
        )
        for source in sources
    ]
    first_open, last_open = (np.array(days) for days in zip(*opened, strict=True))
    vines = sum(group.vines for group in groups)
    parts = [
        Part(group.vines / vines, np.array([source in mine for source in sources], dtype=np.bool_))
        for group, mine in zip(groups, reached, strict=True)
    ]
    return cover.covered_share(bloom, first_open, last_open, receptive_days=receptive_days, parts=parts)


def _complete_seasons(fit: Fit, site: Site) -> Iterator[tuple[int, dt.date]]:
    """Label and last day of each season of the record with few enough missing days."""
    dates = site.temperatures.dates
    if not dates.size:
        return
    first, last = (season_of(day.astype(dt.date), site.latitude) for day in dates[[0, -1]])
    for season in range(first, last + 1):
        window = season_window(season, site.latitude, fit.rule.accumulate_from)
        last_day = window.end - dt.timedelta(days=1)
        if season_gap_share(site.temperatures, window.start, last_day) <= MOST_MISSING_SHARE:
            yield season, last_day
