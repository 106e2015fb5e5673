"""Whether a planting is laid out so that every pistillate vine gets pollen."""

from __future__ import annotations

from typing import Annotated, Self

from fastapi import Query
from pydantic import Field

from models.vineyard.block_check import BlockCheck
from models.vineyard.layout_rules import RowsAlong, Verdict
from service.api.part import part
from service.api.responses import UNCHANGED, problems
from service.api.schemas import Body, ThreeDigits
from service.api.season_query import FitId
from service.usecases.cautions import cautions_of
from service.usecases.planting_check import CheckOptions, check_planting
from service.web.kept import KEPT
from service.web.keys import VineyardKey
from service.web.records import Reading
from service.web.turns import HEAVY
from service.words.cautions import caution_texts
from service.words.layout import RULE_SOURCES, RULES, finding_words, what_to_ask, why_exposed

router = part("/v1/vineyards/{vineyard}", "vineyards", KEPT, HEAVY)

Share = Annotated[float, Query(gt=0, le=1)]


class LayoutAnswer(Body):
    """One published rule, whose it is, whether the planting keeps it, and what was measured for that."""

    rule: str
    source: str
    verdict: Verdict
    measured: ThreeDigits | None
    said: str


class SeasonCoverAnswer(Body):
    """One past season: share of the bloom covered (median), and the chance that it was enough."""

    season: int
    share_of_bloom_covered: ThreeDigits
    chance: ThreeDigits


class RemedyAnswer(Body):
    """A cultivar as if planted in reach, and what that would have changed."""

    cultivar: str
    seasons_covered: int
    mean_share_of_bloom_covered: ThreeDigits
    closes_gap: bool
    ask: str | None = Field(description="What must be known first: the fit knows it, but you do not list it.")


class BlockCheckAnswer(Body):
    """One pistillate block over the past seasons; ``why`` it is exposed, or why that is not known."""

    block: str
    cultivar: str
    vines: int
    vines_in_reach: int = Field(description="Those of its vines that have a source in reach.")
    sources: list[str] = Field(description="Blocks with viable pollen in reach.")
    seasons: list[SeasonCoverAnswer]
    seasons_covered: int
    mean_share_of_bloom_covered: ThreeDigits | None
    exposed: bool
    why: str | None
    would_help: list[RemedyAnswer] = Field(description="The best first.")

    @classmethod
    def of(cls, block: BlockCheck) -> Self:
        """One block for the client."""
        return cls.showing(
            block,
            why=None if block.why is None else why_exposed(block.why),
            would_help=[RemedyAnswer.showing(each, ask=what_to_ask(each)) for each in block.would_help],
        )


class PlantingCheckAnswer(Body):
    """What a planting's layout is worth; ``fit`` is null where only the layout was checked."""

    vineyard: str
    fit: str | None
    pistillate_vines: int
    source_vines: int
    share_in_reach: ThreeDigits | None
    vines_per_source: ThreeDigits | None
    heaviest_load: int | None = Field(
        description="Pistillate vines that the busiest source vine must serve, the work shared as evenly as "
        "reach allows."
    )
    layout: list[LayoutAnswer]
    seasons: list[int] = Field(description="Past seasons that were looked at.")
    blocks: list[BlockCheckAnswer]
    cautions: list[str]


@router.get("/planting-check", summary="Check the planting", responses=UNCHANGED | problems(404))
def get_planting_check(
    vineyard: VineyardKey,
    records: Reading,
    fit: FitId = None,
    rows_along: Annotated[
        RowsAlong | None,
        Query(description="The axis along which rows run, where each block is a vine or a row of vines."),
    ] = None,
    enough_share: Share = CheckOptions.enough_share,
    enough_seasons: Share = CheckOptions.enough_seasons,
) -> PlantingCheckAnswer:
    """Pistillate vines in reach of pollen, vines for each source, the published layouts (they disagree, so each
    is named), the cover of each pistillate block over past seasons, and what would help those that are exposed.

    A season counts where `enough_share` of a block's bloom was covered; a block is exposed where fewer than
    `enough_seasons` of the seasons count. Both are assumptions: no source states a threshold.

    A vineyard without a fit in use gets what needs none, reach and layouts, even before it has weather: `fit` is null
    then, `seasons` are empty, and a caution says so.
    """
    options = CheckOptions(enough_share=enough_share, enough_seasons=enough_seasons, rows_along=rows_along)
    found = check_planting(records, vineyard, fit=fit, options=options)
    return PlantingCheckAnswer.showing(
        found.check,
        vineyard=vineyard,
        fit=None if found.fit is None else found.fit.id,
        layout=[
            LayoutAnswer.showing(
                each, rule=RULES[each.rule], source=RULE_SOURCES[each.rule], said=finding_words(each)
            )
            for each in found.check.layout
        ],
        blocks=[BlockCheckAnswer.of(block) for block in found.check.blocks],
        cautions=caution_texts(cautions_of(found)),
    )
