"""How much of a bloom gets pollen, and on which days it may lack."""

from __future__ import annotations

from collections.abc import Mapping

from models.records import Cultivar, PollenNote
from models.vineyard.block_pollination import AtReach, MedianInterval
from models.vineyard.uncovered import Uncovered
from service.words.language import _, ngettext
from service.words.plain import (
    from_to,
    length_words,
    percent,
    to,
)


def cover_words(covered: MedianInterval | None) -> str:
    """How much of a block's bloom gets pollen from the sources that are known."""
    if covered is None:
        return _("pollen cover not known")
    if covered.high == 0:
        return _("none of its flowers open while a listed source sheds")
    return _(
        "{share} of its flowers open while a listed source sheds ({range})",
        share=percent(covered.median),
        range=to(percent(covered.low), percent(covered.high)),
    )


def other_reach_words(other: AtReach) -> str:
    """What cover would be were pollen carried another way."""
    count = len(other.sources)
    sources = (
        ngettext("{count} source in reach", "{count} sources in reach", count)
        if count
        else _("no source in reach")
    )
    return _(
        "were pollen carried {reach}: {sources}, {cover}",
        reach=length_words(other.reach_m),
        sources=sources,
        cover=cover_words(other.share_of_bloom_covered),
    )


def note_words(note: PollenNote, cultivars: Mapping[str, Cultivar]) -> str:
    """What was noted of a source for a cultivar, and where that is from."""
    return _(
        "Noted of {source} as a source: {note} ({reference})",
        source=cultivars[note.source].name,
        note=note.text,
        reference=note.reference,
    )


def uncovered_words(run: Uncovered) -> str:
    """Days without pollen, how likely, and what they may cost."""
    values = {
        "days": from_to(*run.span),
        "chance": percent(run.chance),
        "share": percent(run.share_of_bloom),
    }
    if len(run.days) > 1:
        if run.level == "act":
            return _(
                "no pollen likely {days}: {chance} chance on the likeliest day, {share} of its flowers at stake",
                **values,
            )
        return _(
            "no pollen possible {days}: {chance} chance on the likeliest day, {share} of its flowers at stake",
            **values,
        )
    if run.level == "act":
        return _("no pollen likely {days}: {chance} chance, {share} of its flowers at stake", **values)
    return _("no pollen possible {days}: {chance} chance, {share} of its flowers at stake", **values)
