"""What is printed of one vineyard's season, by the demo and by the report."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.console import Console, RenderableType

from service.cli import tables
from service.usecases.cautions import cautions_of
from service.usecases.fit_documents import SavedFit
from service.usecases.forecasts import VineyardForecast
from service.usecases.frost import look_for_frost
from service.usecases.pollen import VineyardPollination
from service.words.cautions import caution_texts


def print_loaded(out: Console, texts: Sequence[str]) -> None:
    """What the files held."""
    out.print(tables.heading("What was read"))
    _print_each(out, tables.points(texts))


def print_season(
    out: Console,
    fit: SavedFit,
    foreseen: VineyardForecast,
    pollination: VineyardPollination,
    *,
    us: bool,
) -> None:
    """Thresholds, bloom windows, pollen, frost and cautions."""
    out.print(tables.heading("Thresholds"))
    _print_each(out, tables.points(tables.fit_points(fit, us=us)))
    out.print(tables.heading("Bloom windows"))
    out.print(tables.windows(foreseen, us=us))
    _print_each(out, tables.points(tables.unknown_points(foreseen)))
    out.print(tables.heading("Pollen"))
    _print_each(out, tables.warnings(foreseen, pollination))
    frost = look_for_frost(foreseen)
    out.print(tables.heading("Frost"))
    _print_each(out, tables.points(tables.frost_points(frost, us=us)))
    out.print(tables.heading("Cautions"))
    _print_each(out, tables.points(caution_texts(cautions_of(foreseen, pollen=pollination, frost=frost))))


def _print_each(out: Console, parts: Iterable[RenderableType]) -> None:
    for part in parts:
        out.print(part)
