"""Days since the start of a season, their summaries over draws, and the dates they stand for."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from models.units import FloatArray


@dataclass(frozen=True)
class SeasonDays:
    """The calendar of one season; ``start`` is its day 0."""

    start: dt.date

    def date(self, day: float) -> dt.date:
        """The date of a whole, finite day since the start."""
        return self.start + dt.timedelta(days=int(day))


def quantile_day(days: FloatArray, probability: float) -> float:
    """The smallest day by which at least this share of the draws has come; always one of them. [day]

    Parameters
    ----------
    days : ndarray, shape (draw,)
        Days, or numbers of days; may be infinite. [day]
    probability : float
        Above 0, at most 1.

    References
    ----------
    .. [1] Hyndman & Fan (1996), Am. Stat. 50:361-365, definition 1 (from memory).
    """
    ranked = np.sort(days)
    position = int(np.ceil(probability * ranked.size - 1e-9)) - 1
    return float(ranked[max(position, 0)])


def median_day(days: FloatArray) -> float:
    """The median, always a day of one of the draws. [day]"""
    return quantile_day(days, 0.5)
