"""What a vineyard's past seasons say of the next: the part of a season's effect that drifts and lasts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.bloom.mixed_model import Spread, drift_correlation
from models.units import FloatArray


@dataclass(frozen=True, eq=False)
class SeasonEvidence:
    """What one season at one site showed of its own effect, apart from all others.

    Attributes
    ----------
    site, season
        Where (`Site.place`) and when.
    precision : ndarray, shape (stage, stage)
        [1/(°C·day)²]
    pull : ndarray, shape (stage,)
        Precision times the effect. [1/(°C·day)]
    weight : float
        1 for a usual season, near 0 for one far off.
    """

    site: str
    season: int
    precision: FloatArray
    pull: FloatArray
    weight: float


def expected_drift(
    evidence: Sequence[SeasonEvidence], spread: Spread, *, site: str, season: int
) -> tuple[FloatArray, FloatArray]:
    """Drift to expect in a season from the seasons before it at the same site; later ones are not looked at.

    Returns
    -------
    mean : ndarray, shape (stage,)
        [°C·day]
    covariance : ndarray, shape (stage, stage)
        [(°C·day)²]
    """
    omega, share = spread.between_seasons, spread.drift_share
    stages = omega.shape[0]
    past = [said for said in evidence if said.site == site and said.season < season]
    if not past:
        return np.zeros(stages), share * omega
    years = np.array([said.season for said in past], dtype=np.float64)
    shock = np.diag([(1 - share) / said.weight for said in past])
    prior = np.kron(share * drift_correlation(years, years) + shock, omega)
    reach = np.kron(share * drift_correlation(np.array([float(season)]), years), omega)
    size = len(past) * stages
    precision = np.zeros((len(past), stages, len(past), stages))
    precision[np.arange(len(past)), :, np.arange(len(past)), :] = [said.precision for said in past]
    flat = precision.reshape(size, size)
    pull = np.concatenate([said.pull for said in past])
    known = np.linalg.inv(np.eye(size) + flat @ prior)
    covariance = share * omega - reach @ known @ flat @ reach.T
    return reach @ known @ pull, 0.5 * (covariance + covariance.T)
