"""What the service notes: one line a request, and what went wrong, on standard error.

`plain` is for eyes, `json` for whatever gathers logs: the same facts, each by its name.
"""

import logging
import logging.config
from typing import Literal

from app.shared.numbered import REQUEST_ID

_PLAIN = "%(asctime)s %(levelname)s %(request)s %(message)s"


class Numbered(logging.Filter):
    """Says in each line which request it is about."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Let every line through, with its request."""
        record.request = REQUEST_ID.get()
        # The server's own message once more, with codes for a terminal.
        record.__dict__.pop("color_message", None)
        return True


def set_up(form: Literal["plain", "json"]) -> None:
    """Send what this service and its server note to standard error."""
    formatters = {
        "plain": {"format": _PLAIN},
        "json": {
            "()": "pythonjsonlogger.json.JsonFormatter",
            "format": "{asctime}{levelname}{name}{request}{message}",
            "style": "{",
            "rename_fields": {"asctime": "at", "levelname": "level"},
        },
    }
    logging.config.dictConfig({
        "version": 1,
        "disable_existing_loggers": False,
        "filters": {"numbered": {"()": Numbered}},
        "formatters": formatters,
        "handlers": {
            "err": {
                "class": "logging.StreamHandler",
                "formatter": form,
                "filters": ["numbered"],
            },
        },
        "loggers": {
            name: {"handlers": ["err"], "level": "INFO", "propagate": False}
            for name in ("jutebook", "uvicorn")
        }
        # The porter notes each request, with its number.
        | {"uvicorn.access": {"level": "WARNING"}},
    })  # fmt: skip
