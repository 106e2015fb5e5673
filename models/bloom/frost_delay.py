"""How much later secondary buds bloom than the shoots that froze: later and longer (common practice)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.stages import BLOOM_STAGES, STAGE_KEYS
from models.units import FloatArray

# By how much at most. An assumption: no source was found for muscadine. [day]
MOST_DAYS_LATER = 14


def frost_delay(stages: Sequence[str], *, draws: int, random: np.random.Generator) -> FloatArray:
    """Draws of the delay of one block's bloom from secondary buds. [day]

    Anything from none to ``MOST_DAYS_LATER`` is as likely, and a later bloom stage is never delayed less than an
    earlier one. Stages before bloom are not delayed, those after it as its end.

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
    of_stage = dict(zip(BLOOM_STAGES, later.T, strict=True))
    delay = np.zeros((draws, len(stages)))
    for place, stage in enumerate(stages):
        until = STAGE_KEYS[: STAGE_KEYS.index(stage) + 1]
        begun = [key for key in BLOOM_STAGES if key in until]
        if begun:
            delay[:, place] = of_stage[begun[-1]]
    return delay
