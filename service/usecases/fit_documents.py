"""Fits as documents: kept in the store, shared between growers, and back to the very same numbers."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any, Literal, Self

from pydantic import Field

from models.bloom.mixed_model import Gaussian, Spread
from models.bloom.rule_choice import WhyRule
from models.bloom.search import Candidate, Search
from models.bloom.season_effect import SeasonEvidence
from models.bloom.set_aside import SetAside
from models.bloom.thresholds import Fit
from models.records import GapRule, HeatRule
from service.usecases.documents import Coded, Document, Floats, Integers, Items, Label, Slug, Written

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
    def sites(self) -> tuple[str, ...]:
        """The vineyards whose observations it rests on, by key."""
        return self.fit.sites

    @cached_property
    def id(self) -> str:
        """Made of the content: the same fit has the same identifier."""
        plain = json.dumps(to_document(self), sort_keys=True, allow_nan=False)
        return hashlib.sha256(plain.encode()).hexdigest()[:ID_DIGITS]


class SearchDocument(Document):
    """How the heat rule was chosen."""

    why: Coded[WhyRule | str]
    candidates: Items[Written[Candidate]]


class FitDocument(Document):
    """A fit, complete: what `GET /v1/fits/{fit}/document` gives and `POST /v1/fits/import` takes."""

    version: Literal[1]
    imported: bool
    vineyards: Items[Label]
    exclude_seasons: Items[int]
    running_seasons: Items[int]
    heat: Written[HeatRule]
    gap_rule: GapRule
    stages: Items[Label]
    cultivars: Items[Slug]
    threshold_mean: Floats = Field(description="By cultivar and stage. [°C·day]")
    threshold_covariance: Floats = Field(description="By cultivar, stage, cultivar and stage. [(°C·day)²]")
    pooled_share: Floats = Field(description="By cultivar and stage.")
    seasons_seen: Integers = Field(description="By cultivar and stage.")
    spread: Written[Spread]
    season_evidence: Items[Written[SeasonEvidence]]
    calibration: Floats = Field(description="By stage.")
    heat_a_day: Floats = Field(description="By stage. [°C·day/day]")
    set_aside: Items[Written[SetAside]]
    search: SearchDocument | None
    sites: Items[Label] = Field(  # as with `converged`
        default=(),
        exclude_if=lambda told: not told,
        description="The vineyards that it learned from; left out where the seasons' own labels name them.",
    )
    species: Items[Label | None] = Field(  # as with `converged`
        default=(),
        exclude_if=lambda told: not told,
        description="Of each cultivar; left out where none is recorded.",
    )
    converged: bool = (
        Field(  # left out where it says nothing: identifiers are made of the document, and older ones lack it
            default=True,
            exclude_if=bool,
            description="Whether the spreads had settled; left out where they had.",
        )
    )

    @classmethod
    def of(cls, saved: SavedFit) -> Self:
        """All of a fit."""
        fit, search = saved.fit, saved.search
        # left out where it says nothing: the identifier is made of the document, and older ones lack it
        silent = {"converged"} if fit.converged else set()
        silent |= {"sites"} if set(fit.sites) == {said.site for said in fit.season_evidence} else set()
        alike = [name for name in ALIKE_IN_FIT if name not in silent]
        return cls(
            version=1,
            heat=fit.rule,
            threshold_mean=fit.thresholds.mean,
            threshold_covariance=fit.thresholds.covariance,
            search=None if search is None else SearchDocument(why=search.why, candidates=search.candidates),
            **{name: getattr(fit, name) for name in alike},
            **{name: getattr(saved, name) for name in ALIKE_IN_SAVED},
        )

    def saved(self) -> SavedFit:
        """The fit again."""
        search = self.search
        fit = Fit(
            rule=self.heat,
            thresholds=Gaussian(self.threshold_mean, self.threshold_covariance),
            **{name: getattr(self, name) for name in ALIKE_IN_FIT if name != "sites"},
            sites=self.sites or tuple(sorted({said.site for said in self.season_evidence})),
        )
        return SavedFit(
            fit=fit,
            search=None if search is None else Search(self.heat, search.why, search.candidates),
            **{name: getattr(self, name) for name in ALIKE_IN_SAVED},
        )


ALIKE_IN_FIT = tuple(field.name for field in fields(Fit) if field.name in FitDocument.model_fields)
ALIKE_IN_SAVED = ("imported", "vineyards", "exclude_seasons", "running_seasons")


def to_document(saved: SavedFit) -> dict[str, Any]:
    """Plain JSON; every number comes back as the same float64."""
    return FitDocument.of(saved).model_dump(mode="json")


def from_document(document: dict[str, Any]) -> SavedFit:
    """A fit from a document that `to_document` made."""
    return FitDocument.model_validate(document).saved()
