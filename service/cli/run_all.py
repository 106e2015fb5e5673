"""The command that tells the news of every vineyard, by a timer."""

from __future__ import annotations

import typer
from rich.table import Table
from rich.text import Text

from service import clock
from service.cli import tables
from service.cli.parts import SchedulerOption, opened_store, progress_of, refuse, told_plainly
from service.feed.all_news import AllNews, ToldGrower, tell_all
from service.feed.news import Outcome
from service.settings import Settings
from service.workers import WorkersLost

OUTCOMES: dict[Outcome, str] = {
    "told": "told",
    "nothing_new": "nothing new",
    "no_forecast": "no forecast",
    "not_sent": "not sent",
    "failed": "failed",
}
NOT_ALL_TOLD = 1  # exit code


def run_all(scheduler: SchedulerOption = None) -> None:
    """Keep today's answer of every vineyard of every grower, and mail what is new in it.

    Once a day and vineyard, from 5 o'clock in its time zone, however often it is run: let a timer run it every hour.
    The exit code is 1 where a letter was not taken or a vineyard failed; these are due again with the next run.
    """
    with told_plainly(), opened_store():  # its tables are up to date before other processes open it
        settings = Settings()
        server = settings.mail_server()
        with progress_of() as tell:
            try:
                found = tell_all(
                    settings.database_url,
                    now=clock.now(),
                    server=server,
                    tell=tell,
                    scheduler=scheduler or settings.scheduler,
                )
            except WorkersLost:
                refuse(
                    "a process ended in the midst of the work, perhaps for want of memory; run it again: it goes on"
                )
    _print(found)
    if server is None and any(each.telling.news for each in found.told):
        typer.echo("no mail server is set (CAPFALL_MAIL_HOST): the news are kept, and were not mailed")
    if not found.is_well:
        raise typer.Exit(NOT_ALL_TOLD)


def _print(found: AllNews) -> None:
    out = tables.console()
    if found.told:
        table = Table("grower", "vineyard", "day", "", "news", "letters", "why", box=None)
        for each in found.told:
            table.add_row(*_row(each))
        out.print(table)
    counts = [
        f"{found.counts[outcome]:,} {word}" for outcome, word in OUTCOMES.items() if found.counts[outcome]
    ]
    told = ", ".join(counts) or "none told"
    out.print(Text(f"{told}; {found.not_due:,} not due"))


def _row(each: ToldGrower) -> tuple[str | Text, ...]:
    telling = each.telling
    style = "bold red" if telling.went_wrong else ""
    return (
        each.grower,
        telling.vineyard,
        str(telling.day),
        Text(OUTCOMES[telling.outcome], style=style),
        str(len(telling.news)),
        str(len(telling.sent_to)),
        Text("; ".join(telling.problems)),
    )
