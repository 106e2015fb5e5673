"""In which units a client is answered."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import Query

from models.errors import BadInput, Problem
from models.records import LARGEST_BASE_C, LEAST_BASE_C
from models.units import fahrenheit_from_celsius

Units = Literal["metric", "us"]

UnitsQuery = Annotated[
    Units, Query(alias="units", description="`us` speaks °F, °F·day and ft, in the query as in the answer.")
]

# Where the upper temperatures of plants lie, with a margin: one that was told in the other unit lies outside. Ours.
UPPERS_C = (0.0, 60.0)


def check_heat_limits(base_c: float | None, upper_c: float | None, *, base_at: str, upper_at: str) -> None:
    """See to it that base and upper temperature can be right, in the unit that they are in. [°C]

    ``base_at`` and ``upper_at`` name the fields that they come from.

    Raises
    ------
    BadInput
        If one lies where nobody sets it.
    """
    limits = (
        ("base", base_at, base_c, (LEAST_BASE_C, LARGEST_BASE_C)),
        ("upper", upper_at, upper_c, UPPERS_C),
    )
    for name, where, value, (low, high) in limits:
        if value is not None and not low <= value <= high:
            in_f = f"{fahrenheit_from_celsius(low):g} to {fahrenheit_from_celsius(high):g} °F"
            problem = (
                f"{value:.4g} °C is outside {low:g} to {high:g} °C ({in_f}); say in which unit it is: "
                f"units=us in a query, {name}_c or {name}_f in a body"
            )
            raise BadInput(f"the {name} temperature cannot be right", [Problem(where, problem)])
