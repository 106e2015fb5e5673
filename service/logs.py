"""What the service writes to its log: JSON lines, each with the request that it belongs to.

No line holds a key, an address with its query, or what stands in a request: a request is told by its route's template,
an error by its kind and where it was raised, without its message.
"""

from __future__ import annotations

import json
import logging
import sys
import traceback
from contextvars import ContextVar
from typing import Any

from service import clock

REQUEST: ContextVar[str | None] = ContextVar("request", default=None)
"""The id of the request at work."""


class JsonLines(logging.Formatter):
    """One JSON object a record; ``extra={"told": {...}}`` adds fields."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        told: dict[str, Any] = {
            "at": clock.now().isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        if (request := REQUEST.get()) is not None:
            told["request"] = request
        told |= getattr(record, "told", {})
        if record.exc_info and record.exc_info[0] is not None:
            told["error"] = record.exc_info[0].__qualname__
            told["trace"] = [
                f"{frame.filename}:{frame.lineno} {frame.name}"
                for frame in traceback.extract_tb(record.exc_info[2])
            ]
        return json.dumps(told, ensure_ascii=False)


class Text(JsonLines):
    """The same for somebody who sits before the terminal."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        told = json.loads(super().format(record))
        rest = [
            str(value) for name, value in told.items() if name not in ("at", "level", "logger", "request")
        ]
        return f"{told['at'][11:19]} {told['level']:<8}{' '.join(rest)}"


def config() -> dict[str, Any]:
    """For `logging.config.dictConfig`: all to standard error; as plain text where that is a terminal.

    The server's own log of requests is off: it would write whole addresses, keys in them included.
    """
    on_terminal = sys.stderr.isatty()
    bare: dict[str, Any] = {"handlers": [], "propagate": True}
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"line": {"()": Text if on_terminal else JsonLines}},
        "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
        "root": {"handlers": ["stderr"], "level": "WARNING"},
        "loggers": {
            "service": {"level": "INFO"},
            "uvicorn": {**bare, "level": "INFO"},
            "uvicorn.error": {**bare, "level": "INFO"},
            "uvicorn.access": {"handlers": [], "propagate": False, "level": "CRITICAL"},
        },
    }
