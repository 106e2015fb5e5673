"""The rows of a weather table, column by column, and why a value of one is missing."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from models.records import DateArray
from models.units import FloatArray
from service.ingest.plausibility import COLDEST_C, HOTTEST_C

FEWEST_HOURS = 20  # of a day, with readings; ours

KNOWN, BLANK, CODE, IMPOSSIBLE, SWAPPED, TOO_FEW_HOURS = range(6)
WHY_MISSING = {
    BLANK: "no value",
    CODE: "a code for missing",
    IMPOSSIBLE: f"a value outside {COLDEST_C:g} to {HOTTEST_C:g} °C",
    SWAPPED: "Tmin above Tmax",
    TOO_FEW_HOURS: f"readings in fewer than {FEWEST_HOURS} hours",
}

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


class DayRows(NamedTuple):
    """Rows of a table, each with its line and day; ``missing`` is KNOWN, or says why one of the values is not there.

    All have shape (row,). [unit of the file]
    """

    line: IntArray
    date: DateArray
    tmin: FloatArray
    tmax: FloatArray
    missing: IntArray

    def chosen(self, rows: BoolArray | IntArray) -> DayRows:
        """Those that a mask or their places choose."""
        columns: tuple[NDArray[Any], ...] = self
        return DayRows(*(column[rows] for column in columns))

    def by_date(self, others: DayRows) -> DayRows:
        """These and others, sorted by their days."""
        pairs: Iterable[tuple[Any, Any]] = zip(self, others, strict=True)
        days = DayRows(*map(np.concatenate, pairs))
        return days.chosen(np.argsort(days.date))
