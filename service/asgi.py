"""The service for a server that runs several workers: ``uvicorn service.asgi:app --workers 2``."""

from __future__ import annotations

from logging.config import dictConfig

from service import logs
from service.loading import for_good
from service.settings import Settings

dictConfig(logs.config())
with for_good():
    from service.app import create_app

    app = create_app(Settings())
