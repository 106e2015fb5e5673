"""What the computation takes in: temperatures, observations, and the planting. All frozen, all checked once."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from models.errors import BadInput, Problem
from models.stages import STAGE_KEYS
from models.units import FloatArray, fahrenheit_from_celsius

DateArray = NDArray[np.datetime64]

HeatMethod = Literal[
    "average", "clamped_average", "single_triangle", "double_triangle", "single_sine", "double_sine"
]
Cutoff = Literal["none", "horizontal", "intermediate", "vertical"]
GapRule = Literal["refuse", "fill_short", "fill_normal"]


@dataclass(frozen=True, eq=False)
class DailyTemperatures:
    """Daily extremes of one station on consecutive days; NaN where missing.

    Attributes
    ----------
    dates : ndarray of datetime64[D], shape (day,)
        Every day from first to last, no gap and no repeat.
    tmin_c, tmax_c : ndarray, shape (day,)
        NaN together where a day is missing. [°C]

    Raises
    ------
    BadInput
        If the dates are not consecutive, the shapes differ, or a maximum lies below its minimum.
    """

    dates: DateArray
    tmin_c: FloatArray
    tmax_c: FloatArray

    def __post_init__(self) -> None:
        if not self.dates.shape == self.tmin_c.shape == self.tmax_c.shape or self.dates.ndim != 1:
            raise BadInput("dates, minima and maxima differ in length")
        if np.any(np.diff(self.dates) != np.timedelta64(1, "D")):
            raise BadInput("the days of a temperature record must follow each other without gap or repeat")
        if np.any(np.isnan(self.tmin_c) != np.isnan(self.tmax_c)):
            raise BadInput("a day's minimum and maximum must be missing together")
        swapped = np.flatnonzero(self.tmax_c < self.tmin_c)
        if swapped.size:
            raise BadInput(
                "a daily maximum lies below its minimum",
                [Problem(str(self.dates[day]), "maximum below minimum") for day in swapped],
            )

    def before(self, day: dt.date) -> DailyTemperatures:
        """The record of the days before ``day``."""
        kept = self.dates < np.datetime64(day, "D")
        return DailyTemperatures(self.dates[kept], self.tmin_c[kept], self.tmax_c[kept])


@dataclass(frozen=True)
class HeatRule:
    """How daily extremes become accumulated heat.

    Attributes
    ----------
    base_c, upper_c : float
        Base and upper temperature; no upper temperature needs ``cutoff="none"``. [°C]
    accumulate_from : str, "MM-DD", or None
        First day of the sum; None is the trade default of the hemisphere (1 January; 1 July of the year before
        south of the equator). A day from July on lies in the year before the season's.

    Raises
    ------
    BadInput
        If the upper temperature is not above the base, or cutoff and upper temperature do not go together.
    """

    method: HeatMethod = "average"
    base_c: float = 10.0
    upper_c: float | None = None
    cutoff: Cutoff = "none"
    accumulate_from: str | None = None

    def __post_init__(self) -> None:
        if self.upper_c is not None and self.upper_c <= self.base_c:
            raise BadInput(
                "the upper temperature must lie above the base",
                [Problem("upper_c", f"{self.upper_c:g} °C is not above the base of {self.base_c:g} °C")],
            )
        clamps = self.method == "clamped_average"
        if self.upper_c is None and self.cutoff != "none":
            raise BadInput(
                "a cutoff needs an upper temperature",
                [Problem("cutoff", f"{self.cutoff!r} needs upper_c; leave it out or use 'none'")],
            )
        if self.upper_c is not None and self.cutoff == "none" and not clamps:
            raise BadInput(
                "an upper temperature needs a cutoff",
                [Problem("cutoff", "say 'horizontal', 'intermediate' or 'vertical'")],
            )
        if clamps and self.cutoff != "none":
            raise BadInput(
                "the clamped average has its own cutoff",
                [Problem("cutoff", "leave it out: both extremes are clamped to base and upper")],
            )
        if self.accumulate_from is not None:
            try:  # 2001 is no leap year: a sum that starts on 29 February has no start in most seasons
                dt.datetime.strptime(f"2001-{self.accumulate_from}", "%Y-%m-%d")  # noqa: DTZ007
            except ValueError:
                raise BadInput(
                    "the start day cannot be read",
                    [
                        Problem(
                            "accumulate_from",
                            f"{self.accumulate_from!r} is not a day; write MM-DD as in 03-15",
                        )
                    ],
                ) from None


# Outside, a sum counts the summer alone or the winter too. Common practice lies from 4 to 10 °C; the bounds are ours.
LEAST_BASE_C = 0.0
LARGEST_BASE_C = 20.0


def check_base(base_c: float, where: str) -> None:
    """Refuse a base temperature that no crop's heat is counted from; ``where`` names it. [°C]

    Raises
    ------
    BadInput
        If it lies outside 0 to 20 °C.
    """
    if not LEAST_BASE_C <= base_c <= LARGEST_BASE_C:
        problem = (
            f"{base_c:g} °C ({fahrenheit_from_celsius(base_c):g} °F) is outside 0 to 20 °C (32 to 68 °F)"
        )
        raise BadInput("the base temperature is out of bounds", [Problem(where, problem)])


class FlowerType(StrEnum):
    """What a cultivar's flowers can do."""

    PISTILLATE = "pistillate"
    PERFECT = "perfect"
    STAMINATE = "staminate"


@dataclass(frozen=True)
class PollenNote:
    """What somebody noted of a source cultivar's pollen on another one, and where that is from."""

    source: str
    text: str
    reference: str


@dataclass(frozen=True)
class Cultivar:
    """A cultivar. ``viable_pollen`` is a field of its own: pollen of a perfect cultivar can fail.

    ``receptive_days`` and ``pollen_days``, where known, say for how many days from capfall its flowers are
    receptive and its anthers shed. ``blooms_like`` and ``days_later`` say that it blooms so many days later than
    another cultivar (earlier where negative): they count until a season of its own is in the fit. ``pollen_quality``
    (1 is the best) and ``flowers_a_vine`` weigh it as a source beside others. ``pollen_notes`` are of sources for it.
    [g, day]
    """

    key: str
    name: str
    flower_type: FlowerType
    viable_pollen: bool
    species: str | None = None
    berry_mass_g: float | None = None
    receptive_days: int | None = None
    pollen_days: int | None = None
    blooms_like: str | None = None
    days_later: float | None = None
    pollen_quality: float | None = None
    flowers_a_vine: float | None = None
    pollen_notes: tuple[PollenNote, ...] = ()


# More vines than any row holds: a bound on what one line costs to compute. Ours.
MOST_VINES_IN_A_LINE = 10_000


@dataclass(frozen=True)
class Block:
    """Vines of one cultivar in one place, or in a line. Neighbours, where given, replace distance. [m]

    ``colder_than_station_c``: by how much its cordons are colder than the station on a night of frost. [°C]

    ``x_m`` and ``y_m`` are the place of all vines; or, with ``x2_m`` and ``y2_m``, those of the first and the last vine
    of a line, along which they stand evenly.

    Raises
    ------
    BadInput
        If a line has one coordinate of its end only, no length, fewer than 2 vines or more than 10,000.
    """

    key: str
    cultivar: str
    x_m: float
    y_m: float
    vines: int = 1
    neighbours: tuple[str, ...] | None = None
    x2_m: float | None = None
    y2_m: float | None = None
    colder_than_station_c: float | None = None

    def __post_init__(self) -> None:
        if (self.x2_m is None) != (self.y2_m is None):
            lacking = "x2_m" if self.x2_m is None else "y2_m"
            raise BadInput(
                f"the end of a line lacks {lacking}", [Problem(lacking, "give it beside the other")]
            )
        if self.is_line and (self.x2_m, self.y2_m) == (self.x_m, self.y_m):
            raise BadInput(
                "a line ends where it begins",
                [Problem("x2_m", "leave x2_m and y2_m out for vines in one place")],
            )
        if self.is_line and not 2 <= self.vines <= MOST_VINES_IN_A_LINE:
            problem = f"from end to end stand 2 to {MOST_VINES_IN_A_LINE}, not {self.vines}"
            raise BadInput(f"vines of a line: {problem}", [Problem("vines", problem)])

    @property
    def is_line(self) -> bool:
        """Whether its vines stand in a line, not in one place."""
        return self.x2_m is not None


# 50 ft; common practice, no source: distance is an assumption. [m]
REACH_M = 15.24


@dataclass(frozen=True)
class Planting:
    """A vineyard's blocks, the cultivars they hold, and how far pollen is carried. [m]"""

    blocks: tuple[Block, ...]
    cultivars: dict[str, Cultivar]
    reach_m: float = REACH_M


@dataclass(frozen=True)
class BloomLogRow:
    """One season's dates of one block; of a whole cultivar where ``block`` is None.

    ``checked_every_days`` says how long before each date the block had been looked at last, so the stage came
    within that many days. [day]
    """

    season: int
    cultivar: str
    block: str | None
    dates: dict[str, dt.date]
    checked_every_days: int = 1


@dataclass(frozen=True)
class Visit:
    """One look at one block (at a whole cultivar where ``block`` is None): caps off [%], or a BBCH code."""

    date: dt.date
    cultivar: str
    block: str | None
    percent_open: float | None = None
    bbch: int | None = None
    observer: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class FrostedBlock:
    """A block whose shoots froze in a season; in which night, and which share of them, where that is known.

    A mark without ``share_killed`` counts as one of all shoots.

    Raises
    ------
    BadInput
        If the share is not above 0 and at most 1.
    """

    block: str
    season: int
    night: dt.date | None = None
    share_killed: float | None = None

    def __post_init__(self) -> None:
        if self.share_killed is not None and not 0 < self.share_killed <= 1:
            problem = f"{self.share_killed:g} is not above 0 and at most 1"
            raise BadInput("a share of shoots cannot be", [Problem("share_killed", problem)])


@dataclass(frozen=True)
class SetCount:
    """Flowers or berries (or both) counted on one marked cluster of a block; None where not counted that day."""

    date: dt.date
    block: str
    cluster: str
    flowers: int | None = None
    berries: int | None = None


@dataclass(frozen=True)
class CropCount:
    """Clusters counted on one cane (a shoot of this year) of a block."""

    date: dt.date
    block: str
    cane: str
    clusters: int


class Unit(NamedTuple):
    """What was looked at: a block, or a whole cultivar. A block may bear the name of a cultivar."""

    kind: Literal["block", "cultivar"]
    name: str

    @classmethod
    def of(cls, cultivar: str, block: str | None) -> Self:
        """The block, or the cultivar where ``block`` is None."""
        return cls("cultivar", cultivar) if block is None else cls("block", block)


@dataclass(frozen=True)
class StageInterval:
    """What is known of the day on which a block reached a stage: after ``after``, and by ``by``.

    ``after`` None: it had come at the first look. ``by`` None: it had not come yet at the last one.
    """

    season: int
    cultivar: str
    block: str | None
    stage: str
    after: dt.date | None
    by: dt.date | None

    def __post_init__(self) -> None:
        if self.stage not in STAGE_KEYS:
            raise BadInput("unknown stage", [Problem("stage", f"{self.stage!r} is not a stage")])
        if self.after is None and self.by is None:
            raise BadInput("an observation needs a date")
        if self.after is not None and self.by is not None and self.after >= self.by:
            raise BadInput(
                "an observation's days are out of order",
                [Problem(self.stage, f"not yet on {self.after}, but already by {self.by}")],
            )

    @property
    def unit(self) -> Unit:
        """What was looked at."""
        return Unit.of(self.cultivar, self.block)
