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
    from scipy.sparse import coo_array, csr_array, eye_array, hstack

    possible = chance > 0
    tasks, days = chance.shape
    fewest = round(
        _solve(np.ones(days), [LinearConstraint(csr_array(possible.astype(float)), 1, np.inf)]).sum()
    )
    count = fewest if most is None else min(fewest, most)

    # Variables: each day, then each possible pair of task and day.
    task_of, day_of = np.nonzero(possible)
    pairs = task_of.size
    worth = np.concatenate([np.zeros(days), np.maximum(np.rint(STEPS * chance[possible]), 1)])
    pair = np.arange(pairs)
    once = coo_array((np.ones(pairs), (task_of, days + pair)), shape=(tasks, days + pairs))
    on_day = coo_array((np.ones(pairs), (pair, day_of)), shape=(pairs, days))
    chosen = np.concatenate([np.ones(days), np.zeros(pairs)])
    rules = [
        LinearConstraint(once, 1 if count == fewest else 0, 1),
        LinearConstraint(hstack([-on_day, eye_array(pairs)]), -np.inf, 0),
        LinearConstraint(chosen[np.newaxis], count, count),
    ]
    likeliest = _solve(-worth, rules, whole=days)
    most_worth = round(float(worth @ likeliest))
    rules.append(LinearConstraint(worth[np.newaxis], most_worth - 0.5, np.inf))
    if taught is not None and (told := np.rint(STEPS * taught[possible])).any():
        telling = np.concatenate([np.zeros(days), told])
        most_told = round(float(telling @ _solve(-telling, rules, whole=days)))
        rules.append(LinearConstraint(telling[np.newaxis], most_told - 0.5, np.inf))
    number = np.concatenate([day_number - day_number.min(), np.zeros(pairs)])
    earliest = _solve(number, rules, whole=days)
    return np.asarray(earliest[:days] > 0.5)


def _solve(cost: FloatArray, rules: list[LinearConstraint], *, whole: int | None = None) -> FloatArray:
    """Least cost with every variable from 0 to 1, the first ``whole`` (default all) of them 0 or 1."""
    from scipy.optimize import Bounds, milp

    integrality = (np.arange(cost.size) < (cost.size if whole is None else whole)).astype(np.int64)
    found = milp(
        cost, integrality=integrality, bounds=Bounds(0, 1), constraints=rules, options={"mip_rel_gap": 0.0}
    )
    if found.x is None:
        raise RuntimeError(f"the solver found no plan: {found.message}")
    return np.asarray(found.x, dtype=np.float64)
