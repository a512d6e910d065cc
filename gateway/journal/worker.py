"""A thread for what may have to wait for a disk: calls are made there one after the other, and awaited by tasks."""

import asyncio
import threading
from collections.abc import Callable
from concurrent.futures import Future
from functools import partial
from queue import SimpleQueue
from typing import ParamSpec, TypeVar

from gateway.groundwork.own_thread import give_answer

_P = ParamSpec("_P")
_T = TypeVar("_T")


class Worker:
    """Runs calls in one thread, in their order.

    The thread is a daemon: a disk that never answers must not keep the gateway from stopping.
    """

    def __init__(self, name: str) -> None:
        self._calls: SimpleQueue[Callable[[], None] | None] = SimpleQueue()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        """Start the thread, unless it was started."""
        if not self._thread.is_alive():
            self._thread.start()

    async def call(self, function: Callable[_P, _T], *arguments: _P.args, **more: _P.kwargs) -> _T:
        """What `function` returns or raises in the thread. Cancelled, a call that has begun goes on there."""
        answer: Future[_T] = Future()

        def call() -> None:
            if answer.set_running_or_notify_cancel():
                give_answer(answer, partial(function, *arguments, **more))

        self._calls.put(call)
        return await asyncio.wrap_future(answer)

    def end(self, last: Callable[[], None]) -> None:
        """Make one more call, which nobody awaits, and end the thread. Does not wait."""
        self._calls.put(last)
        self._calls.put(None)

    def _run(self) -> None:
        while (call := self._calls.get()) is not None:
            call()
            del call  # what it holds must not live until the next one
