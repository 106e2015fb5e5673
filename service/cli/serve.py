"""The command that runs the service."""

from __future__ import annotations

import errno
import socket
import ssl
from pathlib import Path
from typing import Annotated, Any

import typer

from service import logs
from service.cli.parts import opened_store, refuse, told_plainly
from service.loading import for_good
from service.settings import Settings
from service.web.origins import is_loopback

LONGEST_STOP_SECONDS = 5  # for requests under way; one that is only half sent may never end [s]


def _file(words: str) -> Any:
    return typer.Option(help=words, exists=True, dir_okay=False, readable=True)


def serve(
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535)] = 8000,
    tls_cert: Annotated[
        Path | None, _file("The certificate, with those between it and the root, as PEM.")
    ] = None,
    tls_key: Annotated[Path | None, _file("The certificate's private key, as PEM.")] = None,
) -> None:
    """Run the service. Settings come from CAPFALL_* variables; data are kept in capfall.db by default."""
    with for_good():  # the whole service, which no other command needs
        import uvicorn

        from service.app import create_app

    with told_plainly():
        settings = Settings()
        if settings.access == "open" and not is_loopback(host):
            refuse(
                f"open access serves only the machine it runs on, so not on {host}: "
                "leave --host out, or set CAPFALL_ACCESS=keys and make keys with capfall key add"
            )
        if (tls_cert is None) != (tls_key is None):
            refuse("give --tls-cert and --tls-key together")
        if tls_cert is not None and tls_key is not None:
            _check_certificate(tls_cert, tls_key)
        _check_free(host, port)
        made = create_app(settings)
        if settings.access == "keys":
            _say_what_lacks(host, tls=tls_cert is not None)
    uvicorn.run(
        made,
        host=host,
        port=port,
        ssl_certfile=tls_cert,
        ssl_keyfile=tls_key,
        proxy_headers=False,  # the app itself decides which proxies it believes
        log_config=logs.config(),
        timeout_graceful_shutdown=LONGEST_STOP_SECONDS,
    )


def _check_free(host: str, port: int) -> None:
    """Say it here where the port cannot be had: later, the log of the service would."""
    for family, kind, protocol, _, address in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM):
        with socket.socket(family, kind, protocol) as tried:
            tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                tried.bind(address)
            except OSError as error:
                if error.errno == errno.EADDRINUSE:
                    refuse(
                        f"port {port} on {host} is taken: end what listens there, or choose another one with --port"
                    )
                refuse(f"{host} cannot be listened on at port {port}: {error.strerror}")


def _check_certificate(cert: Path, key: Path) -> None:
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(cert, key)
    except OSError as error:  # ssl's errors are such
        refuse(f"{cert} and {key} are no certificate and its private key, as PEM: {error}")


def _say_what_lacks(host: str, *, tls: bool) -> None:
    with opened_store(begins=True) as store, store.access(read_only=True) as access:
        if not access.all_keys():
            typer.echo("Nobody has a key yet: make one with capfall grower add and capfall key add")
    if not tls and not is_loopback(host):
        typer.echo(
            "Keys travel unencrypted: give --tls-cert and --tls-key, or listen on 127.0.0.1 behind a reverse proxy"
        )
