"""A thread for what may have to wait: in order, awaited, and never in the way of a stop."""

import asyncio
import threading
from collections.abc import AsyncIterator

import pytest

from gateway.journal.worker import Worker


@pytest.fixture
async def worker() -> AsyncIterator[Worker]:
    worker = Worker("test")
    worker.start()
    yield worker
    worker.end(lambda: None)


async def test_calls_run_in_one_thread_in_their_order(worker: Worker) -> None:
    seen: list[tuple[int, str]] = []

    def note(number: int) -> None:
        seen.append((number, threading.current_thread().name))

    async with asyncio.TaskGroup() as tasks:
        for number in range(5):
            tasks.create_task(worker.call(note, number))
    assert seen == [(number, "test") for number in range(5)]


async def test_what_a_call_returns_or_raises_comes_back(worker: Worker) -> None:
    assert await worker.call(divmod, 7, 2) == (3, 1)
    with pytest.raises(ZeroDivisionError):
        await worker.call(divmod, 7, 0)
    assert await worker.call(divmod, 9, 2) == (4, 1)


async def test_a_call_that_is_cancelled_before_its_turn_is_never_made(worker: Worker) -> None:
    go_on = threading.Event()
    made: list[str] = []
    first = asyncio.create_task(worker.call(go_on.wait))
    second = asyncio.create_task(worker.call(made.append, "second"))
    await asyncio.sleep(0)
    second.cancel()
    await asyncio.wait([second])
    go_on.set()
    assert await first is True
    await worker.call(made.append, "third")
    assert made == ["third"]


async def test_a_call_that_has_begun_goes_on_though_nobody_waits_for_it(worker: Worker) -> None:
    has_begun, go_on = threading.Event(), threading.Event()
    done: list[bool] = []

    def work() -> None:
        has_begun.set()
        done.append(go_on.wait())

    task = asyncio.create_task(worker.call(work))
    await asyncio.to_thread(has_begun.wait)
    task.cancel()
    await asyncio.wait([task])
    go_on.set()
    await worker.call(lambda: None)
    assert done == [True]


async def test_it_ends_with_one_last_call_and_keeps_no_process_alive() -> None:
    worker = Worker("test")
    worker.start()
    ended = threading.Event()
    worker.end(ended.set)
    assert await asyncio.to_thread(ended.wait, 10)
    assert worker._thread.daemon  # noqa: SLF001 - what a stuck disk cannot be made to show
    await asyncio.to_thread(worker._thread.join, 10)  # noqa: SLF001
    assert not worker._thread.is_alive()  # noqa: SLF001
