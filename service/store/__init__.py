"""Where the growers' data are kept. All SQL of Capfall lives in this package.

One request is one transaction: ``with store.transaction(grower) as repositories: ...``.
"""

from __future__ import annotations

from service.store.engine import Store
from service.store.errors import AlreadyThere, InUse, NotFound, StoreError, UnknownReference
from service.store.records import (
    BloomLogVersion,
    Counts,
    FitSummary,
    Job,
    JobState,
    Station,
    TemperatureVersion,
    Vineyard,
    VisitVersion,
)
from service.store.repositories import Repositories

__all__ = [
    "AlreadyThere",
    "BloomLogVersion",
    "Counts",
    "FitSummary",
    "InUse",
    "Job",
    "JobState",
    "NotFound",
    "Repositories",
    "Station",
    "Store",
    "StoreError",
    "TemperatureVersion",
    "UnknownReference",
    "Vineyard",
    "VisitVersion",
]
