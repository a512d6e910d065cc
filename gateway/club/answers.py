"""How to wait for an answer of the engine: a question is asked again while none has come.

While its servers lose one another, or one that led is lost, the engine says nothing at all to some requests: they are
gone, and no answer comes however long one waits. Who waits for them takes the lease late. So a question is asked again
while no answer to it has come; and what changes something, but nothing that could be lost, is given up sooner.
"""

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any, TypeVar

from gateway.club.engine import ANSWER_SECONDS
from gateway.club.together import end

AGAIN_SECONDS = 0.5
"""An answer takes milliseconds; on a busy computer it may take longer than this."""

_Answer = TypeVar("_Answer")


async def first_answer(ask: Callable[[], Coroutine[Any, Any, _Answer]]) -> _Answer:
    """The answer to what only asks. It is asked again and again, and the first answer to any of them counts.

    Raises what the first one raises that ends so: `EngineUnansweredError` when its time is over,
    and no answer came at that very moment.
    """
    tasks: list[asyncio.Task[_Answer]] = []
    try:
        while True:
            tasks.append(asyncio.create_task(ask()))
            done, _ = await asyncio.wait(tasks, timeout=AGAIN_SECONDS, return_when=asyncio.FIRST_COMPLETED)
            if done:
                return min(done, key=_failed).result()
    finally:
        await end(tasks)
        for task in tasks:
            _ = task.cancelled() or task.exception()  # nobody else asks how it ended


def _failed(task: "asyncio.Task[_Answer]") -> bool:
    return task.exception() is not None


class AnswerTime:
    """How long to wait for what changes something, before it is tried again: a little, and each time longer."""

    def __init__(self) -> None:
        self.seconds = AGAIN_SECONDS

    def answered(self) -> None:
        """An answer came."""
        self.seconds = AGAIN_SECONDS

    def unanswered(self) -> None:
        """None came: wait twice as long next time, up to what every request is given."""
        self.seconds = min(2 * self.seconds, ANSWER_SECONDS)
