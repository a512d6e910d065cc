"""The log: readable on a terminal, one JSON object a line otherwise. No text can break out of its field or its line."""

import sys
from collections.abc import MutableMapping
from typing import TextIO

import structlog

from gateway.printable import printable

MAXIMUM_VALUE = 500
"""Characters of one field."""


def escape_fields(_: object, __: str, event: MutableMapping[str, object]) -> MutableMapping[str, object]:
    """Escape every field of a log event (a structlog processor)."""
    return {key: printable(value, MAXIMUM_VALUE) if isinstance(value, str) else value for key, value in event.items()}


def configure(stream: TextIO | None = None) -> None:
    """Log to `stream`, the standard error stream where none is given."""
    to = stream or sys.stderr
    terminal = to.isatty()
    renderer: structlog.typing.Processor = (
        structlog.dev.ConsoleRenderer(colors=terminal) if terminal else structlog.processors.JSONRenderer()
    )
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            escape_fields,
            structlog.processors.TimeStamper(fmt="iso", utc=True, key="time"),
            renderer,
        ],
        wrapper_class=structlog.make_filtering_bound_logger("info"),
        logger_factory=structlog.PrintLoggerFactory(to),
        cache_logger_on_first_use=True,
    )
