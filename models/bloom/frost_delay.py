"""How much later blocks bloom whose shoots froze: from secondary buds, later and longer (common practice)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.stages import BLOOM_STAGES, STAGE_KEYS
from models.units import FloatArray

# By how much at most. An assumption: no source was found for muscadine. [day]
MOST_DAYS_LATER = 14


def frost_delay(stages: Sequence[str], *, draws: int, random: np.random.Generator) -> FloatArray:
    """Draws of the delay of one block whose shoots froze. [day]

    Anything from none (few shoots froze) to ``MOST_DAYS_LATER`` (all did) is as likely, and a later bloom stage is
    never delayed less than an earlier one. Stages before bloom are not delayed, those after it as its end.

    Parameters
    ----------
    stages : sequence of str
        Keys, in season order.
    draws : int
    random : Generator

    Returns
    -------
    ndarray, shape (draw, stage)
        Whole days.
    """
    later = np.sort(random.integers(0, MOST_DAYS_LATER + 1, (draws, len(BLOOM_STAGES))), axis=1)
    before = STAGE_KEYS.index(BLOOM_STAGES[0])
    delay = np.zeros((draws, len(stages)))
    for place, stage in enumerate(stages):
        nth = STAGE_KEYS.index(stage) - before
        if nth >= 0:
            delay[:, place] = later[:, min(nth, len(BLOOM_STAGES) - 1)]
    return delay
