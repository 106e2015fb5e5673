"""How much of a cultivar's bloom a set of source cultivars would have covered in past seasons."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from models.bloom.forecast import forecast
from models.bloom.site import Site
from models.bloom.thresholds import Fit
from models.errors import NotEnoughData
from models.heat.gaps import MOST_MISSING_SHARE, season_gap_share
from models.heat.season import season_of, season_window
from models.records import Block
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from models.vineyard.cover import cover, open_anther_days

DRAWS = 200


@dataclass(frozen=True, eq=False)
class SeasonBloom:
    """Bloom of a season by cultivar: bloom start, full bloom and bloom end, shape (draw, 3). [day]"""

    season: int
    blooms: Mapping[str, FloatArray]


def past_blooms(
    fit: Fit,
    site: Site,
    cultivars: Collection[str],
    *,
    draws: int = DRAWS,
) -> tuple[SeasonBloom, ...]:
    """Bloom of cultivars in each past season whose temperatures are complete enough.

    Each season is forecast on its last day: its weather is known then, and what was seen in it is used. One
    block stands for each cultivar: blocks that stand side by side are taken to bloom alike, so what a block's own
    dates say beyond its cultivar's does not count.

    Parameters
    ----------
    fit : Fit
    site : Site
    cultivars : collection of str
        Keys; those that the fit does not know are left out.
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
    blocks = [Block(f"cultivar {key}", key, 0.0, 0.0) for key in known]
    found = []
    for season, last_day in _complete_seasons(fit, site):
        try:
            made = forecast(
                fit, site, blocks, as_of=last_day, season=season, history=site.temperatures, draws=draws
            )
        except NotEnoughData:
            return ()
        day = made.draws["day"].sel(stage=list(BLOOM_STAGES)).transpose("block", "draw", "stage").values
        found.append(SeasonBloom(season, dict(zip(known, day, strict=True))))
    return tuple(found)


def covered_share(
    season: SeasonBloom,
    cultivar: str,
    sources: Iterable[str],
    *,
    receptive_days: int,
    pollen_days_of: Mapping[str, int],
) -> FloatArray:
    """Share of a cultivar's bloom that sources in reach cover, by draw.

    Parameters
    ----------
    season : SeasonBloom
    cultivar : str
    sources : iterable of str
        Cultivars in reach with viable pollen; those whose bloom is not known are left out.
    receptive_days, pollen_days_of
        As of `pollination`. [day]

    Returns
    -------
    ndarray, shape (draw,)
        Draws in which the cultivar does not finish its bloom are left out.
    """
    bloom = season.blooms[cultivar]
    complete = np.isfinite(bloom).all(axis=-1)
    bloom = bloom[complete]
    known = [source for source in sources if source in season.blooms]
    if not known or not bloom.size:
        return np.zeros(len(bloom))
    opened = [
        open_anther_days(season.blooms[source][complete], pollen_days=pollen_days_of[source])
        for source in known
    ]
    first_open, last_open = (np.array(days) for days in zip(*opened, strict=True))
    return cover(bloom, first_open, last_open, receptive_days=receptive_days).covered


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
