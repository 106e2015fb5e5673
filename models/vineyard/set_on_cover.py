"""Whether cover explains set on these vines, and which receptive and pollen days fit best: binomial regression."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from scipy.special import fdtri, stdtrit

from models.units import FloatArray
from models.vineyard.cover import open_anther_days, opening_and_met, receptive_span
from models.vineyard.flower_days import POLLEN_DAYS, RECEPTIVE_DAYS

# What is left over cultivars, seasons and cover must tell how much blocks differ by themselves. Our convention.
LEAST_FREEDOM = 8
LEAST_SEASONS = 2
TRIED_DAYS = range(1, 8)
# Cover that differs by less between blocks of a season explains nothing. Our convention.
LEAST_SPREAD = 0.01

Verdict = Literal["explains", "not_shown", "against", "too_few", "no_difference"]


@dataclass(frozen=True, eq=False)
class BlockSet:
    """Flowers and berries of one block and season, and the blooms that decide on its cover.

    Attributes
    ----------
    bloom : ndarray, shape (draw, 3)
        The block's bloom start, full bloom and bloom end, finite. [day]
    sources : tuple of ndarray, shape (draw, 3)
        The same of each viable source in reach, in the same draws.
    """

    season: int
    block: str
    cultivar: str
    flowers: int
    berries: int
    bloom: FloatArray
    sources: tuple[FloatArray, ...]

    def cover(self, receptive_days: int, pollen_days: int) -> float:
        """Expected share of the bloom that gets pollen."""
        if not self.sources:
            return 0.0
        opened = [open_anther_days(source, pollen_days=pollen_days) for source in self.sources]
        first, last = np.array(opened).swapaxes(0, 1)
        days = receptive_span(self.bloom, receptive_days)
        opening, met = opening_and_met(self.bloom, first, last, days, receptive_days=receptive_days)
        return float(np.mean(np.minimum((opening * met.any(axis=0)).sum(axis=-1), 1.0)))


@dataclass(frozen=True)
class CoverEffect:
    """By how much set differs with cover, at stated days: on the logit scale from no cover to all of it.

    ``set_without`` and ``set_with`` are the mean set of these blocks as it would be with no cover and with all.
    """

    receptive_days: int
    pollen_days: int
    effect: float
    low: float
    high: float
    set_without: float
    set_with: float


@dataclass(frozen=True)
class DaysFound:
    """The days that fit best, and the range of those that fit nearly as well. [day]"""

    best: int
    low: int
    high: int


@dataclass(frozen=True)
class SetOnCover:
    """What set says of cover.

    Attributes
    ----------
    verdict : Verdict
        Whether the effect's interval, at the days that cover rests on, lies above 0 ("explains"), holds it
        ("not_shown") or lies below ("against"); or why nothing can be said.
    blocks, seasons : int
        How many blocks (one a season) and seasons were used.
    effect : CoverEffect or None
    receptive, pollen : DaysFound or None
        None where cover does not explain set, so that no days fit better for a reason, or nobody asked for them.
    """

    verdict: Verdict
    blocks: int
    seasons: int
    effect: CoverEffect | None = None
    receptive: DaysFound | None = None
    pollen: DaysFound | None = None


def set_on_cover(
    seen: Sequence[BlockSet],
    *,
    receptive_days: int = RECEPTIVE_DAYS,
    pollen_days: int = POLLEN_DAYS,
    interval: float = 0.9,
    find_days: bool = True,
) -> SetOnCover:
    """Regress set on cover over blocks and seasons.

    log odds of a flower to set = cultivar + season + effect x cover. What a cultivar or a season has of its own is
    not taken for cover's doing. Blocks differ by more than chance: the spread around the fit widens all intervals
    (quasi-likelihood; McCullagh & Nelder 1989, Generalized Linear Models, section 4.5; from memory). The days are
    judged by the same likelihood, each over all values of the other.

    Parameters
    ----------
    seen : sequence of BlockSet
        Pistillate blocks.
    receptive_days, pollen_days : int
        At which the claim is tested. They are chosen beforehand: the best of many would seem too good. [day]
    interval : float
    find_days : bool
        Whether to look for the days that fit best too, which takes most of the time.
    """
    seasons = len({each.season for each in seen})
    if seasons < LEAST_SEASONS or len(seen) - _others(seen).shape[1] - 1 < LEAST_FREEDOM:
        return SetOnCover("too_few", len(seen), seasons)
    stated = _fitted(seen, receptive_days, pollen_days)
    if stated is None:
        return SetOnCover("no_difference", len(seen), seasons)
    reach = float(stdtrit(stated.freedom, (1 + interval) / 2)) * stated.error
    low, high = stated.effect - reach, stated.effect + reach
    verdict: Verdict = "explains" if low > 0 else "against" if high < 0 else "not_shown"
    effect = CoverEffect(
        receptive_days, pollen_days, stated.effect, low, high, stated.set_at(0.0), stated.set_at(1.0)
    )
    if verdict != "explains" or not find_days:
        return SetOnCover(verdict, len(seen), seasons, effect)
    receptive, pollen = best_days(seen, interval)
    return SetOnCover(verdict, len(seen), seasons, effect, receptive, pollen)


@dataclass(frozen=True)
class _Fitted:
    effect: float
    error: float
    deviance: float
    spread: float
    freedom: int
    without: FloatArray

    def set_at(self, cover: float) -> float:
        return float(np.mean(1 / (1 + np.exp(-(self.without + self.effect * cover)))))


def _fitted(seen: Sequence[BlockSet], receptive_days: int, pollen_days: int) -> _Fitted | None:
    """The regression at these days; None where cover is no different from cultivar and season."""
    from statsmodels.genmod.families import Binomial  # loaded where set is held against cover
    from statsmodels.genmod.generalized_linear_model import GLM

    cover = np.array([each.cover(receptive_days, pollen_days) for each in seen])
    others = _others(seen)
    own = cover - others @ np.linalg.lstsq(others, cover, rcond=None)[0]
    if float(np.sqrt(np.mean(own**2))) < LEAST_SPREAD:
        return None
    counts = np.array([[each.berries, each.flowers - each.berries] for each in seen], dtype=np.float64)
    design = np.column_stack([cover, others])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a block with no berry at all may leave its estimate at the edge
        found: Any = GLM(counts, design, family=Binomial()).fit()
    expected = np.asarray(found.mu)
    flowers = counts.sum(axis=1)
    # by hand: of counts out of totals the library's own Pearson scale leaves the totals out
    misses = (counts[:, 0] - flowers * expected) ** 2 / (flowers * expected * (1 - expected))
    freedom = len(seen) - design.shape[1]
    spread = max(float(misses.sum()) / freedom, 1.0)
    return _Fitted(
        effect=float(found.params[0]),
        error=float(found.bse[0]) * spread**0.5,
        deviance=float(found.deviance),
        spread=spread,
        freedom=freedom,
        without=np.asarray(others @ found.params[1:]),
    )


def _others(seen: Sequence[BlockSet]) -> FloatArray:
    """Columns for cultivars, and for seasons but the first."""
    columns = [[each.cultivar == key for each in seen] for key in sorted({each.cultivar for each in seen})]
    columns += [[each.season == key for each in seen] for key in sorted({each.season for each in seen})[1:]]
    return np.array(columns, dtype=np.float64).T


def best_days(seen: Sequence[BlockSet], interval: float) -> tuple[DaysFound, DaysFound]:
    """The receptive and the pollen days that fit best, each over all values of the other. [day]"""
    grid = {(one, other): _fitted(seen, one, other) for one in TRIED_DAYS for other in TRIED_DAYS}
    tried = {days: each for days, each in grid.items() if each is not None and each.effect > 0}
    best = min(tried, key=lambda days: tried[days].deviance)
    fit = tried[best]
    allowed = fit.deviance + fit.spread * float(fdtri(1, fit.freedom, interval))
    near = [days for days, each in tried.items() if each.deviance <= allowed]
    return (
        DaysFound(best[0], min(days[0] for days in near), max(days[0] for days in near)),
        DaysFound(best[1], min(days[1] for days in near), max(days[1] for days in near)),
    )
