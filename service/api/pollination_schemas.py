"""The bodies of pollen cover and its warnings."""

from __future__ import annotations

import datetime as dt
from typing import Self

from pydantic import Field

from models.records import Planting
from models.units import feet_from_metres
from models.vineyard.bouquets import bouquets
from models.vineyard.pollination import (
    AtReach,
    BlockPollination,
    PollenWarning,
    SourceCover,
    WarningCode,
    WarningLevel,
)
from models.vineyard.reach import notes_for
from models.vineyard.set_on_cover import SetOnCover
from service.api.schemas import Body, OneDigit, ThreeDigits, WholeDays
from service.usecases.cautions import cautions_of
from service.usecases.forecasts import VineyardForecast
from service.usecases.pollen import VineyardPollination
from service.words.cautions import caution_texts
from service.words.pollen_warnings import warning_words


class OverlapDays(Body):
    """Median and interval of a number of days."""

    median: WholeDays
    low: WholeDays
    high: WholeDays


class ShareInterval(Body):
    """Median and interval of a share."""

    median: ThreeDigits
    low: ThreeDigits
    high: ThreeDigits


class SourceAnswer(Body):
    """What one pollen source in reach does for a block; no distance where a list of neighbours decided."""

    block: str
    cultivar: str
    distance_m: OneDigit | None
    distance_ft: OneDigit | None
    overlap_days: OverlapDays
    synchrony: ThreeDigits
    share_of_bloom_covered: ThreeDigits
    share_lost_without_it: ThreeDigits
    chance_ends_first: ThreeDigits
    chance_starts_late: ThreeDigits
    share_of_supply: ThreeDigits = Field(
        description="Of the pollen that all these sources can give (vines, flowers a vine, quality); hides no gap."
    )

    @classmethod
    def of(cls, source: SourceCover) -> Self:
        """With the distance in feet too."""
        distance = source.distance_m
        return cls.showing(source, distance_ft=None if distance is None else feet_from_metres(distance))


class UncoveredAnswer(Body):
    """Days, both ends included, on which receptive flowers are likely to get no pollen.

    `days` holds each day's chance: one half or more on all of them (level `act`), or, where no day around has as much,
    one fifth or more (`watch`). `chance` is the largest of them.
    """

    first: dt.date = Field(validation_alias="first_day", serialization_alias="from")
    last: dt.date = Field(validation_alias="last_day", serialization_alias="to")
    level: WarningLevel
    chance: ThreeDigits
    days: list[ThreeDigits]
    share_of_bloom: ThreeDigits = Field(
        description="Of the block's flowers, receptive on these days and without pollen, where such a day comes."
    )


class DonorAnswer(Body):
    """A block that can give flowering shoots: its viable anthers are likely to be open on days without pollen."""

    block: str
    first: dt.date = Field(serialization_alias="from")
    last: dt.date = Field(serialization_alias="to")


class BouquetAnswer(Body):
    """One day without pollen: which blocks are likely to have open, viable anthers on it, and whether to put fresh
    shoots. Common practice in apple (every 2 days or so); no source for muscadine."""

    date: dt.date
    blocks: list[str]
    renew: bool


class WarningAnswer(Body):
    """What is wrong with a block's pollen, how urgent and how likely, and what to do.

    Once all its days are over it tells what happened: `past` is true, and the level `watch`.

    Codes: `pollen_ends_early`, `pollen_starts_late` and `pollen_gap` (none in the middle of the bloom, after one source
    and before the next) are about time; `no_pollen_source_in_reach`, `no_viable_pollen` and `single_pollen_source`
    (one source bears all, or most) about the planting; `unknown_bloom` about what cannot be forecast, or not be counted
    on after a frost.
    """

    code: WarningCode
    level: WarningLevel
    chance: ThreeDigits
    message: str
    first: dt.date | None = Field(
        serialization_alias="from",
        description="First day that it is about: of the days in `uncovered` where pollen is lacking, else of the "
        "bloom. Null where no day is likely enough, or no bloom known.",
    )
    last: dt.date | None = Field(serialization_alias="to")
    past: bool
    donors: list[DonorAnswer] = Field(
        description="On the days that are not over yet; the one with most first."
    )
    bouquets: list[BouquetAnswer] = Field(
        description="The days without pollen that are not over yet, for flowering shoots in water among the vines."
    )

    @classmethod
    def of(cls, warning: PollenWarning) -> Self:
        """Its days as two."""
        first, last = warning.days or (None, None)
        donors = [
            DonorAnswer(block=donor.block.key, first=donor.first_day, last=donor.last_day)
            for donor in warning.donors
        ]
        by_day = [
            BouquetAnswer(date=each.date, blocks=[block.key for block in each.blocks], renew=each.renew)
            for each in bouquets(warning)
            if warning.donors
        ]
        return cls.showing(
            warning, message=warning_words(warning), first=first, last=last, donors=donors, bouquets=by_day
        )


class AtReachAnswer(Body):
    """What cover would be were pollen carried another way: how far it is carried is an assumption."""

    reach_m: float
    reach_ft: OneDigit
    sources: list[str]
    share_of_bloom_covered: ShareInterval | None

    @classmethod
    def of(cls, found: AtReach) -> Self:
        """With the reach in feet too."""
        return cls.showing(found, reach_ft=feet_from_metres(found.reach_m))


class PollenNoteAnswer(Body):
    """What was noted of a source cultivar's pollen on the block's, and where that is from."""

    source: str
    text: str
    reference: str


class PistillateBlock(Body):
    """Pollen cover of one pistillate block; the share is null where its bloom or its sources' is not known."""

    block: str
    cultivar: str
    cultivar_name: str
    sources: list[SourceAnswer] = Field(description="Viable and in reach, the best first.")
    share_of_bloom_covered: ShareInterval | None
    uncovered_days: OverlapDays | None = Field(
        description="Days on which it is receptive and no source in reach has open anthers."
    )
    uncovered: list[UncoveredAnswer]
    warnings: list[WarningAnswer] = Field(description="The worst first.")
    notes: list[PollenNoteAnswer] = Field(
        description="What was noted of its cultivar and those that stand here (`pollen_notes` of the cultivar)."
    )
    at_other_reach: list[AtReachAnswer] = Field(
        description="At half and at double the reach, where other viable sources would stand in it."
    )

    @classmethod
    def of(cls, found: BlockPollination, planting: Planting) -> Self:
        """One block for the client."""
        return cls.showing(
            found,
            cultivar_name=planting.cultivars[found.cultivar].name,
            notes=[PollenNoteAnswer.showing(note) for note in notes_for(planting, found.cultivar)],
            sources=[SourceAnswer.of(source) for source in found.sources],
            warnings=[WarningAnswer.of(warning) for warning in found.warnings],
            at_other_reach=[AtReachAnswer.of(other) for other in found.at_other_reach],
        )


class PollinationAnswer(Body):
    """Pollen cover of all pistillate blocks of a vineyard, and what it takes for granted."""

    vineyard: str
    season: int
    as_of: dt.date
    fit: str
    interval: float
    reach_m: float
    reach_ft: OneDigit
    receptive_days: int
    pollen_days: int
    cautions: list[str]
    pistillate_blocks: list[PistillateBlock]

    @classmethod
    def of(
        cls, foreseen: VineyardForecast, found: VineyardPollination, set_claim: SetOnCover | None = None
    ) -> Self:
        """Pollen cover for the client."""
        planting = foreseen.vineyard.planting
        return cls.showing(
            found,
            foreseen.forecast,
            vineyard=foreseen.vineyard.key,
            fit=foreseen.fit.id,
            reach_ft=feet_from_metres(found.reach_m),
            cautions=caution_texts(cautions_of(foreseen, pollen=found, set_claim=set_claim)),
            pistillate_blocks=[PistillateBlock.of(block, planting) for block in found.blocks],
        )
