"""A call that may block for long, in a thread that nobody waits for."""

import asyncio
import errno
import threading
from collections.abc import Callable
from concurrent.futures import Future
from functools import partial
from typing import ParamSpec, TypeVar

_P = ParamSpec("_P")
_T = TypeVar("_T")


async def in_own_thread(function: Callable[_P, _T], *arguments: _P.args, **more: _P.kwargs) -> _T:
    """What `function` returns or raises. Raises `OSError` where the system has no thread left.

    A call that blocks cannot be cancelled, and the event loop waits at its end for the threads of its own: a stop would
    wait for a resolver's last time-out. So a thread is taken that ends by itself; cancelled, the call goes on in it,
    and nobody hears how it ended.
    """
    answer: Future[_T] = Future()
    answer.set_running_or_notify_cancel()
    call = partial(function, *arguments, **more)
    try:
        threading.Thread(target=give_answer, args=(answer, call), name="own thread", daemon=True).start()
    except RuntimeError:
        raise OSError(errno.EAGAIN, "the system has no thread left") from None
    return await asyncio.wrap_future(answer)


def give_answer(answer: Future[_T], call: Callable[[], _T]) -> None:
    """Give what the call returns, or raises, to whoever awaits the answer."""
    try:
        answer.set_result(call())
    except BaseException as error:  # noqa: BLE001 - it is raised where the call is awaited
        answer.set_exception(error)


class FewThreads:
    """Calls in threads of their own, so many at once: one that nobody waits for any longer keeps its place."""

    def __init__(self, at_once: int) -> None:
        self._places = asyncio.Semaphore(at_once)

    async def call(self, function: Callable[[], _T]) -> _T:
        """What `function` returns or raises, once there is a place for it. Raises `OSError` as `in_own_thread` does."""
        loop = asyncio.get_running_loop()
        await self._places.acquire()
        has_begun = False

        def call() -> _T:
            nonlocal has_begun
            has_begun = True
            try:
                return function()
            finally:
                loop.call_soon_threadsafe(self._places.release)

        try:
            return await in_own_thread(call)
        except OSError:
            if not has_begun:  # no thread was left
                self._places.release()
            raise
