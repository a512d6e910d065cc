"""The pictures of the page, in a real browser: the reach, when, why, the policy. Each tells its numbers in words."""

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from playwright.async_api import Browser, Route, expect

from gateway.groundwork.duration import HOUR_MS
from gateway.judge.verdict import Reason
from gateway.running.what_if import WhatIf
from gateway.web.sources import WebSources
from tests.journal.keeping import batch_of, store_at
from tests.judge.listening import source_of
from tests.web.browser import IN_A_BROWSER, SIZES, Window, open_window
from tests.web.opened import POST, Gateway, OpenWeb, open_web
from tests.web.test_page_for_everybody import EMERGENCY, violations

pytestmark = IN_A_BROWSER

NORTH = b"QA1BCD-9>APRS:!5842.00N/00355.00W>under way"
EAST = b"QB2CDE-9>APRS:!5836.00N/00335.00W>under way"
BENCH = b"QZ9BCD>APRS:>test"
MARKUP = "<img src=x onerror=\"document.title='taken'\">"

NONE = "–"  # noqa: RUF001 - as the page writes it

COLOURS: tuple[Literal["light", "dark"], ...] = ("light", "dark")

TRIAL_SECONDS = 120
"""How long another policy may be tried on a busy computer. Nothing waits for this long when all is well."""

VIEWS = {
    "reach?since=1d&against=1d": ".polar .sector",
    "when": ".week td",
    "why?over=month": "#over-time .column",
    "policy": ".lines li",
    "what-if": "#policy-text",
}
"""Every view, and what is there once it is drawn."""


@dataclass
class PostOfADay(Gateway):
    """A post that was heard by this test for a day, and shows the policy that it has."""

    def sources(self) -> WebSources:
        """As the service would give them in."""
        what_if = WhatIf(self.journal, POST, lambda: self.policy, seconds=TRIAL_SECONDS)
        return replace(super().sources(), what_if=what_if)


def heard_for_a_day(path: Path, rules: str = "") -> PostOfADay:
    """One that heard the north for a day, half of it copies, not in two hours; then the east. It sent one frame."""
    gateway = PostOfADay(journal=path / "stile.db", policy=source_of(rules))
    for hour in range(24):
        if hour not in {5, 6}:
            gateway.hear(NORTH, Reason.DUPLICATE if hour % 2 else None)
        gateway.post.wait(HOUR_MS)
    gateway.hear(EAST)
    store = store_at(path / "stile.db")
    first, *_ = judged = [heard.judged for heard in gateway.heard]
    store.write(batch_of(judged, sent={first.heard.sequence: first.heard.moment.time_ms}))
    store.close()
    gateway.post.wait(1)
    return gateway


@asynccontextmanager
async def shown(browser: Browser, gateway: Gateway, view: str) -> AsyncIterator[tuple[OpenWeb, Window]]:
    """A window on a view, in front of a gateway."""
    async with open_web(gateway, seconds=2 * TRIAL_SECONDS) as web, open_window(browser) as window:
        await window.open(f"{web.address}/#{view}")
        await window.shows("#wire", "live")
        yield web, window


async def test_the_reach_is_told_in_words_and_by_sector_to_whoever_uses_the_keyboard(
    browser: Browser, tmp_path: Path
) -> None:
    async with shown(browser, heard_for_a_day(tmp_path), "reach?since=2d") as (_, window):
        whole = await window.shows("#view-reach .big", "23 frames from 2 stations")
        assert "the farthest QB2CDE-9, 19 km" in whole
        await expect(window.page.locator(".polar .farthest_km")).to_have_count(2)
        sectors = window.page.get_by_role("slider", name="Sectors around this antenna")
        await sectors.focus()
        await window.page.keyboard.press("ArrowRight")
        words = await window.shows("#view-reach .chosen", "0° to 10° N: 22 frames from 1 station. Half within 11 km")
        assert await sectors.get_attribute("aria-valuetext") == words
        await window.page.keyboard.press("ArrowLeft")
        await window.shows("#view-reach .chosen", "350° to 360° N: nothing was heard direct.")
        assert window.complaints == []


async def test_the_table_below_the_reach_has_the_numbers_of_the_interface(browser: Browser, tmp_path: Path) -> None:
    async with shown(browser, heard_for_a_day(tmp_path), "reach?since=2d") as (web, window):
        await window.page.get_by_text("The same as a table").click()
        rows = window.page.locator("#view-reach tbody tr")
        await expect(rows).to_have_count(36)
        told = (await web.get("/api/reach?since=2d")).json()["sectors"]
        for place, sector in enumerate(told):
            cells = await rows.nth(place).locator("td").all_inner_texts()
            assert cells[:2] == [f"{sector['frames']}", f"{sector['stations']}"]
            assert cells[5] == (sector["farthest_station"] or NONE)


async def test_two_periods_stand_one_upon_the_other_with_the_result_of_the_test_in_words(
    browser: Browser, tmp_path: Path
) -> None:
    async with shown(browser, heard_for_a_day(tmp_path), "reach?since=1h") as (web, window):
        await window.shows("#view-reach .big", "1 frame from 1 station")
        await expect(window.page.locator(".polar .against")).to_have_count(0)
        await window.page.get_by_label("beside", exact=True).select_option("30d")
        await expect(window.page.locator(".polar .against")).to_have_count(1)
        told = (await web.get("/api/reach?since=1h&against=30d")).json()["compare"]["results"]
        assert (await window.text("#results")).splitlines() == [result["words"] for result in told]
        assert window.page.url.endswith("since=1h&against=30d")


async def test_a_period_from_a_day_to_a_day_stays_in_the_address(browser: Browser, tmp_path: Path) -> None:
    async with shown(browser, heard_for_a_day(tmp_path), "reach") as (_, window):
        await window.shows("#view-reach .big", "23 frames")
        await window.page.get_by_label("Show", exact=True).select_option("days")
        await window.page.get_by_label("Show: from").fill("2026-06-06")
        await window.page.get_by_label("Show: before").fill("2026-06-07")
        await window.shows("#view-reach .big", "10 frames from 1 station")
        await window.page.reload()
        await window.shows("#view-reach .big", "10 frames from 1 station")
        assert await window.page.get_by_label("Show: before").input_value() == "2026-06-07"


async def test_a_late_answer_never_stands_beside_a_newer_question(browser: Browser, tmp_path: Path) -> None:
    held_back = asyncio.Event()

    async def come_late(route: Route) -> None:
        await held_back.wait()
        await route.continue_()

    async with shown(browser, heard_for_a_day(tmp_path), "now") as (web, window):
        await window.page.route("**/api/reach?since=30d", come_late)
        await window.page.evaluate("() => { location.hash = 'reach' }")
        await window.page.get_by_label("Show", exact=True).select_option("today")
        await window.shows("#view-reach .big", "13 frames")
        async with window.page.expect_response("**/api/reach?since=30d"):
            held_back.set()
        web.hear(EMERGENCY)  # what it brings is drawn together with the view
        await window.shows("#emergencies", "QB2BCD-7")
        assert "13 frames" in await window.text("#view-reach .big")


async def test_hours_in_which_nothing_was_heard_are_told_and_the_week_has_its_numbers(
    browser: Browser, tmp_path: Path
) -> None:
    async with shown(browser, heard_for_a_day(tmp_path), "when") as (_, window):
        dead = await window.shows("#dead-times", "2 hours")
        assert dead == "6 Jun, 18:00 to 6 Jun, 20:00, 2 hours: the gateway did not run"
        saturday = [
            await window.page.locator(f".week tr:nth-child({hour + 1}) td").nth(5).inner_text()
            for hour in (12, 13, 17, 18)
        ]
        assert saturday == [NONE, "1", "1", NONE]
        await window.page.get_by_role("slider", name="Heard in each hour").focus()
        await window.page.keyboard.press("End")
        await window.shows("#view-when .chosen", "13:00: 1 heard: to go up, not sent 1.")
        assert window.complaints == []


async def test_what_was_kept_stands_by_reason_over_time(browser: Browser, tmp_path: Path) -> None:
    async with shown(browser, heard_for_a_day(tmp_path), "why") as (_, window):
        await window.shows("#over-time .legend", "kept: duplicate")
        await window.page.get_by_label("Over which time").select_option("month")
        await window.page.locator("#over-time summary").click()
        rows = window.page.locator("#over-time tbody tr")
        await expect(rows).to_have_count(2)
        assert await rows.nth(0).locator("td").all_inner_texts() == ["9", "1", "4", "4"]


async def test_every_frame_opens_the_steps_to_its_verdict(browser: Browser, tmp_path: Path) -> None:
    rules = f"rules: [{{name: bench, when: {{source: QZ9*, contains: {json.dumps(MARKUP)}}}, then: keep}}]"
    gateway = heard_for_a_day(tmp_path, rules)
    async with shown(browser, gateway, "why") as (web, window):
        web.hear(BENCH + MARKUP.encode(), Reason.RULE)
        frame = window.page.locator(".frames details").filter(has_text="QZ9BCD")
        await frame.locator("summary").focus()
        await window.page.keyboard.press("Enter")
        decided = frame.locator(".steps li[data-decided]")
        await expect(decided).to_have_count(1)
        assert "this decided" in await decided.inner_text()
        assert await window.page.title() == "degraded · QX1GAT-10"


async def test_the_policy_stands_with_its_lines_and_how_often_each_rule_decided(
    browser: Browser, tmp_path: Path
) -> None:
    rules = (
        f"rules:\n- {{name: bench, when: {{source: QZ9*}}, then: keep}}\n# {MARKUP}\n"
        "rates: [{name: all, per: everything, allow: 9 per minute}]"
    )
    async with shown(browser, heard_for_a_day(tmp_path, rules), "policy") as (web, window):
        for _ in range(2):
            judged = web.gateway.post.hear(BENCH, reason=Reason.RULE, rule="bench")
            web.server.offer([web.gateway.payload(judged)])
        await window.page.reload()
        await window.shows("#decided", "2")
        rows = window.page.locator("#decided tr")
        assert [(await row.inner_text()).split("\t") for row in await rows.all()] == [
            ["rule bench", "2", "policy.yaml, line 4"],
            ["rate all", "0", "policy.yaml, line 6"],
        ]
        lines = window.page.locator(".lines li")
        assert await lines.nth(3).get_attribute("data-decided") == "decided 2"
        assert await lines.nth(4).inner_text() == f"# {MARKUP}"
        await window.page.get_by_role("button", name="line 6").press("Enter")
        assert await window.page.evaluate("document.activeElement.className") == "lines"
        assert await window.page.title() == "degraded · QX1GAT-10"


async def test_another_policy_is_tried_over_the_last_day_and_what_would_change_is_told(
    browser: Browser, tmp_path: Path
) -> None:
    async with shown(browser, heard_for_a_day(tmp_path), "what-if") as (_, window):
        text = window.page.get_by_label("A policy, as its file would have it")
        await text.fill("version: 1\nname: another\nrules: [{name: north, when: {source: QA1*}, then: keep}]\n")
        await window.page.get_by_label("over").select_option("1d")
        await window.page.get_by_role("button", name="Judge by it").press("Enter")
        notice = window.page.locator("#what-if-notice")
        await expect(notice).to_contain_text("22 frames, heard from", timeout=TRIAL_SECONDS * 1000)
        assert (await notice.inner_text()).endswith("0 more would go up, 21 would not go up any more.")
        rows = [row.split("\t") for row in (await window.text("#what-if-found table")).splitlines()]
        assert rows[0][0].startswith("What each makes of them")
        assert [row for row in rows if row[0] in {"heard", "to go up", "by north"}] == [
            ["heard", "22", "22"],
            ["to go up", "22", "1"],
            ["by north", "0", "21"],
        ]
        changed = window.page.get_by_role("region", name="What would change")
        assert "QA1BCD-9\t21\twould be kept\trule (north)" in await changed.inner_text()
        await window.page.evaluate("() => { location.hash = 'policy' }")
        await window.shows(".lines", "name: test")
        await window.page.evaluate("() => { location.hash = 'what-if' }")
        assert "name: another" in await text.input_value()


async def test_what_is_wrong_with_another_policy_leads_to_its_line(browser: Browser, tmp_path: Path) -> None:
    async with shown(browser, heard_for_a_day(tmp_path), "what-if") as (_, window):
        text = window.page.get_by_label("A policy, as its file would have it")
        await text.fill(f"version: 1\nname: another\nrules: [{{name: {json.dumps(MARKUP)}, wen: 1}}]\n")
        await window.page.get_by_role("button", name="Judge by it").click()
        await expect(window.page.locator("#what-if-found")).to_contain_text("wen", timeout=TRIAL_SECONDS * 1000)
        await window.page.get_by_role("button", name="line 3").first.press("Enter")
        selected = await text.evaluate("text => text.value.slice(text.selectionStart, text.selectionEnd)")
        assert selected.startswith("rules:")
        assert await window.page.title() == "degraded · QX1GAT-10"


async def test_a_gateway_that_heard_nothing_yet_says_so_and_draws_nothing(browser: Browser, tmp_path: Path) -> None:
    store_at(tmp_path / "stile.db").write(batch_of())
    async with shown(browser, Gateway(journal=tmp_path / "stile.db"), "reach?against=30d") as (_, window):
        await window.shows("#view-reach .big", "nothing was heard direct.")
        await expect(window.page.locator(".polar")).to_be_hidden()
        await window.page.evaluate("() => { location.hash = 'when' }")
        await window.shows("#view-when", "Nothing is kept yet")
        await expect(window.page.locator(".week")).to_be_hidden()


async def test_without_a_journal_the_pictures_say_what_they_need(browser: Browser) -> None:
    async with shown(browser, Gateway(), "reach") as (_, window):
        await window.shows("#view-reach", "write `journal:")
        await window.page.evaluate("() => { location.hash = 'when' }")
        await window.shows("#view-when", "write `journal:")


async def test_every_picture_is_fit_for_everybody_and_needs_no_scrolling_sideways(
    browser: Browser, tmp_path: Path
) -> None:
    async with shown(browser, heard_for_a_day(tmp_path), "now") as (_, window):
        page = window.page
        for view, proof in VIEWS.items():
            await page.evaluate("view => { location.hash = view }", view)
            await expect(page.locator(proof).first).to_be_visible()
            for summary in await page.locator("details.numbers summary").all():
                await summary.click()
            for colours in COLOURS:
                await page.emulate_media(color_scheme=colours)
                assert await violations(page) == [], (view, colours)
            for width, height in SIZES.values():
                await page.set_viewport_size({"width": width, "height": height})
                too_wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
                assert await page.evaluate(too_wide) == 0, (view, width)
