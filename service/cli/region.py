"""The command that computes bloom over a region."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from models.errors import BadInput, Problem
from models.grid import region_question
from service.cli import tables
from service.cli.parts import Interval, SchedulerOption, progress_of, refuse, told_plainly
from service.cli.region_picture import draw_region
from service.settings import Settings
from service.store.engine import Store
from service.usecases.fit_documents import FitDocument, SavedFit
from service.usecases.fits import get_fit
from service.usecases.region import plan_region, run_region, write_region
from service.usecases.shared_fits import from_another_grower
from service.web.access import LOCAL_GROWER
from service.workers import workers_for

Grids = Annotated[list[Path], typer.Argument(help="NetCDF files or Zarr stores with CF names and units.")]


def region(
    grids: Grids,
    fit: Annotated[str, typer.Option(help="The fit's identifier, or the file of one that was shared.")],
    seasons: Annotated[str, typer.Option(help="A season, or the first and last one, as in 1996-2025.")],
    out: Annotated[Path, typer.Option(dir_okay=False, help="The NetCDF file to write.")],
    usual: Annotated[
        bool, typer.Option("--usual", help="Take the seasons together, as the usual weather.")
    ] = False,
    cultivars: Annotated[str | None, typer.Option(help="Split by commas; by default all of the fit.")] = None,
    outlasts: Annotated[
        list[str] | None,
        typer.Option(
            help="A pistillate cultivar and a pollen source, as in FEMALE:SOURCE; as often as needed."
        ),
    ] = None,
    interval: Interval = 0.8,
    picture: Annotated[Path | None, typer.Option(dir_okay=False, help="An SVG file to draw it in.")] = None,
    scheduler: SchedulerOption = None,
) -> None:
    """Compute when a fit's cultivars bloom in every cell of a grid of daily temperatures.

    Median and interval of each stage, and by how many days pistillate cultivars outlast sources. What was computed
    is kept until all is there: called again, the command goes on where it stopped.
    """
    with told_plainly():
        settings = Settings()
        saved = _fit(fit, settings)
        question = region_question(
            saved.fit,
            seasons=_seasons(seasons),
            usual=usual,
            cultivars=None if cultivars is None else [each.strip() for each in cultivars.split(",")],
            pairs=[_pair(each) for each in outlasts or ()],
            interval=interval,
        )
        task = plan_region(grids, question, out)
        with workers_for(scheduler or settings.scheduler) as workers, progress_of() as tell:
            there = run_region(task, workers, tell)
        if there:
            typer.echo(f"{there} of {len(task.tiles)} tiles were there already")
        write_region(task, out, about={"source": f"fit {saved.id}", "heat_rule": repr(saved.fit.rule)})
        if picture is not None:
            draw_region(out, picture)
    size = out.stat().st_size / 1e6
    tables.console().print(
        f"{out}: {len(question.cultivars)} cultivars, {size:.1f} MB", markup=False, highlight=False
    )


def _fit(told: str, settings: Settings) -> SavedFit:
    """The grower's own fit with this identifier, or the one in this file."""
    path = Path(told)
    if path.is_file():
        try:
            document = json.loads(path.read_bytes())
        except ValueError:
            raise BadInput("the fit cannot be read", [Problem(told, "is no JSON document")]) from None
        return from_another_grower(FitDocument.model_validate(document))
    store = Store(settings.database_url)
    try:
        store.migrate()
        with store.transaction(LOCAL_GROWER, read_only=True) as records:
            return get_fit(records, told)
    finally:
        store.close()


def _seasons(text: str) -> list[int]:
    first, _, last = text.partition("-")
    if not first.isdecimal() or not (last or first).isdecimal():
        refuse(f"--seasons: {text!r} is no season; write 2026 or 1996-2025")
    return list(range(int(first), int(last or first) + 1))


def _pair(text: str) -> tuple[str, str]:
    pistillate, _, source = text.partition(":")
    if not pistillate or not source:
        refuse(f"--outlasts: {text!r} are no two cultivars; write FEMALE:SOURCE")
    return pistillate, source
