"""Flowers and berries counted on marked clusters, and what they say."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

from fastapi import Depends, Path, Query, Request, Response
from pydantic import Field, TypeAdapter

from models.records import SetCount
from models.vineyard.fruit_set import PUBLISHED
from service.api.change_schemas import WriteReceipt
from service.api.listing import AS_CSV, PageAsked, csv_answer, paged
from service.api.observation_schemas import ObservationReceipt
from service.api.part import part
from service.api.responses import UNCHANGED, UPLOAD, problems, wants_csv
from service.api.schemas import Body, ThreeDigits
from service.ingest.counts import LONGEST_TAG
from service.ingest.set_counts import MOST_FLOWERS
from service.usecases.documents import Slug
from service.usecases.fruit_set import store_set_counts, store_set_counts_file, vineyard_set
from service.web.access import needs
from service.web.days import IsoDate
from service.web.kept import KEPT
from service.web.keys import VineyardKey
from service.web.records import Reading, Writing
from service.web.uploads import AtMostRows, Options, csv_upload, rows_sent
from service.words.fruit_set import LEFT_OUT, claim_words, days_words, published_words

router = part("/v1/vineyards/{vineyard}", "observations", KEPT)

Count = Annotated[int, Field(ge=0, le=MOST_FLOWERS)]
CountId = Annotated[str, Path(alias="count", max_length=63, description="The count's identifier.")]


class SetCountBody(Body):
    """Flowers, berries or both counted on one marked cluster."""

    date: IsoDate
    block: Slug
    cluster: Annotated[str, Field(min_length=1, max_length=LONGEST_TAG, pattern=r"^[^\x00]+$")]
    flowers: Count | None = None
    berries: Count | None = None


class SetCountAnswer(SetCountBody):
    """A count with its identifier."""

    count: str


class SetCountsAnswer(Body):
    """All counts of a vineyard."""

    vineyard: str
    set_counts: list[SetCountAnswer]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")


class BlockSetAnswer(Body):
    """Set of one block and season. `spread` above 1: clusters differ more than chance, and the interval is wider."""

    season: int
    block: str
    cultivar: str
    clusters: int
    flowers: int
    berries: int
    set: ThreeDigits
    low: ThreeDigits
    high: ThreeDigits
    spread: ThreeDigits
    cover: ThreeDigits | None = Field(
        description="Expected share of the bloom that got pollen; null where it needs none, or none is known."
    )


class LeftOutAnswer(Body):
    """A cluster that says nothing of set, and why."""

    season: int
    block: str
    cluster: str
    why: str


class EffectAnswer(Body):
    """How set differs with cover, in log odds from no cover to all of it; and set as it would be at both ends."""

    receptive_days: int
    pollen_days: int
    effect: ThreeDigits
    low: ThreeDigits
    high: ThreeDigits
    set_without: ThreeDigits
    set_with: ThreeDigits


class DaysAnswer(Body):
    """The days that fit best, and the range of those that fit nearly as well."""

    best: int
    low: int
    high: int


class ClaimAnswer(Body):
    """Whether cover explains set on these vines: `explains`, `not_shown`, `against`, `too_few` or `no_difference`."""

    verdict: str
    said: str
    blocks: int
    seasons: int
    effect: EffectAnswer | None
    receptive_days: DaysAnswer | None
    pollen_days: DaysAnswer | None


class SetAnswer(Body):
    """Set of a vineyard beside published ranges, and beside cover."""

    vineyard: str
    interval: float
    blocks: list[BlockSetAnswer]
    left_out: list[LeftOutAnswer]
    published: list[str]
    claim: ClaimAnswer


counts_sent = rows_sent(TypeAdapter(Annotated[list[SetCountBody], AtMostRows]))


@router.post(
    "/set-counts",
    summary="Record set counts",
    responses=UPLOAD,
    openapi_extra=csv_upload(json_schema={"type": "array", "items": SetCountBody.model_json_schema()}),
)
@needs("record")
def record_set_counts(
    vineyard: VineyardKey,
    sent: Annotated[bytes | list[SetCountBody], Depends(counts_sent)],
    records: Writing,
    options: Options,
) -> ObservationReceipt:
    """Take counts as a JSON list or a CSV file with the columns `date`, `block`, `cluster` and `flowers` or `berries`.

    Tag ten clusters a block, count their flowers before bloom and their berries about three weeks after (common
    practice): counts of one cluster and season are joined. One of the same day, block and cluster takes the old
    one's place.
    """
    if isinstance(sent, bytes):
        stored = store_set_counts_file(records, vineyard, sent, options=options)
    else:
        counts = [SetCount(**body.model_dump()) for body in sent]
        stored = store_set_counts(records, vineyard, counts, options=options)
    return ObservationReceipt.of(vineyard, stored)


@router.get(
    "/set-counts",
    summary="Show set counts",
    response_model=SetCountsAnswer,
    responses={**AS_CSV, **UNCHANGED, **problems(404)},
)
def get_set_counts(
    request: Request, vineyard: VineyardKey, records: Reading, page: PageAsked
) -> SetCountsAnswer | Response:
    """All counts, by date; as CSV, which can be uploaded again, with `Accept: text/csv`."""
    found, next_page = paged(records.set_counts.all(vineyard), page, lambda kept: kept.order)
    answers = [SetCountAnswer(count=kept.id, **asdict(kept.count)) for kept in found]
    if wants_csv(request):
        columns = [*SetCountBody.model_fields, "count"]
        return csv_answer(request, columns, [each.model_dump(mode="json") for each in answers], next_page)
    return SetCountsAnswer(vineyard=vineyard, set_counts=answers, next=next_page)


@router.delete("/set-counts/{count}", summary="Delete a set count", responses=problems(404))
@needs("record")
def delete_set_count(vineyard: VineyardKey, id: CountId, records: Writing) -> WriteReceipt:
    """Delete one count, as if nobody had counted."""
    records.set_counts.delete(vineyard, id)
    return WriteReceipt.of(records.journal)


@router.get(
    "/set",
    summary="Show set",
    response_model=SetAnswer,
    responses={**AS_CSV, **UNCHANGED, **problems(404)},
)
def get_set(
    request: Request,
    vineyard: VineyardKey,
    records: Reading,
    interval: Annotated[float, Query(gt=0, lt=1)] = 0.9,
) -> SetAnswer | Response:
    """Share of the flowers that set, by block and season, with its interval, beside published ranges and beside cover;
    over seasons, whether cover explains set on these vines, and which receptive and pollen days fit best. Rows as CSV
    with `Accept: text/csv`.
    """
    found = vineyard_set(records, vineyard, interval=interval)
    blocks = [BlockSetAnswer.showing(each, each.set, set=each.set.share) for each in found.seasons]
    if wants_csv(request):
        return csv_answer(request, list(BlockSetAnswer.model_fields), [each.model_dump() for each in blocks])
    claim = found.claim
    said = [claim_words(claim)]
    if claim.receptive is not None and claim.pollen is not None:
        said.append(days_words(claim.receptive, claim.pollen))
    return SetAnswer(
        vineyard=vineyard,
        interval=interval,
        blocks=blocks,
        left_out=[LeftOutAnswer.showing(each, why=LEFT_OUT[each.why]) for each in found.left_out],
        published=[published_words(each) for each in PUBLISHED],
        claim=ClaimAnswer.showing(
            claim, said=" ".join(said), receptive_days=claim.receptive, pollen_days=claim.pollen
        ),
    )
