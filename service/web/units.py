"""In which units a client is answered."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import Query

from models.errors import BadInput, Problem

Units = Literal["metric", "us"]

UnitsQuery = Annotated[
    Units, Query(alias="units", description="`us` speaks °F, °F·day and ft, in the query as in the answer.")
]

# Where the base and upper temperatures of plants lie, with a margin; 50 °F taken for °C, or 10 °C for °F, lie outside.
# Ours.
BASES_C = (-11.0, 40.0)
UPPERS_C = (0.0, 60.0)


def check_heat_limits(base_c: float | None, upper_c: float | None) -> None:
    """See to it that base and upper temperature were told in the unit that they are in. [°C]

    Raises
    ------
    BadInput
        If one lies where nobody sets it.
    """
    for name, value, (low, high) in (("base", base_c, BASES_C), ("upper", upper_c, UPPERS_C)):
        if value is not None and not low <= value <= high:
            problem = (
                f"{value:.4g} °C is outside {low:g} to {high:g} °C; say in which unit it is: "
                f"units=us in a query, {name}_c or {name}_f in a body"
            )
            raise BadInput(f"the {name} temperature cannot be right", [Problem(name, problem)])
