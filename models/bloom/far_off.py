"""How far an observation lies from what fit and weather say."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import stdtrit

from models.bloom.cautions import ObservationFarOff
from models.bloom.mixed_model import TAIL_DEGREES
from models.bloom.thresholds import Fit
from models.bloom.traces import Traces
from models.records import StageInterval

# An observation is told as far off outside this central range, and so many days from the usual day. Ours.
USUAL_SHARE = 0.98
FAR_OFF_DAYS = 14


def usual_heat(fit: Fit, cultivar: int, stage: int, share: float) -> tuple[float, float]:
    """Central range of a stage's heat in a season of which nothing is known. [°C·day]"""
    variance = (
        fit.thresholds.covariance[cultivar, stage, cultivar, stage]
        + fit.calibrated.between_seasons[stage, stage]
        + fit.calibrated.within[stage, stage]
    )
    reach = float(stdtrit(TAIL_DEGREES, 0.5 + share / 2) * np.sqrt(variance))
    mean = float(fit.thresholds.mean[cultivar, stage])
    return mean - reach, mean + reach


def far_off(seen: Sequence[StageInterval], fit: Fit, traces: Traces) -> tuple[ObservationFarOff, ...]:
    """The observation of each block that lies farthest off, of those that are weeks off, in the blocks' order."""
    worst: dict[str, ObservationFarOff] = {}
    for look in seen:
        cultivar, stage = fit.cultivars.index(look.cultivar), fit.stages.index(look.stage)
        low, high = usual_heat(fit, cultivar, stage, USUAL_SHARE)
        mean = float(fit.thresholds.mean[cultivar, stage])
        first, usual, last = np.searchsorted(traces.expected, [low, mean, high]).tolist()
        for day, had_come in ((look.by, True), (look.after, False)):
            if day is None:
                continue
            place = traces.window.day_index(day)
            outside = place < first if had_come else place > last
            if outside and abs(place - usual) >= FAR_OFF_DAYS:
                name = look.unit.name
                found = ObservationFarOff(name, look.stage, day, had_come, place - usual)
                if name not in worst or abs(worst[name].days_later) < abs(found.days_later):
                    worst[name] = found
    return tuple(worst[name] for name in sorted(worst))
