"""The fewest vines to change so that every pistillate vine has in reach what it needs: a mixed integer programme."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from models.records import Block
from models.units import FloatArray
from models.vineyard.pollen_needs import Demand
from models.vineyard.reach import vine_places, vines_a_place
from models.vineyard.synchrony import BoolArray

if TYPE_CHECKING:
    from scipy.optimize import LinearConstraint

# What HiGHS answers, in the numbers of scipy.optimize.milp.
SOLVED, OUT_OF_TIME, IMPOSSIBLE = 0, 1, 2

Found = Literal["fewest", "not_proven", "impossible", "unknown"]


@dataclass(frozen=True)
class VinePlace:
    """Vines of one cultivar in one place; an empty place has none (None), and room for so many. [m]"""

    block: str
    x_m: float
    y_m: float
    vines: int
    cultivar: str | None
    first_vine: int = 1


@dataclass(frozen=True)
class VineChange:
    """So many vines of a place to change from one cultivar to another; ``old`` is None where none stands. [m]"""

    block: str
    vine: int
    x_m: float
    y_m: float
    old: str | None
    new: str
    vines: int


@dataclass(frozen=True)
class Changes:
    """The vines to change.

    Attributes
    ----------
    found : "fewest", "not_proven", "impossible" or "unknown"
        Whether no fewer would do; whether that is not proven, as time ran out; whether nothing would do; or
        whether time ran out with nothing found.
    vines : int or None
        How many change.
    at_least : int
        No planting does with fewer; the gap is the difference.
    changes : tuple of VineChange
    """

    found: Found
    vines: int | None
    at_least: int
    changes: tuple[VineChange, ...]


def places_of(block: Block) -> tuple[VinePlace, ...]:
    """Where the vines of a block stand: all at its point, or each in its place of a line."""
    return tuple(
        VinePlace(block.key, float(x_m), float(y_m), vines_a_place(block), block.cultivar, first_vine=vine)
        for vine, (x_m, y_m) in enumerate(vine_places(block), start=1)
    )


def fewest_changes(
    places: Sequence[VinePlace],
    reached: BoolArray,
    needs: Mapping[str, Sequence[Demand]],
    plant: Sequence[str],
    *,
    each_met_by: int = 1,
    may_change: Sequence[bool] | None = None,
    time_limit_s: float = 10.0,
) -> Changes:
    """Change as few vines as can be, so that no pistillate vine lacks what it needs.

    Parameters
    ----------
    places : sequence of VinePlace
    reached : ndarray of bool, shape (place, place)
        Which places reach which; vines of one place reach each other.
    needs : mapping of str to sequence of Demand
        Of each pistillate cultivar: of every demand at least ``each_met_by`` vines must stand in reach. A cultivar
        that is no key needs nothing. An empty demand cannot be met.
    plant : sequence of str
        Cultivars that a changed vine may be.
    each_met_by : int
    may_change : sequence of bool, optional
        By place; by default all may.
    time_limit_s : float
        After which the best that was found is told, with what is proven. [s]
    """
    from scipy.optimize import Bounds, milp  # the solver is loaded where vines are to be changed

    programme = _Programme(places, reached, needs, plant, each_met_by, may_change)
    if not programme.cost.size:
        return Changes("fewest", 0, 0, ()) if programme.holds() else Changes("impossible", None, 0, ())
    solved = milp(
        programme.cost,
        integrality=np.ones(programme.cost.size, dtype=np.int64),
        bounds=Bounds(0, programme.most),
        constraints=programme.constraints(),
        options={"mip_rel_gap": 0.0, "time_limit": max(time_limit_s, 0.05)},
    )
    bound = getattr(solved, "mip_dual_bound", None)
    least = 0 if bound is None or not math.isfinite(bound) else max(math.ceil(bound - 1e-6), 0)
    if solved.status == IMPOSSIBLE:
        return Changes("impossible", None, 0, ())
    if solved.x is None:
        return Changes("unknown", None, least, ())
    changes = tuple(programme.changes(np.asarray(solved.x)))
    vines = sum(each.vines for each in changes)
    proven = solved.status == SOLVED or least >= vines
    return Changes("fewest" if proven else "not_proven", vines, vines if proven else least, changes)


class _Programme:
    """Variables: how many vines of each place are changed to each other cultivar. What stays is the rest.

    Without a variable for what stays, rows of single vines are a pure set cover, which the solver is best at. Where a
    place holds several vines, one more variable says whether any is left of a cultivar that needs pollen.
    """

    def __init__(
        self,
        places: Sequence[VinePlace],
        reached: BoolArray,
        needs: Mapping[str, Sequence[Demand]],
        plant: Sequence[str],
        each_met_by: int,
        may_change: Sequence[bool] | None,
    ) -> None:
        self._places = places
        self._reached = reached
        self._needs = needs
        self._each_met_by = each_met_by
        free = [True] * len(places) if may_change is None else list(may_change)
        self._to: list[dict[str, int]] = []
        most: list[int] = []
        for place, changes in zip(places, free, strict=True):
            others = [option for option in dict.fromkeys(plant) if changes and option != place.cultivar]
            self._to.append({option: len(most) + number for number, option in enumerate(others)})
            most += [place.vines] * len(others)
        needy = [
            (number, option)
            for number, place in enumerate(places)
            for option in dict.fromkeys([place.cultivar, *self._to[number]])
            if option is not None and option in needs
        ]
        several = [pair for pair in needy if places[pair[0]].vines > 1]
        self._needy = needy
        self._any = {pair: len(most) + extra for extra, pair in enumerate(several)}
        self.cost = np.array([*[1.0] * len(most), *[0.0] * len(several)])
        self.most = np.array([*most, *[1] * len(several)], dtype=np.float64)

    def constraints(self) -> list[LinearConstraint]:
        """No place holds more vines than it has room for; and what is needed is there."""
        from scipy.optimize import LinearConstraint
        from scipy.sparse import csr_array

        rows = [*self._room(), *self._demands()]
        if not rows:
            return []
        values = [
            (row, column, value) for row, (terms, _, _) in enumerate(rows) for column, value in terms.items()
        ]
        row, column, value = zip(*values, strict=True) if values else ((), (), ())
        matrix = csr_array((value, (row, column)), shape=(len(rows), self.cost.size))
        return [LinearConstraint(matrix, [low for _, low, _ in rows], [high for _, _, high in rows])]

    def holds(self) -> bool:
        """Whether all is there as it stands."""
        return all(low <= 0 <= high for _, low, high in (*self._room(), *self._demands()))

    def _count(self, number: int, option: str) -> _Sum:
        """How many vines of an option a place holds, in the variables."""
        place, others = self._places[number], self._to[number]
        if option == place.cultivar:
            return _Sum(place.vines, dict.fromkeys(others.values(), -1.0))
        return _Sum(0, {others[option]: 1.0} if option in others else {})

    def _room(self) -> Iterator[Row]:
        for place, others in zip(self._places, self._to, strict=True):
            if others:
                yield dict.fromkeys(others.values(), 1.0), 0, place.vines

    def _demands(self) -> Iterator[Row]:
        for number, option in self._needy:
            there = self._count(number, option)
            if (number, option) in self._any:
                any_vine = self._any[number, option]
                terms = {**there.terms, any_vine: -float(self._places[number].vines)}
                yield terms, -np.inf, -there.constant
                there = _Sum(0, {any_vine: 1.0})
            near = np.flatnonzero(self._reached[number]).tolist()
            for demand in self._needs[option]:
                met = [self._count(other, source) for other in near for source in sorted(demand)]
                total = _Sum.of([*met, there.times(-self._each_met_by)])
                yield total.terms, -total.constant, np.inf

    def changes(self, solution: FloatArray) -> Iterator[VineChange]:
        """The vines that are not what they were, by place."""
        for place, others in zip(self._places, self._to, strict=True):
            vine = place.first_vine
            for option, variable in sorted(others.items()):
                count = round(solution[variable])
                if count:
                    yield VineChange(place.block, vine, place.x_m, place.y_m, place.cultivar, option, count)
                    vine += count


Row = tuple[dict[int, float], float, float]


@dataclass(frozen=True)
class _Sum:
    """A constant and multiples of variables."""

    constant: float
    terms: dict[int, float]

    def times(self, factor: float) -> _Sum:
        return _Sum(factor * self.constant, {column: factor * value for column, value in self.terms.items()})

    @classmethod
    def of(cls, parts: Sequence[_Sum]) -> _Sum:
        terms: dict[int, float] = {}
        for part in parts:
            for column, value in part.terms.items():
                terms[column] = terms.get(column, 0.0) + value
        return cls(sum(part.constant for part in parts), terms)
