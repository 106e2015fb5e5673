"""What a look would teach: by how much it would narrow the windows of a vineyard, before anybody goes."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from models.bloom.forecast import Forecast
from models.stages import BLOOM_STAGES
from models.units import FloatArray

# Sums of whole days and of their squares are exact in single precision, up to 2**24.
WholeDays = NDArray[np.float32]
SmallInts = NDArray[np.int8]

# Into so many classes of equal size the weather up to a look is parted: it will be known by then, looked or not.
WEATHERS = 4


def narrowing(found: Forecast, looks: Collection[tuple[str, dt.date]]) -> dict[tuple[str, dt.date], float]:
    """How much each look at a block is expected to narrow the bloom windows, on average over blocks and stages. [day]

    A look on a day finds how many stages a block has reached. The joint draws, parted by what it would find, tell how
    much less the dates of all blocks would scatter then: the expected fall of their standard deviation, as the width
    of the forecast's interval under a normal distribution. Bloom that is past by the day of the look counts as known:
    to date it better is hindsight.

    Parameters
    ----------
    found : Forecast
    looks : collection of (block, day)
        Those before the forecast's day, and at blocks without a forecast, are left out.

    Returns
    -------
    dict of (block, day) to float
        By day, then in the forecast's order of blocks. Never negative.
    """
    window, traces = found.traces.window, found.traces
    drawn = found.draws["day"].transpose("stage", "draw", "block")
    foreseen = np.isfinite(drawn.values).any(axis=(0, 1))
    days = np.where(np.isnan(drawn.values), window.days, drawn.values)
    reached = days[..., foreseen].astype(np.float32, order="C")
    blocks = drawn["block"].values[foreseen].tolist()
    bloom = [place for place, stage in enumerate(drawn["stage"].values.tolist()) if stage in BLOOM_STAGES]
    if not blocks or not bloom:
        return {}
    first, last = reached.min(axis=1), reached.max(axis=1)
    dates = np.hstack([reached[place] for place in bloom])
    middle = np.rint(dates.mean(axis=0))
    off = dates - middle
    place_of = {season: place for place, season in enumerate(traces.seasons)}
    trace_of = np.array([place_of[season] for season in found.draws["trace_season"].values.tolist()])
    width = 2 * float(ndtri(0.5 + found.interval / 2))
    asked: dict[dt.date, set[str]] = defaultdict(set)
    for block, day in looks:
        asked[day].add(block)
    told: dict[tuple[str, dt.date], float] = {}
    for day in sorted(asked):
        place = window.day_index(day)
        if day < found.as_of or not 0 <= place < window.days:
            continue
        falls = np.zeros(len(blocks))
        # most of the time goes into what is known: looks that can find one thing only, and dates that are past
        looked = np.isin(blocks, list(asked[day])) & ((first <= place) & (last > place)).any(axis=0)
        is_open = (last > np.maximum(first, place))[bloom].ravel()
        if looked.any() and is_open.any():
            seen = (reached <= place).sum(axis=0, dtype=np.int8)[:, looked]
            heat = traces.accumulated[:, place][trace_of]
            known_off = np.maximum(off[:, is_open], place - middle[is_open])
            falls[looked] = _expected_fall(known_off, seen, heat)
            falls *= np.mean(is_open)  # what is past falls no further
        told |= {
            (block, day): width * float(fall)
            for block, fall in zip(blocks, falls, strict=True)
            if block in asked[day]
        }
    return told


def _expected_fall(off: WholeDays, seen: SmallInts, heat: FloatArray) -> FloatArray:
    """Expected fall of the mean standard deviation of dates, by what is looked at; shape (block,). [day]

    Parameters
    ----------
    off : ndarray, shape (draw, target)
        Dates, from one in the middle of each. [day]
    seen : ndarray of int, shape (draw, block)
        What a look at the block would find.
    heat : ndarray, shape (draw,)
        By the day of the look: the weather up to it will be known. [°C·day]
    """
    weather = np.argsort(heat, kind="stable")
    classes = 1 if np.ptp(heat) == 0 else WEATHERS
    moments = np.hstack([off, off**2])[weather]
    seen = np.hstack([np.zeros_like(seen[:, :1]), seen])[weather]  # of no look the draws are not parted
    parts = zip(np.array_split(moments, classes), np.array_split(seen, classes), strict=True)
    left = np.sum([_deviation(*part) for part in parts], axis=0) / len(off)
    return np.asarray(np.maximum(left[0] - left[1:], 0.0))


def _deviation(moments: WholeDays, seen: SmallInts) -> FloatArray:
    """Mean standard deviation among draws of which a look finds the same, summed over draws; shape (look,)."""
    kinds, looks = int(seen.max()) + 1, seen.shape[1]
    counts = np.bincount((seen + kinds * np.arange(looks)).ravel(), minlength=looks * kinds)
    look_of, kind_of = np.divmod(np.flatnonzero(counts), kinds)
    count = counts[counts > 0]
    sums = (seen[:, look_of] == kind_of.astype(np.int8)).T.astype(np.float32) @ moments
    first, second = np.split(sums.astype(np.float64), 2, axis=1)
    # of few draws the deviation comes out too small: by about 1 / (4 (n - 1)) where they are normal
    spare = np.maximum(count - 1, 1)
    squares = np.maximum(second - first**2 / count[:, np.newaxis], 0.0)
    deviation = np.sqrt(squares / spare[:, np.newaxis]).mean(axis=1) * (1 + 1 / (4 * spare))
    left = np.bincount(look_of, weights=count * deviation, minlength=looks)
    return np.asarray(left, dtype=np.float64)
