"""The shape of a bloom, for fit and cover alike: on the logit scale the share of caps off is a straight line.

Nothing else knows the shape. A curve is what leads a share to its line and back, increasing.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, logit

from models.stages import BLOOM_STAGES, STAGES
from models.units import FloatArray


def regression_link() -> Any:
    """The same for a regression by statsmodels, which is loaded where there is one to do."""
    from statsmodels.genmod.families.links import Logit

    return Logit()


def to_line(share: ArrayLike) -> FloatArray:
    """Share of caps off (0 to 1) to the scale on which a bloom is a straight line."""
    return np.asarray(logit(np.asarray(share, dtype=np.float64)), dtype=np.float64)


def from_line(value: ArrayLike) -> FloatArray:
    """And back."""
    return np.asarray(expit(np.asarray(value, dtype=np.float64)), dtype=np.float64)


_SHARES = {stage.key: stage.percent_open / 100 for stage in STAGES if stage.percent_open is not None}
STAGES_ON_LINE: FloatArray = to_line([_SHARES[key] for key in BLOOM_STAGES])
"""Where bloom start, full bloom and bloom end lie on it."""
