"""Who is asking. Open access knows one grower, ``local``, and serves only the machine that it runs on."""

from __future__ import annotations

import ipaddress
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import Depends, HTTPException, Request

LOCAL_GROWER = "local"


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


def grower(request: Request) -> str:
    """The grower who sent this request.

    Raises
    ------
    HTTPException
        403 if open access is asked for from elsewhere, 401 if a key is needed.
    """
    if request.app.state.settings.access != "open":
        raise HTTPException(401, "a key is needed", {"WWW-Authenticate": "Bearer"})
    # The client's address keeps other machines out; Host and Origin keep out the page of a foreign site that
    # is open in a browser on this machine.
    origin = request.headers.get("origin")
    asked_of = [request.client.host if request.client else None, request.url.hostname]
    if origin is not None:
        asked_of.append(urlsplit(origin).hostname)
    if not all(is_loopback(host) for host in asked_of):
        raise HTTPException(403, "open access serves only the machine that the service runs on")
    return LOCAL_GROWER


Grower = Annotated[str, Depends(grower)]
