"""Fits as documents: kept in the store, shared between growers, and back to the very same numbers."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from models.bloom.mixed_model import Gaussian, Spread
from models.bloom.search import Candidate, Search
from models.bloom.season_effect import SeasonEvidence
from models.bloom.set_aside import SetAside
from models.bloom.thresholds import Fit
from models.records import HeatRule
from service.usecases.shared_fits import ANOTHER_GROWERS, SLIPS, FitDocument, check_document

DOCUMENT_VERSION = 1
ID_DIGITS = 12


@dataclass(frozen=True, eq=False)
class SavedFit:
    """A fit, and what it was made from.

    Attributes
    ----------
    fit : Fit
    vineyards : tuple of str
        Those whose observations it may have used.
    exclude_seasons, running_seasons : tuple of int
        Seasons left out because that was asked for, and because they are not over.
    search : Search or None
        How the heat rule was chosen; None where it was given.
    imported : bool
        Whether it came from another grower.
    """

    fit: Fit
    vineyards: tuple[str, ...]
    exclude_seasons: tuple[int, ...] = ()
    running_seasons: tuple[int, ...] = ()
    search: Search | None = None
    imported: bool = False

    @cached_property
    def id(self) -> str:
        """Made of the content: the same fit has the same identifier."""
        plain = json.dumps(to_document(self), sort_keys=True, allow_nan=False)
        return hashlib.sha256(plain.encode()).hexdigest()[:ID_DIGITS]


def to_document(saved: SavedFit) -> dict[str, Any]:
    """Plain JSON; every number comes back as the same float64."""
    fit, search = saved.fit, saved.search
    return {
        "version": DOCUMENT_VERSION,
        "imported": saved.imported,
        "vineyards": list(saved.vineyards),
        "exclude_seasons": list(saved.exclude_seasons),
        "running_seasons": list(saved.running_seasons),
        "heat": asdict(fit.rule),
        "gap_rule": fit.gap_rule,
        "stages": list(fit.stages),
        "cultivars": list(fit.cultivars),
        "threshold_mean": fit.thresholds.mean.tolist(),
        "threshold_covariance": fit.thresholds.covariance.tolist(),
        "pooled_share": fit.pooled_share.tolist(),
        "seasons_seen": fit.seasons_seen.tolist(),
        "spread": {
            "between_cultivars": fit.spread.between_cultivars.tolist(),
            "between_seasons": fit.spread.between_seasons.tolist(),
            "within": fit.spread.within.tolist(),
            "drift_share": fit.spread.drift_share,
        },
        "season_evidence": [
            {
                "site": said.site,
                "season": said.season,
                "precision": said.precision.tolist(),
                "pull": said.pull.tolist(),
                "weight": said.weight,
            }
            for said in fit.season_evidence
        ],
        "calibration": fit.calibration.tolist(),
        "heat_a_day": fit.heat_a_day.tolist(),
        "set_aside": SLIPS.dump_python(fit.set_aside, mode="json"),
        "search": None
        if search is None
        else {
            "why": search.why,
            "candidates": [
                {**asdict(candidate), "rule": asdict(candidate.rule)} for candidate in search.candidates
            ],
        },
    }


def from_document(document: dict[str, Any]) -> SavedFit:
    """A fit from a document that `to_document` made."""
    return _rebuilt(FitDocument.model_validate(document))


def from_another_grower(told: FitDocument) -> SavedFit:
    """A fit that another grower shared, checked before anything is computed with it.

    Its seasons belong to sites of that grower, whatever vineyards of one's own are called.

    Raises
    ------
    BadInput
        If the document is no fit that a forecast could be made with.
    """
    check_document(told)
    saved = _rebuilt(told)
    evidence = tuple(
        replace(said, site=ANOTHER_GROWERS + said.site.removeprefix(ANOTHER_GROWERS))
        for said in saved.fit.season_evidence
    )
    return replace(saved, fit=replace(saved.fit, season_evidence=evidence), imported=True)


def _rebuilt(told: FitDocument) -> SavedFit:
    def array(values: object) -> np.ndarray[Any, np.dtype[np.float64]]:
        return np.array(values, dtype=np.float64)

    rule = HeatRule(**told.heat.model_dump())
    search = None
    if told.search is not None:
        candidates = tuple(
            Candidate(**{**candidate.model_dump(), "rule": HeatRule(**candidate.rule.model_dump())})
            for candidate in told.search.candidates
        )
        search = Search(rule, told.search.why, candidates)
    fit = Fit(
        rule=rule,
        gap_rule=told.gap_rule,
        stages=tuple(told.stages),
        cultivars=tuple(told.cultivars),
        thresholds=Gaussian(array(told.threshold_mean), array(told.threshold_covariance)),
        pooled_share=array(told.pooled_share),
        seasons_seen=np.array(told.seasons_seen, dtype=np.int64),
        spread=Spread(
            between_cultivars=array(told.spread.between_cultivars),
            between_seasons=array(told.spread.between_seasons),
            within=array(told.spread.within),
            drift_share=told.spread.drift_share,
        ),
        season_evidence=tuple(
            SeasonEvidence(said.site, said.season, array(said.precision), array(said.pull), said.weight)
            for said in told.season_evidence
        ),
        calibration=array(told.calibration),
        set_aside=tuple(SetAside(slip.season, slip.block, slip.stage, slip.why) for slip in told.set_aside),
        heat_a_day=array(told.heat_a_day),
    )
    return SavedFit(
        fit,
        vineyards=tuple(told.vineyards),
        exclude_seasons=tuple(told.exclude_seasons),
        running_seasons=tuple(told.running_seasons),
        search=search,
        imported=told.imported,
    )
