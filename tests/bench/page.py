"""What 2,000 stations cost the page in a browser, beside twenty: at first sight, for each frame, until a new one shows.

What counts for a frame is the time that the browser's main thread took, its drawing included, while twenty frames come
every second: what is left of a second is how smooth the page is.
"""

import asyncio
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count
from time import perf_counter

from playwright.async_api import Browser, CDPSession, async_playwright

from tests.bench.figures import Effort, Figure, Skipped, ratio
from tests.web.browser import FLAGS, SIZES, open_window
from tests.web.opened import Gateway, open_web

MANY, FEW = 2000, 20
FRAMES = 200
PAUSE_SECONDS = 0.05
SIDES = (MANY, FEW)


@dataclass(frozen=True, slots=True)
class Cost:
    """Seconds."""

    first: float
    frame: float
    new: float


def line(number: int, turn: int) -> bytes:
    """A frame of a station, somewhere around the post."""
    minutes, hundredths = divmod(number * 7 % 3000, 100)
    return b"Q%c%dBCD-%d>APRS,QD1AA*:!58%02d.%02dN/00355.00W>088/036boat, turn %d" % (
        65 + number % 26, number // 26 % 10, number // 260 + 1, minutes, hundredths, turn,
    )  # fmt: skip


async def cost(browser: Browser, stations: int, frames: int) -> Cost:
    """What so many stations cost."""
    gateway = Gateway()
    for number in range(stations):
        gateway.hear(line(number, 0))
    async with open_web(gateway, seconds=600) as web, open_window(browser, SIZES["desk"]) as window:
        began = perf_counter()
        await window.open(web.address)
        await window.page.wait_for_selector(f".stations li:nth-child({FEW})")
        first = perf_counter() - began
        await window.shows("#wire", "live")
        await asyncio.sleep(1)
        session = await window.page.context.new_cdp_session(window.page)
        await session.send("Performance.enable")
        before = await busy_seconds(session)
        for number, turn in zip(range(frames), count(1), strict=False):
            web.hear(line(number * 37 % stations, turn))
            await asyncio.sleep(PAUSE_SECONDS)
        await window.shows(".stations", f"turn {frames}")
        frame = (await busy_seconds(session) - before) / frames
        began = perf_counter()
        web.hear(b"QZ9NEW>APRS:>somebody new")
        await window.page.wait_for_selector(".stations a[href='#station/QZ9NEW']")
        return Cost(first, frame, perf_counter() - began)


async def busy_seconds(session: CDPSession) -> float:
    """How long the main thread of the page has been at work so far."""
    metrics = (await session.send("Performance.getMetrics"))["metrics"]
    return next(float(metric["value"]) for metric in metrics if metric["name"] == "TaskDuration")


async def costs(turns: int, frames: int) -> dict[int, list[Cost]]:
    """Of both sides, in turn."""
    async with async_playwright() as playwright:
        browser = await playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        found: dict[int, list[Cost]] = {side: [] for side in SIDES}
        for _ in range(turns):
            for side in SIDES:
                found[side].append(await cost(browser, side, frames))
        await browser.close()
    return found


def milliseconds(seconds: float) -> str:
    """Says a short time."""
    return f"{seconds * 1e3:,.1f} ms"


def measure(effort: Effort) -> Iterator[Figure]:
    """The first stations in sight, and each frame."""
    if shutil.which("chromium") is None:
        raise Skipped("chromium is not installed")
    found = asyncio.run(costs(max(1, effort.turns // 3), effort.of(FRAMES)))
    asked = {"first stations in sight": "first", "a frame": "frame", "a new station in sight": "new"}
    for name, of in asked.items():
        many, few = ([getattr(each, of) for each in found[side]] for side in SIDES)
        yield ratio(name, many, few, milliseconds, f"{FEW} stations")
