"""The log: a line an event, readable as text or one JSON object, the time first. No text can break out of its field.

Whatever the libraries say through `logging`, and faults that Python itself would print, come the same way.
"""

import contextlib
import logging
import os
import sys
import threading
import time
import traceback
from collections.abc import Callable, Iterator, Mapping, MutableMapping
from enum import StrEnum
from typing import TextIO

import structlog
from structlog.typing import Processor

from gateway.groundwork.log_writer import LogWriter
from gateway.groundwork.printable import printable

MAXIMUM_VALUE = 500
"""Characters of one field."""

STANDARD_ERROR = 2
"""Its file descriptor (POSIX)."""

CLOSE_SECONDS = 1.0
"""How long the last lines are waited for at the end."""


class LogForm(StrEnum):
    """How a line of the log is written."""

    TEXT = "text"
    JSON = "json"


def escape_fields(_: object, __: str, event: MutableMapping[str, object]) -> MutableMapping[str, object]:
    """Escape every field of a log event (a structlog processor)."""
    return {key: printable(value, MAXIMUM_VALUE) if isinstance(value, str) else value for key, value in event.items()}


def time_first(_: object, __: str, event: MutableMapping[str, object]) -> MutableMapping[str, object]:
    """Put time, level and event before the fields (a structlog processor)."""
    return {**{key: event[key] for key in ("time", "level", "event") if key in event}, **event}


@contextlib.contextmanager
def opened(form: LogForm | None = None, environment: Mapping[str, str] = os.environ) -> Iterator[LogWriter]:
    """Log to standard error, without ever waiting for it but for the last lines.

    The form is text on a terminal and JSON elsewhere, unless it is given. Colours come on a terminal only, and not
    where `NO_COLOR` is set and not empty (no-color.org).
    """
    _hold_standard_descriptors()
    terminal = os.isatty(STANDARD_ERROR)
    form = form or (LogForm.TEXT if terminal else LogForm.JSON)
    processors = processors_for(form, colours=terminal and not environment.get("NO_COLOR"))
    writer = LogWriter(STANDARD_ERROR, _now_ms, lambda lost: _loss(processors, lost))
    writer.start()
    configure(processors, writer)
    _take_in_the_rest()
    try:
        yield writer
    finally:
        writer.close(CLOSE_SECONDS)


def processors_for(form: LogForm, *, colours: bool = False) -> list[Processor]:
    """What makes a line of an event, step by step."""
    render: Processor = (
        structlog.dev.ConsoleRenderer(colors=colours, timestamp_key="time")
        if form is LogForm.TEXT
        else structlog.processors.JSONRenderer()
    )
    return [
        structlog.contextvars.merge_contextvars,
        structlog.processors.add_log_level,
        escape_fields,
        structlog.processors.TimeStamper(fmt="iso", utc=True, key="time"),
        time_first,
        render,
    ]


def configure(processors: list[Processor], to: LogWriter | TextIO) -> None:
    """Let every logger make its lines so, and write them there."""
    structlog.configure(
        processors=processors,
        wrapper_class=structlog.make_filtering_bound_logger("info"),
        logger_factory=structlog.WriteLoggerFactory(to),  # type: ignore[arg-type] # it asks for write and flush alone
        cache_logger_on_first_use=True,
    )


def say_fatal(error: BaseException) -> None:
    """The last words of a gateway that ends by a fault of its own; a group of faults is told one by one."""
    faults = error.exceptions if isinstance(error, BaseExceptionGroup) else [error]
    for fault in faults:
        structlog.get_logger("stile").error(
            "ended by a fault of the gateway's own", error=type(fault).__name__, where=where(fault)
        )


def where(error: BaseException) -> str:
    """The place in the code that an error came from. Its message stays out: it may hold text from the air."""
    places = traceback.extract_tb(error.__traceback__)
    return f"{places[-1].name}, line {places[-1].lineno}" if places else "unknown"


def _loss(processors: list[Processor], lost: int) -> str:
    """The line that says that others were lost."""
    event: object = {"event": "lines of the log were lost: nobody read them, or there was no room", "count": lost}
    for processor in processors:
        event = processor(None, "warning", event)  # type: ignore[arg-type] # a mapping until the last, which renders it
    return f"{event!s}\n"


def _hold_standard_descriptors() -> None:
    """Where one of the three is closed, the next socket would get its number, and the log would go to strangers."""
    for descriptor in range(STANDARD_ERROR + 1):
        try:
            os.fstat(descriptor)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # POSIX gives the lowest number that is free: this one


class _LibraryHandler(logging.Handler):
    """Hands on what a library logs, as a field: never its traceback, which may hold text from strangers."""

    def emit(self, record: logging.LogRecord) -> None:
        log = structlog.get_logger(record.name)
        error = record.exc_info[1] if record.exc_info else None
        fault = {} if error is None else {"error": type(error).__name__, "where": where(error)}
        say: Callable[..., object] = log.error if record.levelno >= logging.ERROR else log.warning
        say("a library says", library=record.name, text=record.getMessage(), **fault)


def _take_in_the_rest() -> None:
    """Python prints these to standard error by itself, and would wait there for ever."""
    logging.basicConfig(level=logging.WARNING, handlers=[_LibraryHandler()], force=True)
    log = structlog.get_logger("stile")

    def fault(kind: str, error: BaseException | None) -> None:
        if error is not None:
            log.error("a fault of the gateway's own", kind=kind, error=type(error).__name__, where=where(error))

    sys.unraisablehook = lambda fact: fault("outside any call", fact.exc_value)
    threading.excepthook = lambda fact: fault("in a thread", fact.exc_value)


def _now_ms() -> int:
    return time.time_ns() // 1_000_000
