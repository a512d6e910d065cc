"""Tasks that are to live on: whichever way one ends before its time, that ends what it belongs to."""

import asyncio
from collections.abc import Callable

import pytest

from gateway.groundwork.kept_tasks import KeptTasks, TaskEndedError, kept_tasks


async def for_ever() -> None:
    await asyncio.Event().wait()


async def nothing() -> None:
    pass


async def trouble() -> None:
    raise ZeroDivisionError


def cancelled(tasks: KeptTasks) -> None:
    tasks.keep(for_ever(), "worker").cancel()


def returned(tasks: KeptTasks) -> None:
    tasks.keep(nothing(), "worker")


def failed(tasks: KeptTasks) -> None:
    tasks.keep(trouble(), "worker")


@pytest.mark.parametrize(
    ("way", "fault"),
    [
        (cancelled, TaskEndedError("worker was cancelled")),
        (returned, TaskEndedError("worker came to an end")),
        (failed, ZeroDivisionError()),
    ],
)
async def test_one_that_ends_before_its_time_ends_all_and_is_alone_to_blame(
    way: Callable[[KeptTasks], None], fault: Exception
) -> None:
    async def whole() -> None:
        async with kept_tasks() as tasks:
            tasks.keep(for_ever(), "another")
            way(tasks)
            await for_ever()

    with pytest.raises(ExceptionGroup) as raised:
        await whole()
    assert [repr(error) for error in raised.value.exceptions] == [repr(fault)]


async def test_one_that_may_return_may_not_be_cancelled() -> None:
    async with kept_tasks() as tasks:
        tasks.keep(nothing(), "worker", may_return=True)
        await asyncio.sleep(0)

    async def whole() -> None:
        async with kept_tasks() as tasks:
            tasks.keep(for_ever(), "worker", may_return=True).cancel()
            await for_ever()

    with pytest.raises(ExceptionGroup, match="unhandled"):
        await whole()


async def test_leaving_ends_them_all_in_peace() -> None:
    async with kept_tasks() as tasks:
        worker = tasks.keep(for_ever(), "worker")
        await asyncio.sleep(0)
    assert worker.cancelled()


async def test_after_the_release_they_end_as_they_like() -> None:
    async with kept_tasks() as tasks:
        worker = tasks.keep(for_ever(), "worker")
        tasks.release()
        worker.cancel()
        await asyncio.gather(worker, return_exceptions=True)


async def test_whoever_cancels_the_whole_is_obeyed() -> None:
    async def whole() -> None:
        async with kept_tasks() as tasks:
            tasks.keep(for_ever(), "worker")
            await for_ever()

    task = asyncio.create_task(whole())
    await asyncio.sleep(0)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
