"""Notices when a file of the policy, or the station file, was written anew."""

import asyncio
from collections.abc import AsyncIterator, Callable, Iterable
from pathlib import Path

from gateway.groundwork.own_thread import in_own_thread

SETTLE_MS = 400
"""An editor writes a file in several steps: changes within this time are one."""

STEP_MS = 100
LOOK_MS = 5000
"""How often the files are looked at though nobody says that they changed: not every file system tells."""

Print = tuple[int, int, int] | None


async def changed_files(watched: Callable[[], Iterable[Path]], again: asyncio.Event) -> AsyncIterator[set[Path]]:
    """The files among `watched()` that changed, each time that some did.

    Folders are watched, not files: most editors put a new file in the place of the old one. Set `again` when files in
    other folders are to be watched. That something happens in a folder is only the occasion to look: what changed is
    told by the files themselves, so nothing is missed between two watches.
    """
    prints = await in_own_thread(_prints_of, [*watched()])
    async for _ in _occasions(watched, again):
        now = await in_own_thread(_prints_of, [*watched()])  # a file may lie on a share that hangs
        changed = {path for path, new in now.items() if new is not None and new != prints.get(path, new)}
        prints = now
        if changed:
            yield changed


async def _occasions(watched: Callable[[], Iterable[Path]], again: asyncio.Event) -> AsyncIterator[None]:
    """Whenever something happened in a folder of the files, and now and then besides."""
    from watchfiles import awatch  # noqa: PLC0415 - not needed before the gateway runs

    while True:
        again.clear()
        yield
        events = awatch(
            *{path.resolve().parent for path in watched()},
            recursive=False,
            debounce=SETTLE_MS,
            step=STEP_MS,
            rust_timeout=LOOK_MS,
            yield_on_timeout=True,
            stop_event=again,
        )
        try:
            async for _ in events:
                yield
        except (OSError, RuntimeError):  # a folder is gone, or the system has no watches left: look now and then
            await asyncio.sleep(LOOK_MS / 1000)


def _prints_of(paths: Iterable[Path]) -> dict[Path, Print]:
    return {path: _print_of(path) for path in paths}


def _print_of(path: Path) -> Print:
    try:
        status = path.stat()
    except OSError:
        return None  # on its way from one name to another, or gone: the policy that was read stays
    return (status.st_mtime_ns, status.st_size, status.st_ino)
