"""Where a request comes from, and under which address it was sent: told by headers, so read with care."""

from __future__ import annotations

import ipaddress
import re
from functools import lru_cache
from urllib.parse import urlsplit

from fastapi import HTTPException, Request


@lru_cache(256)  # asked twice with every request
def is_loopback(host: str | None) -> bool:
    """Whether a host name or address means this machine."""
    if host is None:
        return False
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return host == "localhost"
    mapped = getattr(address, "ipv4_mapped", None)  # ::ffff:127.0.0.1, as dual-stack sockets tell it
    return (mapped or address).is_loopback


def host_in(address: str) -> str | None:
    """The host of an address, without its port; None where it cannot be read."""
    try:
        return urlsplit(address).hostname
    except ValueError:
        return None


def cookie_name(request: Request) -> str:
    """The cookie of a browser's token; under TLS no other host and no plain connection can set it (RFC 6265bis)."""
    return "__Host-capfall" if request.scope["scheme"] == "https" else "capfall"


def own_address(request: Request) -> str:
    """Scheme and host under which the service was asked, for addresses that are handed on.

    Raises
    ------
    HTTPException
        400 if the request tells no host.
    """
    host = request.headers.get("host", "")
    if not re.fullmatch(r"(\[[\da-fA-F:.]+\]|[\w.-]+)(:\d{1,5})?", host):
        raise HTTPException(400, "the Host header cannot be read")
    return f"{request.scope['scheme']}://{host}"


def check_own_page(request: Request) -> None:
    """Refuse what the page of another site has sent: a browser adds its cookies there too.

    Raises
    ------
    HTTPException
        403, also if the browser does not tell where the request comes from.
    """
    site = request.headers.get("sec-fetch-site")
    origin = request.headers.get("origin", "")
    own = (
        origin.partition("://")[2] == request.headers.get("host")
        if site is None
        else site in ("same-origin", "none")
    )
    if not own:
        raise HTTPException(
            403, "this was sent from a page of another site; send it from the service's own page"
        )
