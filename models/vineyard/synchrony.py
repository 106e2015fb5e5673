"""How far flowering times coincide, on whole days.

Every function takes arrays of booleans over days (last axis): whether a plant, block or draw is in flower.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.units import FloatArray

BoolArray = NDArray[np.bool_]
CountArray = NDArray[np.int64]


def shared_days(own: BoolArray, other: BoolArray) -> CountArray:
    """Days on which both are in flower. [day]"""
    return np.asarray(np.count_nonzero(own & other, axis=-1))


def uncovered_days(own: BoolArray, others: BoolArray) -> CountArray:
    """Days in flower on which none of the others is. ``others``: shape (..., other, day). [day]"""
    return np.asarray(np.count_nonzero(own & ~others.any(axis=-2), axis=-1))


def synchrony_index(own: BoolArray, others: BoolArray) -> FloatArray:
    """Augspurger's index of one plant: the mean share of its flowering days that it has in common with
    another.

    Parameters
    ----------
    own : ndarray of bool, shape (..., day)
        Days in flower.
    others : ndarray of bool, shape (..., other, day)
        The same of each other plant.

    Returns
    -------
    ndarray, shape (...)
        0 (never together) to 1; NaN where the plant does not flower.

    References
    ----------
    .. [1] Augspurger (1983), Biotropica 15:257-267; second-hand, as the help of an R package has it.
    """
    flowering = np.count_nonzero(own, axis=-1).astype(np.float64)
    together = shared_days(own[..., np.newaxis, :], others).mean(axis=-1)
    return np.asarray(together / np.where(flowering > 0, flowering, np.nan))
