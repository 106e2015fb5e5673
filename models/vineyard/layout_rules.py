"""A planting held against the layouts that extension offices recommend. They disagree, so each is named.

All rules were read in their sources. What counts as keeping them is our reading, said at each.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from models.records import Planting
from models.vineyard.reach import cultivar_of, sheds_viable_pollen, vine_places, vines_a_place
from models.vineyard.vine_counts import WhoServesWhom, heaviest_load

Verdict = Literal["met", "not_met", "does_not_apply"]
RowsAlong = Literal["x", "y"]
WhyNot = Literal["no_pistillate_vine", "needs_rows", "needs_a_single_row", "rows_not_known"]

# Where each rule stands, and what it says in words, is in `service/words/layout.py`.
RuleCode = Literal[
    "every_fourth_row",
    "third_vine_of_third_row",
    "share_of_vineyard",
    "several_pollinizers",
    "one_serves_eight",
    "every_third_vine",
    "every_fourth_vine",
]
ONE_SERVES = 8
LEAST_SHARE, MOST_SHARE = 1 / 8, 1 / 4
SAME_ROW_M = 0.1  # places are compared to so much: rounding of a survey, not a distance between rows


@dataclass(frozen=True)
class NotApplicable:
    """Why a rule does not apply."""

    why: WhyNot


@dataclass(frozen=True)
class SourceRows:
    """The longest run of rows that are no source rows, and whether an outside row is one."""

    longest_run: int
    outside: bool


@dataclass(frozen=True)
class SourceVinesInRows:
    """The longest run of rows without a source vine, and of vines without one in the other rows."""

    longest_run_of_rows: int
    longest_run_of_vines: int


@dataclass(frozen=True)
class SourceShare:
    """Share of the vines with viable pollen, and whether it is more than the rule asks for."""

    share: float
    more_than_asked: bool


@dataclass(frozen=True)
class SourceCultivars:
    """How many cultivars have viable pollen."""

    count: int


@dataclass(frozen=True)
class BusiestSource:
    """Pistillate vines that the busiest source vine has to serve, and those without a source in reach."""

    load: int | None
    left_out: int


@dataclass(frozen=True)
class SourceVinesInRow:
    """The longest run of vines without viable pollen in a single row."""

    longest_run: int


Measured = (
    NotApplicable
    | SourceRows
    | SourceVinesInRows
    | SourceShare
    | SourceCultivars
    | BusiestSource
    | SourceVinesInRow
)


@dataclass(frozen=True)
class LayoutFinding:
    """One rule, whether the planting keeps it, the number that decides, and all that was measured for that."""

    rule: RuleCode
    verdict: Verdict
    measured: float | None
    found: Measured


def layout_findings(
    planting: Planting, found: WhoServesWhom, *, rows_along: RowsAlong | None = None
) -> tuple[LayoutFinding, ...]:
    """Hold a planting against each published rule.

    Parameters
    ----------
    planting : Planting
    found : WhoServesWhom
        Of the same planting.
    rows_along : "x", "y" or None
        The axis along which rows of vines run: blocks at one place across it are one row, in this order. None
        where blocks are no rows of vines; the rules on rows then do not apply.
    """
    rows = [] if rows_along is None else _vine_rows(planting, rows_along)
    findings = (
        every_fourth_row(rows),
        every_third_vine_in_every_third_row(rows),
        share_of_vineyard(planting, found),
        several_pollinizers(found),
        one_serves_eight(found),
        every_nth_vine(rows, nth=3),
        every_nth_vine(rows, nth=4),
    )
    if found.pistillate:
        return findings
    return tuple(_does_not_apply(each.rule, "no_pistillate_vine") for each in findings)


def every_fourth_row(rows: Sequence[Sequence[bool]]) -> LayoutFinding:
    """Kept if an outside row is a source row and at most three rows lie between source rows.

    ``rows``: whether each vine, in its order, has viable pollen. A source row has it in most of its vines.
    """
    if len(rows) < 2:
        return _does_not_apply("every_fourth_row", "needs_rows")
    is_source = [2 * sum(row) > len(row) for row in rows]
    longest, outside = longest_run_without(is_source), is_source[0] or is_source[-1]
    return LayoutFinding(
        "every_fourth_row", _verdict(longest <= 3 and outside), longest, SourceRows(longest, outside)
    )


def every_third_vine_in_every_third_row(rows: Sequence[Sequence[bool]]) -> LayoutFinding:
    """Kept if at most two rows in a line hold no source, and at most two vines between sources in the others."""
    if len(rows) < 2:
        return _does_not_apply("third_vine_of_third_row", "needs_rows")
    longest_rows = longest_run_without([any(row) for row in rows])
    longest = max((longest_run_without(row) for row in rows if any(row)), default=max(map(len, rows)))
    return LayoutFinding(
        "third_vine_of_third_row",
        _verdict(longest_rows <= 2 and longest <= 2),
        longest,
        SourceVinesInRows(longest_rows, longest),
    )


def share_of_vineyard(planting: Planting, found: WhoServesWhom) -> LayoutFinding:
    """Kept from one eighth on; more than a quarter is more pollen than the rule asks for."""
    share = found.source_vines / max(1, sum(block.vines for block in planting.blocks))
    measured = SourceShare(share, more_than_asked=share > MOST_SHARE)
    return LayoutFinding("share_of_vineyard", _verdict(share >= LEAST_SHARE), share, measured)


def several_pollinizers(found: WhoServesWhom) -> LayoutFinding:
    """Kept from two cultivars with viable pollen on."""
    count = len({block.cultivar for block in found.sources})
    return LayoutFinding("several_pollinizers", _verdict(count >= 2), count, SourceCultivars(count))


def one_serves_eight(found: WhoServesWhom) -> LayoutFinding:
    """Kept if all pistillate vines can be shared out, within reach, with eight or fewer for each source vine."""
    load = heaviest_load(found)
    left_out = found.pistillate_vines - found.vines_in_reach
    kept = load is not None and load <= ONE_SERVES and not left_out
    return LayoutFinding("one_serves_eight", _verdict(kept), load, BusiestSource(load, left_out))


def every_nth_vine(rows: Sequence[Sequence[bool]], *, nth: Literal[3, 4]) -> LayoutFinding:
    """For a single row: kept if fewer than ``nth`` vines in a line have no viable pollen."""
    rule: RuleCode = "every_third_vine" if nth == 3 else "every_fourth_vine"
    if len(rows) != 1:
        return _does_not_apply(rule, "needs_a_single_row" if rows else "rows_not_known")
    longest = longest_run_without(rows[0])
    return LayoutFinding(rule, _verdict(longest < nth), longest, SourceVinesInRow(longest))


def longest_run_without(sources: Iterable[bool]) -> int:
    """Length of the longest run of False."""
    return max((len(list(run)) for is_source, run in groupby(sources) if not is_source), default=0)


def _vine_rows(planting: Planting, along: RowsAlong) -> list[list[bool]]:
    """Whether each vine has viable pollen, row by row, all in their order."""
    rows: dict[int, list[tuple[float, bool, int]]] = defaultdict(list)
    for block in planting.blocks:
        is_source = sheds_viable_pollen(cultivar_of(planting, block))
        for x, y in vine_places(block).tolist():
            across, place = (y, x) if along == "x" else (x, y)
            rows[round(across / SAME_ROW_M)].append((place, is_source, vines_a_place(block)))
    return [
        [is_source for _, is_source, vines in sorted(rows[across]) for _ in range(vines)]
        for across in sorted(rows)
    ]


def _does_not_apply(rule: RuleCode, why: WhyNot) -> LayoutFinding:
    return LayoutFinding(rule, "does_not_apply", None, NotApplicable(why))


def _verdict(kept: bool) -> Verdict:
    return "met" if kept else "not_met"
