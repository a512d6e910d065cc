"""A real browser without a window: the system's own, steered by playwright."""

import os
import shutil
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import pytest
import pytest_asyncio
from playwright.async_api import Browser, Page, async_playwright, expect

from tests.web.opened import FAIL_SAFE_SECONDS

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
TIMEOUT_MS = FAIL_SAFE_SECONDS * 1000

SIZES = {"tiny": (320, 240), "phone": (390, 844), "desk": (1280, 800)}
"""In pixels, as the reader of the page has them."""

IN_A_BROWSER = [
    pytest.mark.one_python,
    pytest.mark.needs("chromium", "chromium"),
    pytest.mark.asyncio(loop_scope="module"),
]
"""The marks of a module of tests that open windows: its browser is started once, and lives in one event loop."""

PICTURES = os.environ.get("STILE_TEST_PICTURES")
"""A folder for pictures of what the browser showed, for whoever wants to look."""

expect.set_options(timeout=TIMEOUT_MS)


@dataclass
class Window:
    """One window, and what went on in it that nobody sees."""

    page: Page
    complaints: list[str] = field(default_factory=list)
    """What its console was told: faults, and what the page's rules forbade."""

    asked: list[str] = field(default_factory=list)
    """The address of everything that it asked for."""

    async def open(self, address: str) -> None:
        """Go to an address."""
        await self.page.goto(address)

    async def text(self, selector: str) -> str:
        """What a reader sees of the first element that a selector finds; empty where there is none in sight."""
        found = self.page.locator(selector).first
        return await found.inner_text() if await found.is_visible() else ""

    async def shows(self, selector: str, text: str) -> str:
        """Wait until an element shows a text; gives back all that it shows."""
        await expect(self.page.locator(selector).first).to_contain_text(text)
        return await self.text(selector)

    async def states(self) -> list[str | None]:
        """The states of the four tiles."""
        return [await tile.get_attribute("data-state") for tile in await self.page.locator(".tile").all()]

    async def keep_picture(self, name: str) -> None:
        """A picture of what it shows, where pictures are wanted."""
        if PICTURES:
            await self.page.screenshot(path=Path(PICTURES, name))


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def browser() -> AsyncIterator[Browser]:
    """The browser of a module of tests."""
    async with async_playwright() as playwright:
        started = await playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        yield started
        await started.close()


@asynccontextmanager
async def open_window(
    browser: Browser, size: tuple[int, int] = SIZES["desk"], colours: Literal["light", "dark"] = "light"
) -> AsyncIterator[Window]:
    """A window with a profile of its own, for a block."""
    context = await browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        color_scheme=colours,
        locale="en-GB",
        timezone_id="Europe/London",
    )
    try:
        context.set_default_timeout(TIMEOUT_MS)
        window = Window(await context.new_page())
        window.page.on("console", lambda message: window.complaints.append(message.text))
        window.page.on("pageerror", lambda error: window.complaints.append(str(error)))
        window.page.on("request", lambda request: window.asked.append(request.url))
        yield window
    finally:
        await context.close()
