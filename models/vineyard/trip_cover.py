"""The fewest days that meet every task: an exact set cover."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from models.units import FloatArray
from models.vineyard.synchrony import BoolArray

if TYPE_CHECKING:
    from scipy.optimize import LinearConstraint

# Chances are compared to a thousandth: whole numbers leave no doubt about which plan is best.
STEPS = 1000
# What lies so near to 0 or 1 is that, but for rounding.
WHOLE = 1e-7


def fewest_days(
    chance: FloatArray,
    day_number: NDArray[np.int64],
    *,
    most: int | None = None,
    taught: FloatArray | None = None,
) -> BoolArray:
    """Days to go out: the fewest that meet every task; of those the likeliest; then the most telling; the earliest.

    Each task is done on the chosen day that suits it best. Likeliest means the largest sum of the tasks'
    chances, in thousandths; most telling that of what the tasks teach; earliest the smallest sum of day numbers.

    Parameters
    ----------
    chance : ndarray, shape (task, day)
        Chance that a day meets a task, 0 where it must not be used; every task has a day. At least one task.
    day_number : ndarray of int, shape (day,)
        Where the days lie. [day]
    most : int, optional
        Most days to choose, at least 1. Where they do not meet every task, the sum of the chances of those met
        is made as large as it can be.
    taught : ndarray, shape (task, day), optional
        What a task on a day teaches, to a thousandth; it orders plans that are alike in all but days.

    Returns
    -------
    ndarray of bool, shape (day,)
    """
    from scipy.optimize import LinearConstraint  # the solver is loaded where there are trips to plan
    from scipy.sparse import csr_array, eye_array, hstack

    days = chance.shape[1]
    needed = csr_array(np.unique(chance > 0, axis=0).astype(float))
    fewest = round(_best(-np.ones(days), [LinearConstraint(needed, 1, np.inf)], [], days=days).sum())
    count = fewest if most is None else min(fewest, most)

    # Variables: each day, then each step, which counts if a day is chosen that reaches it.
    reaches, worth, telling = _steps(chance, taught)
    size = worth.size
    rules = [
        LinearConstraint(hstack([-csr_array(reaches.astype(float)), eye_array(size)]), -np.inf, 0),
        LinearConstraint(np.concatenate([np.ones(days), np.zeros(size)])[np.newaxis], count, count),
    ]
    if count == fewest:
        rules.append(LinearConstraint(hstack([needed, csr_array((needed.shape[0], size))]), 1, np.inf))
    no_day, no_step = np.zeros(days), np.zeros(size)
    late = np.concatenate([day_number - day_number.min(), no_step])
    plan, held = late, list[tuple[FloatArray, int]]()
    for wish in (np.concatenate([no_day, worth]), np.concatenate([no_day, telling]), -late):
        if wish.any():
            plan = _best(wish, rules, held, days=days)
            held.append((wish, round(float(wish @ plan))))
    return np.asarray(plan[:days] > 0.5)


def _steps(chance: FloatArray, taught: FloatArray | None) -> tuple[BoolArray, FloatArray, FloatArray]:
    """What a plan is worth and tells, in steps: each the days that reach it, and by how many thousandths.

    A task counts on the best of the chosen days, the likeliest and among these the most telling. So it climbs from
    one of its days to the next better one, and gains each step if a day is chosen that reaches so high. Tasks whose
    step the same days reach share it: there are hardly more steps than runs of days, however many tasks there are.

    Returns
    -------
    reaches : ndarray of bool, shape (step, day)
    worth, telling : ndarray, shape (step,)
        The latter may be negative: a likelier day may tell less.
    """
    worth = np.where(chance > 0, np.maximum(np.rint(STEPS * chance), 1), 0)
    telling = np.zeros_like(worth) if taught is None else np.where(chance > 0, np.rint(STEPS * taught), 0)
    base = telling.max() + 1
    height = worth * base + telling  # by worth, then by telling
    climbed = np.sort(np.hstack([np.zeros((len(height), 1)), height]), axis=1)
    task, place = np.nonzero(np.diff(climbed, axis=1))
    below, above = climbed[task, place], climbed[task, place + 1]
    reaches = height[task] >= above[:, np.newaxis]
    bits = np.packbits(reaches, axis=1)  # as one value a row they sort fast
    _, one_of, step_of = np.unique(
        bits.view(f"S{bits.shape[1]}").ravel(), return_index=True, return_inverse=True
    )
    worth_of, telling_of = (
        np.bincount(step_of, weights=top - bottom).astype(np.float64)
        for top, bottom in ((above // base, below // base), (above % base, below % base))
    )
    return reaches[one_of], worth_of, telling_of


def _best(
    wish: FloatArray, rules: list[LinearConstraint], held: list[tuple[FloatArray, int]], *, days: int
) -> FloatArray:
    """The plan with the most of a wish among those that keep what earlier wishes reached; its first are the days.

    Where all steps are reached by runs of days, as they mostly are, the best plan in parts of days is one in whole
    days [1]_, also among those that are best by an earlier wish, and found at a fraction of the time.

    References
    ----------
    .. [1] Hoffman & Kruskal (1956), Integral boundary points of convex polyhedra: the matrix is totally unimodular,
       and so a face of what it bounds has whole corners (memory).
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    for whole, slack, near in ((0, 0.0, WHOLE), (days, 0.5, 0.5)):
        kept = [LinearConstraint(old[np.newaxis], most - slack, np.inf) for old, most in held]
        integrality = (np.arange(wish.size) < whole).astype(np.int64)
        found = milp(
            -wish,
            integrality=integrality,
            bounds=Bounds(0, 1),
            constraints=[*rules, *kept],
            options={"mip_rel_gap": 0.0},
        )
        if found.x is not None and np.all(np.abs(found.x[:days] - np.rint(found.x[:days])) <= near):
            return np.asarray(found.x, dtype=np.float64)
    raise RuntimeError(f"the solver found no plan: {found.message}")
