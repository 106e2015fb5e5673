"""What the commands share: options, days as they are typed, and refusals without a traceback."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import StrEnum
from typing import Annotated, Literal, NoReturn

import typer
from pydantic import ValidationError
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from models.errors import CapfallError
from service import clock
from service.cli import tables
from service.ingest.options import Confirm, ReadOptions
from service.settings import Settings
from service.store.engine import Store, sqlite_file
from service.store.errors import StoreError
from service.web.edge_words import for_command
from service.web.problems import located
from service.words.errors import Reader, error_words
from service.words.jobs import job_words

Interval = Annotated[float, typer.Option(help="Probability of the interval, above 0 and below 1.")]
UnitsOption = Annotated[Literal["metric", "us"], typer.Option(help="Units of what is printed.")]
GrowerOption = Annotated[str, typer.Option(help="Whose vineyard it is; local is whom open access serves.")]
CheckedEveryDays = Annotated[
    int | None,
    typer.Option(min=1, max=366, help="How often rows were looked at, unless the log says it."),
]
RowSpacing = Annotated[float | None, typer.Option(help="Between rows, for a planting by rows and vines.")]
VineSpacing = Annotated[float | None, typer.Option(help="Between vines, for a planting by rows and vines.")]
Csv = typer.Option(exists=True, dir_okay=False, readable=True)

SchedulerOption = Annotated[
    str | None, typer.Option(help="A Dask cluster, as in tcp://host:8786; by default this machine's cores.")
]


class ConfirmWord(StrEnum):
    """The words that override a check, as choices of an option."""

    UNITS = "units"
    DATES = "dates"
    LATITUDE = "latitude"


CONFIRMS: dict[ConfirmWord, Confirm] = {
    ConfirmWord.UNITS: "units",
    ConfirmWord.DATES: "dates",
    ConfirmWord.LATITUDE: "latitude",
}
ConfirmOption = Annotated[
    list[ConfirmWord] | None, typer.Option(help="What a refusal doubted and is right all the same.")
]

REFUSED = 2  # exit code for what cannot be done as asked


def day(text: str) -> dt.date:
    """A day as it is typed."""
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not a day; write it as 2026-05-20") from None


def read_options(
    date_format: str | None, confirm: list[ConfirmWord] | None, checked_every_days: int | None
) -> ReadOptions:
    """How files that are given today are to be read."""
    return ReadOptions(
        date_format=date_format,
        confirm=[CONFIRMS[word] for word in confirm or ()],
        sent_on=clock.today(),
        checked_every_days=checked_every_days,
    )


def refuse(*texts: str) -> NoReturn:
    """Say why, and end."""
    err = tables.console(errors=True)
    for text in texts:
        err.print(text, markup=False, soft_wrap=True)
    raise typer.Exit(REFUSED)


@contextmanager
def progress_of() -> Iterator[Callable[[float, str], None]]:
    """A bar that shows how far long work is; it is told a share from 0 to 1, and what the work is at."""
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TimeElapsedColumn(),
        console=tables.console(errors=True),
        transient=True,
    )
    with bar:
        shown = bar.add_task("starting", total=1.0)
        yield lambda share, message: bar.update(shown, completed=share, description=job_words(message))


@contextmanager
def opened_store(*, begins: bool = False) -> Iterator[Store]:
    """The service's store, its tables up to date; closed in the end.

    A database file that is not there is made only by a command that ``begins`` something: for others the folder is
    wrong.
    """
    url = Settings().database_url
    file = sqlite_file(url)
    if file is not None and not begins and not file.exists():
        refuse(
            f"there is no database {file}: run this in the folder of the service, or name the database by "
            "CAPFALL_DATABASE_URL"
        )
    store = Store(url)
    try:
        store.migrate()
        yield store
    finally:
        store.close()


@contextmanager
def told_plainly() -> Iterator[None]:
    """Say what was wrong, without a traceback."""
    try:
        yield
    except ValidationError as error:
        faults = error.errors(include_url=False)
        refuse(*(f"CAPFALL_{str(fault['loc'][0]).upper()}: {fault['msg']}" for fault in faults))
    except (CapfallError, StoreError) as error:
        refuse(
            for_command(error_words(error, Reader.TERMINAL)),
            *(for_command(f"  {fault.where}: {fault.problem}") for fault in located(error)),
        )
