"""What a look would teach: by how much it would narrow the windows of a vineyard, before anybody goes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from models.bloom.forecast import Forecast
from models.bloom.observations import IntArray
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from models.vineyard.synchrony import BoolArray

# Into so many classes of equal size the weather up to a look is parted: it will be known by then, looked or not.
WEATHERS = 4


def narrowing(found: Forecast, days: Collection[dt.date]) -> dict[tuple[str, dt.date], float]:
    """How much each look at a block is expected to narrow the bloom windows, on average over blocks and stages. [day]

    A look on a day finds how many stages a block has reached. The joint draws, parted by what it would find, tell how
    much less the dates of all blocks would scatter then: the expected fall of their standard deviation, as the width
    of the forecast's interval under a normal distribution. Bloom that is past by the day of the look counts as known:
    to date it better is hindsight.

    Parameters
    ----------
    found : Forecast
    days : collection of date
        Of looks; those before the forecast's day are left out.

    Returns
    -------
    dict of (block, day) to float
        For every block with a forecast. Never negative.
    """
    window, traces = found.traces.window, found.traces
    drawn = found.draws["day"].transpose("block", "stage", "draw")
    foreseen = np.isfinite(drawn.values).any(axis=(1, 2))
    reached = np.where(np.isnan(drawn.values[foreseen]), window.days, drawn.values[foreseen])
    blocks = drawn["block"].values[foreseen].tolist()
    bloom = [place for place, stage in enumerate(drawn["stage"].values.tolist()) if stage in BLOOM_STAGES]
    if not blocks or not bloom:
        return {}
    dates = reached[:, bloom].reshape(-1, reached.shape[-1])
    place_of = {season: place for place, season in enumerate(traces.seasons)}
    trace_of = np.array([place_of[season] for season in found.draws["trace_season"].values.tolist()])
    width = 2 * float(ndtri(0.5 + found.interval / 2))
    told: dict[tuple[str, dt.date], float] = {}
    for day in sorted(days):
        place = window.day_index(day)
        if day < found.as_of or not 0 <= place < window.days:
            continue
        weather = _weather(traces.accumulated[:, place][trace_of])
        seen = (reached <= place).sum(axis=1, dtype=np.int8)
        falls = _expected_fall(np.maximum(dates, place), seen, weather)
        told |= {(block, day): width * float(fall) for block, fall in zip(blocks, falls, strict=True)}
    return told


def _weather(heat: FloatArray) -> IntArray:
    """Which of ``WEATHERS`` classes of the heat by the day of a look each draw belongs to; one where all is known."""
    if np.ptp(heat) == 0:
        return np.zeros(heat.size, dtype=np.int64)
    rank = np.argsort(np.argsort(heat, kind="stable"), kind="stable")
    return np.asarray(rank * WEATHERS // heat.size, dtype=np.int64)


def _expected_fall(dates: FloatArray, seen: IntArray, weather: IntArray) -> FloatArray:
    """Expected fall of the mean standard deviation of dates, by what is looked at; shape (block,). [day]

    Parameters
    ----------
    dates : ndarray, shape (target, draw)
        [day]
    seen : ndarray of int, shape (block, draw)
        What a look at the block would find.
    weather : ndarray of int, shape (draw,)
    """
    falls = np.zeros(len(seen))
    # most of the time goes into what is known: looks that can find one thing only, and dates that are past
    open_blocks, open_dates = _varies(seen), dates[_varies(dates)]
    if open_blocks.any() and len(open_dates):
        off = (open_dates - open_dates.mean(axis=1, keepdims=True)).T
        moments = np.hstack([np.ones((weather.size, 1)), off, off**2])
        before = _mean_deviation(moments, weather[None], WEATHERS)
        kinds = int(seen.max()) + 1
        after = _mean_deviation(moments, weather * kinds + seen[open_blocks], WEATHERS * kinds)
        falls[open_blocks] = np.maximum(before - after, 0.0) * len(open_dates) / len(dates)
    return falls


def _varies(drawn: NDArray[Any]) -> BoolArray:
    return np.asarray((drawn != drawn[:, :1]).any(axis=1))


def _mean_deviation(moments: FloatArray, class_of: IntArray, classes: int) -> FloatArray:
    """Mean standard deviation within classes of draws, over draws and targets, by what parts them; shape (part,)."""
    parts, draws = class_of.shape
    flat = (class_of + classes * np.arange(parts)[:, None]).T
    found = np.bincount(flat.ravel(), minlength=parts * classes) > 0
    member = np.zeros((draws, int(found.sum())))
    np.put_along_axis(member, (np.cumsum(found) - 1)[flat], 1.0, axis=1)
    sums = member.T @ moments
    targets = (sums.shape[-1] - 1) // 2
    count, first, second = sums[:, :1], sums[:, 1 : 1 + targets], sums[:, 1 + targets :]
    # of few draws the deviation comes out too small: by about 1 / (4 (n - 1)) where they are normal
    spare = np.maximum(count - 1, 1)
    squares = np.maximum(second - first**2 / count, 0.0)
    deviation = np.sqrt(squares / spare) * (1 + 1 / (4 * spare))
    part_of = np.flatnonzero(found) // classes
    weighted = (count[:, 0] * deviation.mean(axis=1)) / draws
    return np.asarray(np.bincount(part_of, weights=weighted, minlength=parts), dtype=np.float64)
