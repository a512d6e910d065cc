"""The page at every size, in the light and in the dark, by keyboard alone, and before axe-core, an outside judge of
whether everybody can use a page (it checks the rules of WCAG 2, levels A and AA, that a program can check)."""

from pathlib import Path
from typing import Literal

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.async_api import Browser, Page, expect

from gateway.alerts.alert import emergency_alert
from gateway.feed.heard_object import heard_object
from gateway.judge.verdict import Reason
from tests.journal.keeping import keep as keep_journal
from tests.web.browser import IN_A_BROWSER, SIZES, Window, open_window
from tests.web.opened import READER, Gateway, OpenWeb, open_web

pytestmark = IN_A_BROWSER

RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]},
    "resultTypes": ["violations"],
}
MINUTES = 120.0
"""Seconds that the long tests may take on a busy computer."""

LONG_WORD = b"an-endless-word" * 12
LINES = [
    b"QA1BCD-9>APRS,QD1AA*,QD1BB*:!5842.00N/00355.00W>088/036" + LONG_WORD,
    b"QC3DEF>APRS:!5836.00N/00355.00W_090/005g009t059h80b10130",
    b"QB2CDE-15>APRS::QA1BCD-9 :" + LONG_WORD[:67],
    b"QD1GAT>APZ001:}QA2BCD-9>APRS,TCPIP*:!5836.00N/00355.00W>",
    b"this is no frame",
]
EMERGENCY = b'QB2BCD-7>332UVT:`(_fn"Oj/help'
"""Ours, after APRS101 chapter 10's example: no message bit is set."""


def eventful(path: Path) -> Gateway:
    """A gateway that has something to show in every view."""
    gateway = Gateway(journal=path)
    for number in range(4):
        for line in LINES:
            gateway.hear(line, Reason.DUPLICATE if number % 2 else None)
        gateway.post.wait(600_000)
    judged = gateway.hear(EMERGENCY).judged
    gateway.alerts.note(emergency_alert(judged, heard_object(judged, READER(judged))))
    keep_journal(path, gateway.heard)
    return gateway


async def open_live(window: Window, web: OpenWeb) -> None:
    web.server.offer(web.gateway.heard)
    await window.open(web.address)
    await window.shows("#wire", "live")
    await window.shows(".stations", "QA1BCD-9")


async def violations(page: Page) -> list[str]:
    """What axe-core finds fault with in what the page shows now."""
    if not await page.evaluate("'axe' in window"):
        await page.evaluate(AXE_SCRIPT)
    found = (await page.evaluate("rules => axe.run(document, rules)", RULES))["violations"]
    return [f"{rule['id']}: {node['html'][:200]} {node['failureSummary']}" for rule in found for node in rule["nodes"]]


async def views_of(page: Page) -> list[str]:
    """Every view that the navigation leads to, and that of a station."""
    links = await page.locator("#navigation a").all()
    return [*[str(await link.get_attribute("href")) for link in links], "#station/QA1BCD-9"]


async def go_to(page: Page, view: str) -> None:
    name = view.removeprefix("#").partition("/")[0]
    await page.evaluate("view => { location.hash = view }", view)
    await expect(page.locator(f"#view-{name}")).to_be_visible()


@pytest.mark.parametrize("colours", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
async def test_every_view_is_fit_for_everybody_and_never_wider_than_the_window(
    browser: Browser, tmp_path: Path, size: str, colours: Literal["light", "dark"]
) -> None:
    async with (
        open_web(eventful(tmp_path / "stile.db"), seconds=MINUTES) as web,
        open_window(browser, SIZES[size], colours) as window,
    ):
        await open_live(window, web)
        for view in await views_of(window.page):
            await go_to(window.page, view)
            assert await violations(window.page) == [], view
            assert await window.page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, view
            await window.keep_picture(f"{view.strip('#').replace('/', '-')}-{size}-{colours}.png")
        assert window.complaints == []


@pytest.mark.parametrize("colours", ["light", "dark"])
async def test_a_page_without_an_answer_is_fit_for_everybody_too(
    browser: Browser, tmp_path: Path, colours: Literal["light", "dark"]
) -> None:
    async with open_window(browser, SIZES["phone"], colours) as window:
        async with open_web(eventful(tmp_path / "stile.db")) as web:
            await open_live(window, web)
        await window.shows("#wire", "no answer since")
        assert await violations(window.page) == []


CONTROLS = "[...document.querySelectorAll('a, button, input, select')].filter((each) => each.checkVisibility())"


async def test_the_keyboard_alone_reaches_everything(browser: Browser, tmp_path: Path) -> None:
    async with open_web(eventful(tmp_path / "stile.db")) as web, open_window(browser) as window:
        await open_live(window, web)
        reached = await window.page.evaluate_handle("() => new Set()")
        for _ in range(await window.page.evaluate(f"{CONTROLS}.length") + 2):
            await window.page.keyboard.press("Tab")
            await window.page.evaluate("reached => reached.add(document.activeElement)", reached)
        left_out = f"reached => {CONTROLS}.filter((each) => !reached.has(each)).map((each) => each.outerHTML)"
        assert await window.page.evaluate(left_out, reached) == []


async def test_a_frame_is_opened_and_a_station_is_gone_to_by_keyboard(browser: Browser, tmp_path: Path) -> None:
    async with open_web(eventful(tmp_path / "stile.db")) as web, open_window(browser) as window:
        await open_live(window, web)
        await window.page.locator("#navigation a[data-view=why]").press("Enter")
        await window.page.locator(".frames summary").first.press("Enter")
        await window.shows(".frames details[open]", "Path")
        await window.page.locator(".frames details[open] a").first.press("Enter")
        await expect(window.page.locator("#view-station")).to_be_focused()


async def test_what_has_the_focus_keeps_it_while_frames_come(browser: Browser, tmp_path: Path) -> None:
    async with open_web(eventful(tmp_path / "stile.db")) as web, open_window(browser) as window:
        await open_live(window, web)
        station = window.page.get_by_role("link", name="QC3DEF")
        await station.focus()
        for number in range(1, 4):
            web.hear(b"QC3DEF>APRS:>heard again %d" % number)
            web.hear(b"QE5NEW-%d>APRS:>somebody new" % number)
            await window.shows(".stations", f"QE5NEW-{number}")
            await expect(station).to_be_focused()


async def test_no_row_moves_under_the_hand_of_who_points_at_one(browser: Browser, tmp_path: Path) -> None:
    async with open_web(eventful(tmp_path / "stile.db")) as web, open_window(browser) as window:
        await open_live(window, web)
        calls = window.page.locator(".stations .call")
        before = await calls.all_inner_texts()
        await calls.nth(1).hover()
        web.hear(f"{before[2]}>APRS:>heard again".encode())
        await window.shows(".stations", "heard again")
        assert await calls.all_inner_texts() == before
        await window.page.get_by_role("heading", name="Who is out there").hover()
        await expect(calls.first).to_have_text(before[2])
