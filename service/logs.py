"""Logs: one JSON object a line, on standard error."""

import datetime as dt
import json
import logging
import sys
from typing import Any, Final

LOG: Final = logging.getLogger("cuttable.service")


class JsonLines(logging.Formatter):
    """Formats a record as one line of JSON; ``told`` of it holds named values."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        at = dt.datetime.fromtimestamp(record.created, dt.UTC).isoformat(timespec="milliseconds")
        content: dict[str, Any] = {"at": at, "level": record.levelname.lower()}
        told: dict[str, Any] | None = getattr(record, "told", None)
        content |= {"text": record.getMessage()} if told is None else told
        if record.exc_info:
            content["fault"] = self.formatException(record.exc_info)
        return json.dumps(content, default=str)


def log_as_json(level: int = logging.INFO) -> None:
    """Send what the service and its server log to standard error as JSON."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines())
    for name in ("cuttable.service", "uvicorn.error"):
        logger = logging.getLogger(name)
        logger.handlers, logger.propagate = [handler], False
        logger.setLevel(level if name.startswith("cuttable") else max(level, logging.WARNING))
