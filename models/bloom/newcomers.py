"""Thresholds of cultivars of which no season is known, from those of the cultivars that a fit knows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.bloom.mixed_model import Gaussian
from models.bloom.thresholds import Fit, Newcomer
from models.records import Cultivar
from models.units import FloatArray

# How much farther off a cultivar may be whose species is not known. On an open grape data set the one cultivar of
# another species was missed by 9.1 days, the others by 4.5: sqrt(9.1² - 4.5²). [day]
OTHER_SPECIES_DAYS = 8.0
# How far "as early as that one", said before anybody looked, may be off: an assumption, no source. [day]
OFFSET_DAYS = 3.0


@dataclass(frozen=True, eq=False)
class _Prior:
    """What is expected of newcomers, as a linear function of the known thresholds.

    ``of_known`` (newcomer, cultivar) are the weights of the known cultivars, ``covariance`` (newcomer, stage,
    newcomer, stage) what is left open when those are known. [(°C·day)²]
    """

    of_known: FloatArray
    covariance: FloatArray


def with_newcomers(fit: Fit, cultivars: Sequence[Cultivar], species: Mapping[str, str] | None = None) -> Fit:
    """The fit with cultivars that it does not know, from the group that they belong to.

    Given the C known cultivars of its group, a newcomer's threshold is N(their mean, T (1 + 1/C)): it scatters as
    they do, and their mean is not known exactly. Newcomers of one group share what is not known of its mean. An
    offset to a known cultivar (``blooms_like``, ``days_later``) is taken as an observation of the difference.

    Parameters
    ----------
    fit : Fit
    cultivars : sequence of Cultivar
        Those that are to be forecast; what the fit knows already stays as it is.
    species : mapping of cultivar to species, optional
        What is recorded of the fit's cultivars today; beside it stands what the fit itself knows.

    Returns
    -------
    Fit
        Known cultivars first and as they were, then the newcomers by key. A group is a species. Where the species
        of newcomer or cultivars is not recorded, all that may be of its species are its group, and
        ``OTHER_SPECIES_DAYS`` are added. One of another species than all that are known is left out, unless an
        offset tells of it.
    """
    known = {key: name for key, name in zip(fit.cultivars, fit.species, strict=False) if name is not None}
    named = {key: _folded(name) for key, name in (known | dict(species or {})).items()}
    strangers = {cultivar.key: cultivar for cultivar in cultivars if cultivar.key not in fit.cultivars}
    told = [_newcomer(strangers[key], fit, named) for key in sorted(strangers)]
    newcomers = tuple(one for one in told if one is not None)
    if not newcomers:
        return fit
    thresholds = _joined(fit, newcomers)
    size, shape = len(fit.cultivars), (len(newcomers), len(fit.stages))
    return replace(
        fit,
        cultivars=(*fit.cultivars, *(one.cultivar for one in newcomers)),
        thresholds=thresholds,
        pooled_share=np.vstack([fit.pooled_share[:size], np.ones(shape)]),
        seasons_seen=np.vstack([fit.seasons_seen[:size], np.zeros(shape, dtype=np.int64)]),
        newcomers=newcomers,
    )


def _folded(species: str) -> str:
    return " ".join(species.split()).casefold()


def _newcomer(cultivar: Cultivar, fit: Fit, named: Mapping[str, str]) -> Newcomer | None:
    """To which group a cultivar belongs; None where it belongs to none."""
    like = cultivar.blooms_like if cultivar.blooms_like in fit.cultivars else None
    own = None if cultivar.species is None else _folded(cultivar.species)
    group = [key for key in fit.cultivars if own is not None and named.get(key) == own]
    species = cultivar.species if group else None
    if not group:
        group = [key for key in fit.cultivars if own is None or key not in named]
    if not group and like is not None:
        group = list(fit.cultivars)
    if not group:
        return None
    days_later = 0.0 if cultivar.days_later is None else cultivar.days_later
    return Newcomer(cultivar.key, tuple(group), species, like, days_later if like is not None else 0.0)


def _joined(fit: Fit, newcomers: Sequence[Newcomer]) -> Gaussian:
    """Thresholds of known cultivars and newcomers."""
    stages, known, count = len(fit.stages), len(fit.cultivars), len(newcomers)
    size, added = known * stages, count * stages
    prior = _prior(fit, newcomers)
    left = prior.covariance.reshape(added, added)
    of_known = np.kron(prior.of_known, np.eye(stages))
    told, of_like, offset = _offsets(fit, newcomers)
    gain = left @ np.linalg.inv(np.eye(added) + told @ left) @ told
    left = left - gain @ left
    of_known = of_known + gain @ (of_like - of_known)
    covariance = fit.thresholds.covariance.reshape(size, size)
    mean = fit.thresholds.mean.reshape(size)
    across = of_known @ covariance
    joint = np.block([[covariance, across.T], [across, across @ of_known.T + 0.5 * (left + left.T)]])
    return Gaussian(
        np.append(mean, of_known @ mean + gain @ offset).reshape(known + count, stages),
        joint.reshape(known + count, stages, known + count, stages),
    )


def _prior(fit: Fit, newcomers: Sequence[Newcomer]) -> _Prior:
    """What their groups say."""
    stages, count = len(fit.stages), len(newcomers)
    scatter = fit.spread.between_cultivars
    widened = np.outer(fit.heat_a_day, fit.heat_a_day) * OTHER_SPECIES_DAYS**2
    of_known = np.zeros((count, len(fit.cultivars)))
    covariance = np.zeros((count, stages, count, stages))
    for place, one in enumerate(newcomers):
        of_known[place, [fit.cultivars.index(key) for key in one.group]] = 1 / len(one.group)
        covariance[place, :, place, :] = scatter + (widened if one.species is None else 0.0)
        for other, another in enumerate(newcomers):
            if one.group == another.group:
                covariance[place, :, other, :] += scatter / len(one.group)
    return _Prior(of_known, covariance)


def _offsets(fit: Fit, newcomers: Sequence[Newcomer]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What offsets say: precision, weights of the known thresholds, and the heat to add.

    Shapes (newcomer and stage, newcomer and stage), (newcomer and stage, cultivar and stage), (newcomer and stage,).
    Stages go together as they do between cultivars.
    """
    stages, count = len(fit.stages), len(newcomers)
    sd = np.sqrt(np.diag(fit.spread.between_cultivars))
    scale = OFFSET_DAYS * fit.heat_a_day / sd
    precision = np.linalg.inv(np.outer(scale, scale) * fit.spread.between_cultivars)
    told = np.zeros((count, stages, count, stages))
    of_like = np.zeros((count, stages, len(fit.cultivars), stages))
    offset = np.zeros((count, stages))
    for place, one in enumerate(newcomers):
        if one.like is not None:
            told[place, :, place, :] = precision
            of_like[place, :, fit.cultivars.index(one.like), :] = np.eye(stages)
            offset[place] = one.days_later * fit.heat_a_day
    size = count * stages
    return told.reshape(size, size), of_like.reshape(size, -1), offset.reshape(size)
