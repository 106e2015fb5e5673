"""How far flowering times coincide, on whole days; a time in flower runs from a first through a last day."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.units import FloatArray

BoolArray = NDArray[np.bool_]
CountArray = NDArray[np.int64]


def shared_days(
    first: FloatArray, last: FloatArray, other_first: FloatArray, other_last: FloatArray
) -> FloatArray:
    """Days on which both are in flower; of the shape to which the arguments broadcast. [day]"""
    together = np.minimum(last, other_last) - np.maximum(first, other_first) + 1
    return np.asarray(np.maximum(together, 0.0))


def uncovered_days(
    first: FloatArray, last: FloatArray, other_first: FloatArray, other_last: FloatArray
) -> FloatArray:
    """Days in flower on which none of the others is. Own days have shape (...), the others' (other, ...). [day]"""
    met = length_of_union(np.maximum(first, other_first), np.minimum(last, other_last) + 1)
    return np.asarray(last - first + 1 - met)


def synchrony_index(shared: FloatArray, flowering: FloatArray) -> FloatArray:
    """Augspurger's index of one plant: the mean share of its flowering days that it has in common with
    another.

    Parameters
    ----------
    shared : ndarray, shape (..., other)
        Days on which it flowers together with each other plant. [day]
    flowering : ndarray, shape (...)
        Days on which it flowers. [day]

    Returns
    -------
    ndarray, shape (...)
        0 (never together) to 1; NaN where the plant does not flower.

    References
    ----------
    .. [1] Augspurger (1983), Biotropica 15:257-267; second-hand, as the help of an R package has it.
    """
    return np.asarray(shared.mean(axis=-1) / np.where(flowering > 0, flowering, np.nan))


def length_of_union(first: FloatArray, last: FloatArray) -> FloatArray:
    """How much lies in at least one of several spans; shape (...).

    Parameters
    ----------
    first, last : ndarray, shape (span, ...)
        Where each begins and ends; one that ends before it begins is empty.
    """
    order = np.argsort(first, axis=0)
    first, last = np.take_along_axis(first, order, axis=0), np.take_along_axis(last, order, axis=0)
    counted = np.concatenate([np.full_like(last[:1], -np.inf), np.maximum.accumulate(last, axis=0)[:-1]])
    return np.asarray(np.maximum(last - np.maximum(first, counted), 0.0).sum(axis=0))
