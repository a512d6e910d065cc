import asyncio
import threading

import pytest

from gateway.groundwork.own_thread import FewThreads, in_own_thread

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


async def test_a_call_that_nobody_waits_for_any_longer_keeps_its_place_until_it_has_ended() -> None:
    threads, released = FewThreads(1), threading.Event()
    begun = asyncio.Event()
    loop = asyncio.get_running_loop()

    def hang() -> None:
        loop.call_soon_threadsafe(begun.set)
        released.wait(PATIENCE_SECONDS)

    abandoned = asyncio.create_task(threads.call(hang))
    await begun.wait()
    abandoned.cancel()
    await asyncio.wait([abandoned])
    following = asyncio.create_task(threads.call(released.is_set))
    await asyncio.sleep(0)
    released.set()
    assert await following, "it began before the other one had ended"


async def test_a_call_that_fails_or_finds_no_thread_gives_its_place_back_once(monkeypatch: pytest.MonkeyPatch) -> None:
    threads = FewThreads(1)

    def fail() -> None:
        raise OSError("the disk")

    def no_thread(_thread: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    with pytest.raises(OSError, match="the disk"):
        await threads.call(fail)
    with monkeypatch.context() as patched:
        patched.setattr(threading.Thread, "start", no_thread)
        with pytest.raises(OSError, match="no thread left"):
            await threads.call(fail)
    assert await threads.call(lambda: 5) == 5
    await asyncio.sleep(0)  # the place is given back through the loop
    assert threads._places._value == 1  # noqa: SLF001 - nothing else shows how many have room
