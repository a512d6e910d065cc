"""A bar on a terminal that says how far a long piece of work has come. Where there is no terminal it is silent."""

import time
from collections.abc import Callable, Iterable, Iterator
from typing import TextIO, TypeVar

WIDTH = 30
SECONDS_BETWEEN = 0.1
ITEMS_BETWEEN = 1024
"""How many items go by between two looks at the clock."""

_CLEAR_LINE = "\r\x1b[K"

_Item = TypeVar("_Item")


def shown(
    items: Iterable[_Item],
    terminal: TextIO,
    part_done: Callable[[], float | None],
    what: str,
    *,
    clock: Callable[[], float] = time.monotonic,
) -> Iterator[_Item]:
    """The items, with a bar on `terminal` while they are gone through; `part_done` says how far, from 0 to 1."""
    if not terminal.isatty():
        yield from items
        return
    due = clock()
    try:
        for number, item in enumerate(items, 1):
            yield item
            if number % ITEMS_BETWEEN == 0 and clock() >= due:
                due = clock() + SECONDS_BETWEEN
                terminal.write(f"{_CLEAR_LINE}{_bar(part_done(), number, what)}")
                terminal.flush()
    finally:
        terminal.write(_CLEAR_LINE)
        terminal.flush()


def _bar(part: float | None, number: int, what: str) -> str:
    if part is None:
        return f"{what}: {number:,} frames"
    done = int(part * WIDTH)
    return f"{what} [{'#' * done}{'.' * (WIDTH - done)}] {part:4.0%}  {number:,} frames"
