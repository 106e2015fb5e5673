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
from models.vineyard.reach import cultivar_of, sheds_viable_pollen
from models.vineyard.vine_counts import WhoServesWhom, heaviest_load
from models.vineyard.wording import percent

Verdict = Literal["met", "not_met", "does_not_apply"]
RowsAlong = Literal["x", "y"]

GEORGIA = "Georgia Muscadine Production Guide"
MISSISSIPPI = "Mississippi State University Extension"
LAYOUT_CAUTION = (
    "The published layouts disagree (from every third vine in every third row to one vine for eight, and in a single "
    "row every third or every fourth vine), and none of them looks at when cultivars bloom."
)
ONE_SERVES = 8
LEAST_SHARE, MOST_SHARE = 1 / 8, 1 / 4
SAME_ROW_M = 0.1  # places are compared to so much: rounding of a survey, not a distance between rows


@dataclass(frozen=True)
class LayoutFinding:
    """One rule, whose it is, whether the planting keeps it, and the number that was measured for that."""

    rule: str
    source: str
    verdict: Verdict
    measured: float | None
    said: str


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
        every_nth_vine(rows, nth=3, source=f"{MISSISSIPPI}, for a single row"),
        every_nth_vine(rows, nth=4, source="another extension office, for a single row"),
    )
    if found.pistillate:
        return findings
    return tuple(
        LayoutFinding(each.rule, each.source, "does_not_apply", None, "No vine is pistillate.")
        for each in findings
    )


def every_fourth_row(rows: Sequence[Sequence[bool]]) -> LayoutFinding:
    """Kept if an outside row is a source row and at most three rows lie between source rows.

    ``rows``: whether each vine, in its order, has viable pollen. A source row has it in most of its vines.
    """
    rule, source = "every fourth row self-fertile, from the outside row", f"{GEORGIA}, section 8"
    if len(rows) < 2:
        return _needs_rows(rule, source)
    is_source = [2 * sum(row) > len(row) for row in rows]
    longest = longest_run_without(is_source)
    kept = longest <= 3 and (is_source[0] or is_source[-1])
    outside = "an outside row is" if is_source[0] or is_source[-1] else "no outside row is"
    said = f"At most {longest} rows in a line without a self-fertile row; {outside} self-fertile."
    return LayoutFinding(rule, source, _verdict(kept), longest, said)


def every_third_vine_in_every_third_row(rows: Sequence[Sequence[bool]]) -> LayoutFinding:
    """Kept if at most two rows in a line hold no source, and at most two vines between sources in the others."""
    rule, source = "every third vine in every third row self-fertile", f"{GEORGIA}, section 8"
    if len(rows) < 2:
        return _needs_rows(rule, source)
    longest_rows = longest_run_without([any(row) for row in rows])
    longest = max((longest_run_without(row) for row in rows if any(row)), default=max(map(len, rows)))
    said = (
        f"At most {longest_rows} rows in a line without a self-fertile vine, and {longest} vines in a line in the "
        "rows that have them."
    )
    return LayoutFinding(rule, source, _verdict(longest_rows <= 2 and longest <= 2), longest, said)


def share_of_vineyard(planting: Planting, found: WhoServesWhom) -> LayoutFinding:
    """Kept from one eighth on; more than a quarter is more pollen than the rule asks for."""
    share = found.source_vines / max(1, sum(block.vines for block in planting.blocks))
    said = f"{percent(share)} of the vines have viable pollen"
    said += ", more than the rule asks for." if share > MOST_SHARE else "."
    rule = "one eighth to one quarter of the vineyard self-fertile"
    return LayoutFinding(rule, f"{GEORGIA}, section 6", _verdict(share >= LEAST_SHARE), share, said)


def several_pollinizers(found: WhoServesWhom) -> LayoutFinding:
    """Kept from two cultivars with viable pollen on."""
    count = len({block.cultivar for block in found.sources})
    said = f"{count} {'cultivar has' if count == 1 else 'cultivars have'} viable pollen."
    return LayoutFinding("several pollinizers", f"{GEORGIA}, section 6", _verdict(count >= 2), count, said)


def one_serves_eight(found: WhoServesWhom) -> LayoutFinding:
    """Kept if all pistillate vines can be shared out, within reach, with eight or fewer for each source vine."""
    rule = f"one self-fertile vine for {ONE_SERVES} pistillate ones"
    load = heaviest_load(found)
    left_out = found.pistillate_vines - found.vines_in_reach
    said = "" if load is None else f"The busiest source vine has {load} pistillate ones to serve."
    if left_out:
        said = f"{said} {left_out} pistillate vines have no source in reach.".strip()
    kept = load is not None and load <= ONE_SERVES and not left_out
    return LayoutFinding(rule, MISSISSIPPI, _verdict(kept), load, said)


def every_nth_vine(rows: Sequence[Sequence[bool]], *, nth: int, source: str) -> LayoutFinding:
    """For a single row: kept if fewer than ``nth`` vines in a line have no viable pollen."""
    rule = f"every {'third' if nth == 3 else 'fourth'} vine self-fertile"
    if len(rows) != 1:
        said = "It is a rule for a single row." if rows else "Where rows of vines run is not known."
        return LayoutFinding(rule, source, "does_not_apply", None, said)
    longest = longest_run_without(rows[0])
    said = f"At most {longest} vines in a line without a self-fertile one."
    return LayoutFinding(rule, source, _verdict(longest < nth), longest, said)


def longest_run_without(sources: Iterable[bool]) -> int:
    """Length of the longest run of False."""
    return max((len(list(run)) for is_source, run in groupby(sources) if not is_source), default=0)


def _vine_rows(planting: Planting, along: RowsAlong) -> list[list[bool]]:
    """Whether each vine has viable pollen, row by row, all in their order."""
    rows: dict[int, list[tuple[float, bool, int]]] = defaultdict(list)
    for block in planting.blocks:
        across, place = (block.y_m, block.x_m) if along == "x" else (block.x_m, block.y_m)
        is_source = sheds_viable_pollen(cultivar_of(planting, block))
        rows[round(across / SAME_ROW_M)].append((place, is_source, block.vines))
    return [
        [is_source for _, is_source, vines in sorted(rows[across]) for _ in range(vines)]
        for across in sorted(rows)
    ]


def _needs_rows(rule: str, source: str) -> LayoutFinding:
    return LayoutFinding(
        rule, source, "does_not_apply", None, "It is a rule for several rows of vines, and none are known."
    )


def _verdict(kept: bool) -> Verdict:
    return "met" if kept else "not_met"
