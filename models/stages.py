"""The growth stages that can be fitted and forecast, in the order in which a season passes through them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from models.errors import BadInput, Problem


@dataclass(frozen=True)
class Stage:
    """One stage: our key, its BBCH code and, in bloom, the share of caps off that defines it. [%]"""

    key: str
    meaning: str
    bbch: int
    percent_open: float | None = None


# BBCH codes: Lorenz et al. (1995), Aust. J. Grape Wine Res. 1:100-103. BBCH 69 ("end of flowering") states no
# percentage; 95 % is our reading.
STAGES: tuple[Stage, ...] = (
    Stage("budbreak", "green shoot tips visible", 8),
    Stage("bloom_start", "10 % of caps off", 61, 10.0),
    Stage("full_bloom", "50 % of caps off", 65, 50.0),
    Stage("bloom_end", "95 % of caps off", 69, 95.0),
    Stage("fruit_set", "young berries begin to swell", 71),
    Stage("veraison", "berries begin to soften or colour", 81),
    Stage("harvest", "ripe for harvest", 89),
)
STAGE_KEYS: tuple[str, ...] = tuple(stage.key for stage in STAGES)
BLOOM_STAGES: tuple[str, ...] = ("bloom_start", "full_bloom", "bloom_end")


def in_season_order(keys: Iterable[str]) -> tuple[str, ...]:
    """Sort stage keys into season order, without repeats.

    Raises
    ------
    BadInput
        If a key is not one of ``STAGE_KEYS``.
    """
    wanted = set(keys)
    unknown = sorted(wanted - set(STAGE_KEYS))
    if unknown:
        known = ", ".join(STAGE_KEYS)
        raise BadInput(
            f"unknown stage {', '.join(unknown)}",
            [Problem("stages", f"{key!r} is not a stage; the stages are {known}") for key in unknown],
        )
    return tuple(key for key in STAGE_KEYS if key in wanted)
