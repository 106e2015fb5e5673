"""Bloom windows and pollen warnings in a grower's words, as entries of a calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

from models.bloom.cautions import KeepToLabels
from models.bloom.forecast import BlockForecast, StageForecast
from models.records import Planting
from models.stages import BLOOM_STAGES
from models.vineyard.pollination import BlockPollination, PollenWarning
from models.vineyard.reach import named
from service.usecases.calendar import Entry
from service.words.cautions import caution_words
from service.words.forecast import (
    MEANINGS,
    MOSTLY_POOLED,
    stage_words,
    status_words,
    what_is_special,
    why_no_window,
)
from service.words.picking import taste_first
from service.words.plain import block_name, in_words, percent, sentence
from service.words.pollen import uncovered_words
from service.words.pollen_warnings import SHORT, warning_words

RIPENING = ("veraison", "harvest")


def season_entries(
    blocks: Sequence[BlockForecast],
    pollen: Sequence[BlockPollination],
    planting: Planting,
    *,
    interval: float,
) -> Iterator[Entry]:
    """The bloom window of every block that has one, and the warnings about it."""
    names = names_of(planting)
    found = {block.block: block for block in pollen}
    for block in blocks:
        yield from _ripening(block, names[block.block], interval)
        window = bloom_window(block)
        if window is None:
            continue
        yield _bloom(block, names[block.block], window, interval)
        if block.block in found:
            yield from _warnings(found[block.block], names[block.block], window)


def names_of(planting: Planting) -> dict[str, str]:
    """Each block as a grower reads it."""
    return {block.key: block_name(named(planting, block)) for block in planting.blocks}


def without_window(blocks: Sequence[BlockForecast], planting: Planting) -> list[str]:
    """What is said of the blocks that stand in no entry."""
    names = names_of(planting)
    return [
        f"No bloom forecast for {names[block.block]}: {why_no_window(block)}."
        for block in blocks
        if bloom_window(block) is None
    ]


Window = dict[str, dt.date]
"""Median date of each bloom stage that has one; at least one has."""


def bloom_window(block: BlockForecast) -> Window | None:
    """The medians of a block's bloom, None without any."""
    stages = ((stage, block.stages.get(stage)) for stage in BLOOM_STAGES)
    return {stage: told.median for stage, told in stages if told is not None and told.median} or None


def _ripening(block: BlockForecast, name: str, interval: float) -> Iterator[Entry]:
    """The day of veraison, and that of harvest, where the fit knows them."""
    for stage in RIPENING:
        told = block.stages.get(stage)
        if told is not None and told.median is not None:
            yield Entry(
                kind="stage",
                subject=f"{stage}/{block.block}",
                first_day=told.median,
                last_day=told.median,
                title=f"{sentence(name)}: {stage_words(stage)}",
                text="\n".join([_stage_line(stage, told, interval), "", taste_first()]),
            )


def _bloom(block: BlockForecast, name: str, window: Window, interval: float) -> Entry:
    first, last = min(window.values()), max(window.values())
    title = f"{sentence(name)}: bloom {_span(first, last)}"
    if "full_bloom" in window:
        title += f", full {in_words(window['full_bloom'])}"
    lines = [_stage_line(stage, told, interval) for stage, told in block.stages.items()]
    if block.basis == "pooled":
        lines.append(MOSTLY_POOLED)
    special = what_is_special(block)
    if special is not None:
        lines.append(special)
    return Entry(
        kind="bloom",
        subject=block.block,
        first_day=first,
        last_day=last,
        title=title,
        text="\n".join([*lines, "", caution_words(KeepToLabels())]),
    )


def _span(first: dt.date, last: dt.date) -> str:
    return in_words(first) if first == last else f"{in_words(first)} to {in_words(last)}"


def _stage_line(stage: str, told: StageForecast, interval: float) -> str:
    line = f"{sentence(stage_words(stage))} ({MEANINGS[stage]}): "
    if told.median is None:
        return f"{line}{status_words(stage, told)}, {percent(told.chance)} chance."
    line += in_words(told.median)
    if told.low is not None and told.high is not None:
        line += f", {percent(interval)} range {_span(told.low, told.high)}"
    elif told.low is not None:
        line += f", {percent(interval)} range from {in_words(told.low)} on"
    line += f"; {status_words(stage, told)}"
    return f"{line}, {percent(told.chance)} chance this season." if told.chance < 1 else f"{line}."


def _warnings(block: BlockPollination, name: str, window: Window) -> Iterator[Entry]:
    """One entry for each code and run of days that it is about: a block can have two warnings of one code."""
    bloom = min(window.values()), max(window.values())
    for code in dict.fromkeys(warning.code for warning in block.warnings):
        said = [warning for warning in block.warnings if warning.code == code]
        spans = dict.fromkeys(span for warning in said for span in warning.spans) or {bloom: None}
        runs = [f"{sentence(uncovered_words(run))}." for run in block.uncovered if run.span in spans]
        text = "\n\n".join([*map(_warning_text, said), *runs])
        how = "Past" if said[0].past else said[0].level.capitalize()
        title = f"{how}: {name}, {SHORT[code]}"
        for place, (first_day, last_day) in enumerate(spans):
            yield Entry(
                kind="warning",
                subject=f"{code}/{block.block}" + (f"/{place + 1}" if place else ""),
                first_day=first_day,
                last_day=last_day,
                title=title,
                text=text,
            )


def _warning_text(warning: PollenWarning) -> str:
    level = "past" if warning.past else warning.level
    return f"{warning_words(warning)}\nLevel: {level}. Chance: {percent(warning.chance)}."
