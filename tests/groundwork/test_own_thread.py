import asyncio
import threading

import pytest

from gateway.groundwork.own_thread import in_own_thread

PATIENCE_SECONDS = 10


async def test_what_the_call_returns_is_returned() -> None:
    assert await in_own_thread(int, "ff", base=16) == 255


async def test_what_the_call_raises_is_raised() -> None:
    with pytest.raises(ValueError, match="invalid literal"):
        await in_own_thread(int, "no number")


@pytest.mark.parametrize("ends_well", [True, False])
def test_a_call_that_hangs_holds_up_no_stop_and_nobody_hears_how_it_ended(*, ends_well: bool) -> None:
    hanging, released, complaints = threading.Event(), threading.Event(), list[object]()
    threads: list[threading.Thread] = []

    def hang() -> None:
        threads.append(threading.current_thread())
        hanging.set()
        released.wait(PATIENCE_SECONDS)
        if not ends_well:
            raise OSError

    async def begin_and_stop() -> None:
        asyncio.get_running_loop().set_exception_handler(lambda _, context: complaints.append(context))
        calling = asyncio.create_task(in_own_thread(hang))
        while not hanging.is_set():  # noqa: ASYNC110 - it is set from another thread
            await asyncio.sleep(0.001)
        calling.cancel()
        with pytest.raises(asyncio.CancelledError):
            await calling

    asyncio.run(begin_and_stop())
    assert threads[0].is_alive()
    assert threads[0].daemon, "the interpreter does not wait for it either"
    released.set()
    threads[0].join(PATIENCE_SECONDS)
    assert not threads[0].is_alive()
    assert not complaints
