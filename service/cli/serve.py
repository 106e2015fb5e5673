"""The command that runs the service."""

from __future__ import annotations

from typing import Annotated

import typer

from service import logs
from service.cli.parts import refuse, told_plainly
from service.settings import Settings
from service.web.access import is_loopback

LONGEST_STOP_SECONDS = 5  # for requests under way; one that is only half sent may never end [s]


def serve(
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535)] = 8000,
) -> None:
    """Run the service. Settings come from CAPFALL_* variables; data are kept in capfall.db by default."""
    import uvicorn  # with the whole service behind it, which no other command needs

    from service.app import create_app

    with told_plainly():
        settings = Settings()
        if settings.access == "open" and not is_loopback(host):
            refuse(
                f"open access serves only the machine it runs on, so not on {host}: "
                "leave --host out, or set CAPFALL_ACCESS=keys"
            )
        made = create_app(settings)
    uvicorn.run(
        made,
        host=host,
        port=port,
        log_config=logs.config(),
        timeout_graceful_shutdown=LONGEST_STOP_SECONDS,
    )
