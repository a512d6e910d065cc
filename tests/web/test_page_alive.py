"""The page, in a real browser, before a gateway that runs as a process: it shows nothing as alive that may be dead."""

import signal
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from playwright.async_api import Browser, expect

from demo.network_server import NetworkServer
from tests.club.proxy import Proxy
from tests.test_killed import NEAR, Running, started
from tests.web.browser import IN_A_BROWSER, Window, open_window

pytestmark = IN_A_BROWSER

SOON_MS = 8_000
TWO_HEALTHS_MS = 23_000
"""Two healths were due after so long, and the page has looked: within 25 seconds of the last one."""

BUOY = b"QA1BUY-1>APRS,QD1RPT*:!5836.00N/00455.00Wbbuoy 1"


@asynccontextmanager
async def watched(browser: Browser, gateway: Running, port: int | None = None) -> AsyncIterator[Window]:
    """A window that shows a gateway that lives. Its clock can be put forward."""
    async with open_window(browser) as window:
        await window.page.clock.install()
        await window.open(f"http://127.0.0.1:{port or gateway.web}")
        await window.shows("#wire", "live")
        await expect(window.page.locator("#tile-uplink")).to_have_attribute("data-state", "ok")
        yield window


async def shows_nothing_as_alive(window: Window) -> None:
    await window.shows("#wire", "no answer since")
    assert set(await window.states()) == {"unknown"}
    assert await window.page.locator(".tile .number").all_inner_texts() == ["\u2013"] * 4
    icon = await window.page.locator("#icon").get_attribute("href")
    assert icon is not None
    assert icon.endswith("unknown.svg")


async def is_alive_again(window: Window) -> None:
    await expect(window.page.locator("#wire")).to_have_text("live")
    await expect(window.page.locator("#tile-uplink")).to_have_attribute("data-state", "ok")
    await window.shows("#changes", "The gateway was silent from")
    assert "no answer" not in await window.page.locator("body").inner_text()


async def test_a_frozen_gateway_turns_the_page_grey_and_it_heals_when_it_goes_on(
    browser: Browser, tmp_path: Path
) -> None:
    async with NetworkServer() as server, started(tmp_path, server) as gateway, watched(browser, gateway) as window:
        gateway.gateway.process.send_signal(signal.SIGSTOP)
        try:
            await window.page.clock.fast_forward(SOON_MS)
            assert await window.text("#wire") == "live"
            await window.page.clock.fast_forward(TWO_HEALTHS_MS - SOON_MS)
            await shows_nothing_as_alive(window)
        finally:
            gateway.gateway.process.send_signal(signal.SIGCONT)
        await is_alive_again(window)


async def test_a_gateway_that_is_cut_off_turns_the_page_grey_and_it_heals_when_the_way_is_mended(
    browser: Browser, tmp_path: Path
) -> None:
    async with (
        NetworkServer() as server,
        started(tmp_path, server) as gateway,
        Proxy(gateway.web) as way,
        watched(browser, gateway, way.port) as window,
    ):
        way.cut()
        await window.page.clock.fast_forward(TWO_HEALTHS_MS)
        await shows_nothing_as_alive(window)
        way.mend(losing=False)
        await is_alive_again(window)


async def test_a_killed_gateway_turns_the_page_grey_and_after_a_restart_yesterday_is_still_there(
    browser: Browser, tmp_path: Path
) -> None:
    async with (
        NetworkServer() as server,
        started(tmp_path, server) as first,
        watched(browser, first) as window,
    ):
        calls = window.page.locator(".stations .call")
        await first.hear(BUOY, NEAR)
        await expect(calls).to_have_text(["QB2CDE-9", "QA1BUY-1"])
        await first.until("/api/health", lambda health: all_is_written(health, 2))
        await first.gateway.end(signal.SIGKILL)
        await shows_nothing_as_alive(window)
        async with started(tmp_path, server, first.web):
            await is_alive_again(window)
            await expect(calls).to_have_text(["QB2CDE-9", "QA1BUY-1"])
            assert "The gateway was started anew" in await window.text("#changes")
            await window.page.evaluate("() => { location.hash = '#station/QA1BUY-1' }")
            await window.shows("#view-station .frames", "buoy 1")


def all_is_written(health: dict[str, object], frames: int) -> bool:
    parts = health["parts"]
    assert isinstance(parts, list)
    [journal] = [part["figures"] for part in parts if part["name"] == "journal"]
    return bool(journal["written"] == frames and journal["unsettled"] == 0)
