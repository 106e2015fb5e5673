"""A layout that works: the fewest vines to change."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field

from models.vineyard.layout import ROW_SPACING_M, VINE_SPACING_M, LayoutStep, PlannedField, PlannedRow
from models.vineyard.pollen_needs import MOST_SOURCES
from service.api.part import part
from service.api.responses import problems
from service.api.schemas import Body, ThreeDigits
from service.api.season_query import FitId
from service.usecases.cautions import cautions_of
from service.usecases.documents import Slug
from service.usecases.layout import LayoutAsked, VineyardLayout, find_layout
from service.web.keys import VineyardKey
from service.web.records import Reading
from service.web.turns import HEAVY
from service.words.cautions import caution_texts
from service.words.layout_search import (
    change_words,
    only_reach_words,
    recomputed_words,
    spare_words,
    step_words,
)

router = part("/v1/vineyards/{vineyard}", "vineyards", HEAVY)

Spacing = Annotated[float, Field(gt=0, le=100)]
Share = Annotated[float, Field(gt=0, le=1)]


class RowBody(Body):
    """A row of a field that is to be planted; without `cultivar` its places are left to the search."""

    vines: int = Field(ge=1, le=500)
    cultivar: Slug | None = None


class FieldBody(Body):
    """Straight rows at even spacing, by default 20 ft in the row and 12 ft between rows (Georgia extension C949)."""

    rows: list[RowBody] = Field(min_length=1, max_length=200)
    vine_spacing_m: Spacing = VINE_SPACING_M
    row_spacing_m: Spacing = ROW_SPACING_M


class LayoutBody(Body):
    """What the layout has to do."""

    plant: list[Slug] | None = Field(
        default=None,
        min_length=1,
        max_length=MOST_SOURCES,
        description="Cultivars that you would plant or graft; by default all with viable pollen.",
    )
    field: FieldBody | None = Field(
        default=None,
        description="A field that is to be planted, searched in the place of the vineyard's blocks.",
    )
    keep: list[str] = Field(
        default=[], description="Blocks (or rows of the field, as `row 2`) whose vines stay."
    )
    seasons: Share = Field(
        default=1.0, description="Share of the past seasons in which every vine is covered."
    )
    enough_share: Share = Field(
        default=0.8, description="Share of a bloom that makes a season a covered one."
    )
    spare: Literal["none", "vine", "cultivar"] = Field(
        default="none",
        description="What may fail without harm: any one source vine, or any one source cultivar.",
    )
    reach_m: Annotated[float, Field(gt=0, le=1000)] | None = None
    time_limit_s: Annotated[float, Field(ge=1, le=60)] = 20.0


class VineChangeAnswer(Body):
    """Vines of one place to change; `old` is null where none stands. `vine` is the first of them in its row."""

    block: str
    vine: int
    x_m: ThreeDigits
    y_m: ThreeDigits
    old: str | None
    new: str
    vines: int
    said: str


class LayoutStepAnswer(Body):
    """What so many changed vines buy.

    `found` is `fewest` (proven), `not_proven` (time ran out: `vines` do, `at_least` are needed), `impossible` or
    `unknown` (time ran out with nothing found).
    """

    seasons_covered: int
    found: Literal["fewest", "not_proven", "impossible", "unknown"]
    vines: int | None
    at_least: int
    order: dict[str, int] = Field(description="How many of each cultivar to order.")
    said: str

    @classmethod
    def of(cls, step: LayoutStep, seasons: int) -> Self:
        """For the client."""
        return cls.showing(
            step.found, seasons_covered=step.seasons, order=step.order, said=step_words(step, seasons)
        )


class RecomputedAnswer(Body):
    """Cover of a pistillate cultivar's worst vine in the new planting, computed anew from it."""

    cultivar: str
    vines: int
    vines_without_source: int
    seasons_covered: int | None
    seasons: int
    said: str


class LayoutAnswer(Body):
    """The fewest vines to change, and the price of each next step."""

    vineyard: str
    fit: str | None = Field(description="Null where only reach was asked for.")
    vines: int
    seasons: list[int] = Field(description="Past seasons that were looked at.")
    plant: list[str]
    asked: LayoutStepAnswer
    changes: list[VineChangeAnswer]
    steps: list[LayoutStepAnswer] = Field(description="The most seasons that each number of vines buys.")
    recomputed: list[RecomputedAnswer]
    said: list[str]
    cautions: list[str]

    @classmethod
    def of(cls, vineyard: str, found: VineyardLayout) -> Self:
        """For the client."""
        told, count = found.layout, len(found.layout.seasons)
        said = [spare_words(found.asked.spare), only_reach_words(told)]
        return cls.showing(
            told,
            vineyard=vineyard,
            fit=None if found.fit is None else found.fit.id,
            asked=LayoutStepAnswer.of(told.asked, count),
            changes=[
                VineChangeAnswer.showing(each, said=change_words(each)) for each in told.asked.found.changes
            ],
            steps=[LayoutStepAnswer.of(step, count) for step in told.steps],
            recomputed=[
                RecomputedAnswer.showing(each, said=recomputed_words(each)) for each in told.recomputed
            ],
            said=[each for each in said if each],
            cautions=caution_texts(cautions_of(found)),
        )


@router.post("/layout", summary="Search a layout that works", responses=problems(404))
def search_layout(
    vineyard: VineyardKey, records: Reading, body: LayoutBody | None = None, fit: FitId = None
) -> LayoutAnswer:
    """The fewest vines to change so that every pistillate vine has viable, overlapping pollen in reach in the asked
    share of the past seasons; how many of each cultivar to order; and what each next step costs. Nothing is stored.

    Exact where time allows: else the answer tells how many are needed at least. Without a fit only reach is asked for.
    """
    asked = layout_asked(LayoutBody() if body is None else body)
    return LayoutAnswer.of(vineyard, find_layout(records, vineyard, asked, fit=fit))


def layout_asked(body: LayoutBody) -> LayoutAsked:
    """The question of a body."""
    field = None
    if body.field is not None:
        rows = tuple(PlannedRow(row.vines, row.cultivar) for row in body.field.rows)
        field = PlannedField(rows, body.field.vine_spacing_m, body.field.row_spacing_m)
    return LayoutAsked(
        None if body.plant is None else tuple(body.plant),
        field,
        tuple(body.keep),
        body.seasons,
        body.enough_share,
        body.spare,
        body.reach_m,
        body.time_limit_s,
    )
