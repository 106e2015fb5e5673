"""The command line: one file a command."""

from __future__ import annotations

import typer

from service.cli import backup, calendar, demo, grower, hindcast, key, report, scout, serve
from service.threads import use_one_thread

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


@app.callback()
def prepare() -> None:
    """When each grape cultivar blooms, and where pollen runs out before the flowers that need it."""
    use_one_thread()


for command in (
    demo.demo,
    serve.serve,
    report.report,
    calendar.calendar,
    scout.scout,
    hindcast.hindcast,
    backup.backup,
    backup.restore,
    backup.check,
):
    app.command()(command)

for group, name in ((key.app, "key"), (grower.app, "grower")):
    app.add_typer(group, name=name)
