"""What the event loop has to say of sockets and callbacks that failed: said once a minute, however often it comes.

A process without a free descriptor fails at every connection that waits, many times a second, and each would be logged.
"""

import asyncio
import errno
import time
from collections.abc import Callable

import structlog

from gateway.groundwork.log import where

SAY_SECONDS = 60.0

_NONE_LEFT = frozenset({errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM})

_log = structlog.get_logger("stile")


class LoopFaults:
    """A handler for `loop.set_exception_handler`."""

    def __init__(self, seconds: Callable[[], float] = time.monotonic) -> None:
        self._seconds = seconds
        self._said_at: dict[str, float] = {}
        self._unsaid: dict[str, int] = {}

    def __call__(self, _loop: asyncio.AbstractEventLoop, context: dict[str, object]) -> None:
        """Say what happened, and how often it did since that was last said. What it quotes is left out."""
        error = context.get("exception")
        if isinstance(error, OSError) and error.errno in _NONE_LEFT:
            what = "the system has no more descriptors or memory for connections: see `ulimit -n`, and who connects"
        else:
            what = "a fault of the gateway's own in a callback"
        now = self._seconds()
        if now - self._said_at.get(what, float("-inf")) < SAY_SECONDS:
            self._unsaid[what] = self._unsaid.get(what, 0) + 1
            return
        self._said_at[what] = now
        place = where(error) if isinstance(error, BaseException) else "unknown"
        _log.error(what, error=type(error).__name__, where=place, before=self._unsaid.pop(what, 0))
