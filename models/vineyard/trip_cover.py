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


def fewest_days(chance: FloatArray, day_number: NDArray[np.int64], *, most: int | None = None) -> BoolArray:
    """Days to go out: the fewest that meet every task; of those the likeliest; of those the earliest.

    Each task is done on the chosen day that suits it best. Likeliest means the largest sum of the tasks'
    chances, in thousandths; earliest the smallest sum of day numbers.

    Parameters
    ----------
    chance : ndarray, shape (task, day)
        Chance that a day meets a task, 0 where it must not be used; every task has a day. At least one task.
    day_number : ndarray of int, shape (day,)
        Where the days lie. [day]
    most : int, optional
        Most days to choose, at least 1. Where they do not meet every task, the sum of the chances of those met
        is made as large as it can be.

    Returns
    -------
    ndarray of bool, shape (day,)
    """
    from scipy.optimize import LinearConstraint  # the solver is loaded where there are trips to plan
    from scipy.sparse import csr_array, eye_array, hstack

    days = chance.shape[1]
    needed = csr_array(np.unique(chance > 0, axis=0).astype(float))
    every_task = [LinearConstraint(needed, 1, np.inf)]
    plan = _solve_in_parts(np.ones(days), every_task)
    if not _is_whole(plan):
        plan = _solve(np.ones(days), every_task, whole=days)
    fewest = round(plan.sum())
    count = fewest if most is None else min(fewest, most)

    # Variables: each day, then each step, which counts if a day is chosen that reaches it.
    reaches, worth = _steps(chance)
    size = worth.size
    gains = np.concatenate([np.zeros(days), worth])
    rules = [
        LinearConstraint(hstack([-csr_array(reaches.astype(float)), eye_array(size)]), -np.inf, 0),
        LinearConstraint(np.concatenate([np.ones(days), np.zeros(size)])[np.newaxis], count, count),
    ]
    if count == fewest:
        rules.append(LinearConstraint(hstack([needed, csr_array((needed.shape[0], size))]), 1, np.inf))
    number = np.concatenate([day_number - day_number.min(), np.zeros(size)])
    # One cost for both wishes: a thousandth weighs more than any days can.
    plan = _solve_in_parts(number - (count * number.max() + 1) * gains, rules)
    if not _is_whole(plan[:days]):
        likeliest = _solve(-gains, rules, whole=days)
        most_worth = round(float(gains @ likeliest))
        rules.append(LinearConstraint(gains[np.newaxis], most_worth - 0.5, np.inf))
        plan = _solve(number, rules, whole=days)
    return np.asarray(plan[:days] > 0.5)


def _steps(chance: FloatArray) -> tuple[BoolArray, FloatArray]:
    """What a plan is worth, in steps: each the days that reach it, and by how many thousandths.

    A task is worth its chance on the best of the chosen days. So it climbs from one of its chances to the next, and
    gains each step if a day is chosen that reaches so high. Tasks whose step the same days reach share it: there are
    hardly more steps than runs of days, however many tasks there are.

    Returns
    -------
    reaches : ndarray of bool, shape (step, day)
    worth : ndarray, shape (step,)
    """
    worth = np.where(chance > 0, np.maximum(np.rint(STEPS * chance), 1), 0)
    gained: dict[bytes, float] = {}
    for row in worth:
        heights = np.unique(row[row > 0])
        for height, gain in zip(heights, np.diff(heights, prepend=0), strict=True):
            days = (row >= height).tobytes()
            gained[days] = gained.get(days, 0.0) + float(gain)
    reaches = np.frombuffer(b"".join(gained), dtype=np.bool_).reshape(len(gained), chance.shape[1])
    return reaches, np.array(list(gained.values()))


def _solve_in_parts(cost: FloatArray, rules: list[LinearConstraint]) -> FloatArray:
    """Least cost with every variable from 0 to 1.

    Where all steps are reached by runs of days, as they mostly are, the best plan in parts of days is one in whole
    days [1]_, found at a fraction of the time.

    References
    ----------
    .. [1] Hoffman & Kruskal (1956), Integral boundary points of convex polyhedra: the matrix is totally unimodular
       (memory).
    """
    return _solve(cost, rules, whole=0)


def _is_whole(days: FloatArray) -> bool:
    return bool(np.all(np.abs(days - np.rint(days)) < WHOLE))


def _solve(cost: FloatArray, rules: list[LinearConstraint], *, whole: int) -> FloatArray:
    """Least cost with every variable from 0 to 1, the first ``whole`` of them 0 or 1."""
    from scipy.optimize import Bounds, milp

    integrality = (np.arange(cost.size) < whole).astype(np.int64)
    found = milp(
        cost, integrality=integrality, bounds=Bounds(0, 1), constraints=rules, options={"mip_rel_gap": 0.0}
    )
    if found.x is None:
        raise RuntimeError(f"the solver found no plan: {found.message}")
    return np.asarray(found.x, dtype=np.float64)
