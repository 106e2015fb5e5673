"""Fits, forecasts and warnings as text for a terminal, no wider than 100 columns."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from models.bloom.forecast import StageForecast
from models.bloom.set_aside import SetAside
from models.heat.gaps import Gap
from models.units import fahrenheit_days_from_celsius_days, fahrenheit_from_celsius
from service.ingest.report import counted
from service.ingest.temperatures import ReadTemperatures
from service.usecases.fit_documents import SavedFit
from service.usecases.forecasts import VineyardForecast
from service.usecases.frost import VineyardFrost
from service.usecases.pollen import VineyardPollination
from service.words.forecast import what_is_special, why_none
from service.words.heat_rules import rule_words, why_chosen
from service.words.plain import in_words, percent
from service.words.pollen import cover_words
from service.words.pollen_warnings import warning_words
from service.words.set_aside import why_set_aside

WIDEST = 100  # columns
MOST_GAPS_LISTED = 6
MOST_SLIPS_LISTED = 6
LEVEL_STYLES = {"act": "bold red", "watch": "yellow"}


def console(*, errors: bool = False) -> Console:
    """A console of at most 100 columns, as wide as that when its output goes to a file."""
    found = Console(stderr=errors, highlight=False)
    return Console(
        stderr=errors, highlight=False, width=min(WIDEST, found.width) if found.is_terminal else WIDEST
    )


def heading(text: str) -> RenderableType:
    """A line above a part."""
    return Text(f"\n{text}", style="bold")


def points(texts: Iterable[str], style: str = "") -> Iterable[RenderableType]:
    """Texts as a list, wrapped."""
    for text in texts:
        table = Table.grid(padding=(0, 1))
        table.add_row("-", Text(text, style=style))
        yield Padding(table, (0, 0, 0, 2))


def weather_points(read: ReadTemperatures) -> list[str]:
    """What a file of temperatures held, and what was missing."""
    texts = [f"temperatures: {counted(read.rows_read, 'day')} from {read.first_date} to {read.last_date}"]
    texts += [f"temperatures: {warning}" for warning in read.warnings]
    if read.gaps:
        longest = sorted(read.gaps, key=lambda gap: -gap.days)[:MOST_GAPS_LISTED]
        listed = ", ".join(_gap(gap) for gap in sorted(longest, key=lambda gap: gap.first))
        more = f"; the {MOST_GAPS_LISTED} longest" if len(read.gaps) > MOST_GAPS_LISTED else ""
        texts.append(f"temperatures: {counted(len(read.gaps), 'gap')}{more}: {listed}")
    return texts


def _gap(gap: Gap) -> str:
    return f"{gap.first}" if gap.days == 1 else f"{gap.first} to {gap.last} ({gap.days} days)"


def fit_points(saved: SavedFit, *, us: bool) -> list[str]:
    """How heat is summed and why, which seasons were used, and what was set aside."""
    fit = saved.fit
    why = "as asked for" if saved.search is None else why_chosen(saved.search.why)
    texts = [
        f"heat: {rule_words(fit.rule, us=us)}",
        f"chosen: {why}",
        f"fit {saved.id}: {counted(len(fit.cultivars), 'cultivar')}, {counted(len(fit.seasons), 'season')} "
        f"from {fit.seasons[0]} to {fit.seasons[-1]}",
    ]
    if saved.running_seasons:
        years = ", ".join(map(str, saved.running_seasons))
        texts.append(f"season {years} is not over: what was seen in it is left to its forecast")
    return [*texts, *set_aside_points(fit.set_aside)]


def set_aside_points(slips: Sequence[SetAside]) -> list[str]:
    """What a fit does not use; many of one season are told together."""
    by_season: dict[int, list[SetAside]] = defaultdict(list)
    for slip in slips:
        by_season[slip.season].append(slip)
    texts = []
    for season, group in sorted(by_season.items()):
        listed, many = group, ""
        if len(group) > MOST_SLIPS_LISTED:
            listed, many = group[:1], f"{len(group)} dates of "
        first = ", the first of them" if many else ""
        texts += [
            f"set aside: {many}{season}{first} {slip.block} {slip.stage}: {why_set_aside(slip)}"
            for slip in listed
        ]
    return texts


def windows(foreseen: VineyardForecast, *, us: bool) -> Table:
    """When every block reaches each stage: median, and the interval."""
    found = foreseen.forecast
    unit = "°F·day" if us else "°C·day"
    table = Table(width=WIDEST, title_justify="left", title_style="")
    table.title = (
        f"{foreseen.vineyard.key}, season {found.season}, as of {found.as_of}; "
        f"{found.interval * 100:g} % intervals; heat in {unit}"
    )
    table.add_column("block", no_wrap=True)
    table.add_column("cultivar", ratio=1)
    table.add_column("stage", no_wrap=True)
    table.add_column("median", no_wrap=True)
    table.add_column("interval", no_wrap=True)
    table.add_column("status", no_wrap=True)
    table.add_column("heat", justify="right", no_wrap=True)
    for block in found.blocks:
        cultivar = foreseen.vineyard.planting.cultivars[block.cultivar]
        rows = [_stage_cells(key, stage, us=us) for key, stage in block.stages.items()]
        rows = rows or [("no forecast", "", "", "", "")]
        kinds = [cultivar.name, f"{cultivar.flower_type}, {foreseen.basis(block)}"]
        for place in range(max(len(rows), len(kinds))):
            table.add_row(
                block.block if place == 0 else "",
                kinds[place] if place < len(kinds) else "",
                *(rows[place] if place < len(rows) else ()),
            )
        table.add_section()
    return table


def _stage_cells(key: str, stage: StageForecast, *, us: bool) -> tuple[str, ...]:
    heat = fahrenheit_days_from_celsius_days(stage.threshold) if us else stage.threshold
    return key, _day(stage.median), _interval(stage), stage.status, f"{heat:.0f}"


def unknown_points(foreseen: VineyardForecast) -> list[str]:
    """Why blocks have no forecast, once a cultivar, and what is special about a block."""
    blocks = foreseen.forecast.blocks
    said = list(dict.fromkeys(why for block in blocks if (why := why_none(block))))
    return said + [f"{block.block}: {told}" for block in blocks if (told := what_is_special(block))]


def frost_points(found: VineyardFrost, *, us: bool) -> list[str]:
    """The chance of a frost night still to come before a bloom ends, and the nights that came after budbreak."""

    def degrees(celsius: float) -> str:
        return f"{fahrenheit_from_celsius(celsius):.0f} °F" if us else f"{celsius:.1f} °C"

    limit = degrees(found.limit_c)
    chances = {key: block.chance for key, block in found.blocks.items() if block.chance}
    texts = []
    if chances:
        worst = max(chances, key=lambda key: chances[key])
        texts.append(
            f"up to {percent(chances[worst])} chance of a night at or below {limit} before bloom ends ({worst})"
        )
    nights = {night.date: night.tmin_c for block in found.blocks.values() for night in block.frost_nights}
    texts += [f"frost night of {in_words(day)}: {degrees(tmin_c)}" for day, tmin_c in sorted(nights.items())]
    return texts or [f"no night at or below {limit} since budbreak, and none likely before bloom ends"]


def _day(day: dt.date | None) -> str:
    return "after the season" if day is None else in_words(day)


def _interval(stage: StageForecast) -> str:
    if stage.low is None:
        return "-"
    if stage.low == stage.high:
        return _day(stage.low)
    return f"{_day(stage.low)} - {_day(stage.high)}"


def warnings(foreseen: VineyardForecast, found: VineyardPollination) -> Iterable[RenderableType]:
    """Every pollen warning with its level, chance and message, and the blocks that have none."""
    safe = []
    for block in found.blocks:
        name = foreseen.vineyard.planting.cultivars[block.cultivar].name
        cover = cover_words(block.share_of_bloom_covered)
        if not block.warnings:
            safe.append(f"{block.block} ({name}): no warning, {cover}")
            continue
        yield Text(f"  {block.block} ({name}): {cover}", style="bold")
        for warning in block.warnings:
            table = Table.grid(padding=(0, 1))
            table.add_column(width=5)
            table.add_row(
                Text(warning.level, style=LEVEL_STYLES[warning.level]),
                Text(f"{warning.code}, chance {percent(warning.chance)}. {warning_words(warning)}"),
            )
            yield Padding(table, (0, 0, 0, 4))
    yield from points(safe)
