"""Published layouts, what a planting shows of each, and why a block is exposed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import assert_never

from models.vineyard.block_check import (
    CultivarNotInFit,
    HelpfulCultivar,
    NoViableSource,
    SeldomCovered,
    SourcesNotInFit,
    WhyExposed,
)
from models.vineyard.cautions import StagesLacking
from models.vineyard.layout_rules import (
    ONE_SERVES,
    BusiestSource,
    LayoutFinding,
    NotApplicable,
    RuleCode,
    SourceCultivars,
    SourceRows,
    SourceShare,
    SourceVinesInRow,
    SourceVinesInRows,
    WhyNot,
)
from service.words.plain import listed, percent

RULES: dict[RuleCode, str] = {
    "every_fourth_row": "every fourth row self-fertile, from the outside row",
    "third_vine_of_third_row": "every third vine in every third row self-fertile",
    "share_of_vineyard": "one eighth to one quarter of the vineyard self-fertile",
    "several_pollinizers": "several pollinizers",
    "one_serves_eight": f"one self-fertile vine for {ONE_SERVES} pistillate ones",
    "every_third_vine": "every third vine self-fertile",
    "every_fourth_vine": "every fourth vine self-fertile",
}
_GEORGIA = "Georgia Muscadine Production Guide"
_MISSISSIPPI = "Mississippi State University Extension"
RULE_SOURCES: dict[RuleCode, str] = {
    "every_fourth_row": f"{_GEORGIA}, section 8",
    "third_vine_of_third_row": f"{_GEORGIA}, section 8",
    "share_of_vineyard": f"{_GEORGIA}, section 6",
    "several_pollinizers": f"{_GEORGIA}, section 6",
    "one_serves_eight": _MISSISSIPPI,
    "every_third_vine": f"{_MISSISSIPPI}, for a single row",
    "every_fourth_vine": "another extension office, for a single row",
}
NOT_APPLICABLE: dict[WhyNot, str] = {
    "no_pistillate_vine": "No vine is pistillate.",
    "needs_rows": "It is a rule for several rows of vines, and none are known.",
    "needs_a_single_row": "It is a rule for a single row.",
    "rows_not_known": "It is not known where rows of vines run.",
}


def finding_words(finding: LayoutFinding) -> str:
    """What was measured."""
    match finding.found:
        case NotApplicable(why):
            return NOT_APPLICABLE[why]
        case SourceRows(longest_run, outside):
            row = "an outside row is" if outside else "no outside row is"
            return f"At most {longest_run} rows in a line without a self-fertile row; {row} self-fertile."
        case SourceVinesInRows(rows, vines):
            return (
                f"At most {rows} rows in a line without a self-fertile vine, and {vines} vines in a line in the rows "
                "that have them."
            )
        case SourceShare(share, more_than_asked):
            more = ", more than the rule asks for" if more_than_asked else ""
            return f"{percent(share)} of the vines have viable pollen{more}."
        case SourceCultivars(count):
            return f"{count} {'cultivar has' if count == 1 else 'cultivars have'} viable pollen."
        case BusiestSource(load, left_out):
            said = [] if load is None else [f"The busiest source vine has {load} pistillate ones to serve."]
            said += [f"{left_out} pistillate vines have no source in reach."] if left_out else []
            return " ".join(said)
        case SourceVinesInRow(longest_run):
            return f"At most {longest_run} vines in a line without a self-fertile one."
        case found:
            assert_never(found)


def why_exposed(why: WhyExposed) -> str:
    """Why a block is exposed, or why that is not known."""
    match why:
        case NoViableSource():
            return "No source with viable pollen stands in reach."
        case StagesLacking(stages):
            return f"The fit does not know {listed(stages)}, so cover in past seasons is not known."
        case CultivarNotInFit(cultivar):
            return f"The fit does not know cultivar {cultivar}, so its cover is not known."
        case SourcesNotInFit(cultivars):
            return f"{_unknown(cultivars)} in reach, so the block's cover is not known."
        case SeldomCovered(enough_share, covered, seasons, left_out):
            said = f"At least {percent(enough_share)} of its bloom was covered in {covered} of {seasons} past seasons."
            if not left_out:
                return said
            return (
                f"{said} {_unknown(left_out)} in reach and {'is' if len(left_out) == 1 else 'are'} left out."
            )
    assert_never(why)


def _unknown(cultivars: Sequence[str]) -> str:
    return f"The fit does not know {listed(cultivars)}, which {'stands' if len(cultivars) == 1 else 'stand'}"


def what_to_ask(tried: HelpfulCultivar) -> str | None:
    """What has to be known before a cultivar is planted; None where nothing has."""
    if tried.flower_type_known:
        return None
    return (
        f"Is {tried.cultivar} self-fertile or male, with viable pollen? The fit knows when it blooms, but it is not "
        "among your cultivars; a pistillate one would not help."
    )
