"""The page, in a real browser."""

import os
from pathlib import Path

import pytest

from gateway.alerts.alert import emergency_alert
from gateway.feed.heard_object import heard_object
from gateway.judge.verdict import Reason
from tests.answers import figure
from tests.judged_frames import NOON_MS, Post
from tests.web.browser import open_browser
from tests.web.opened import READER, TOKEN, Gateway, open_web, until

pytestmark = [
    pytest.mark.one_python,
    pytest.mark.needs("chromium", "chromium"),
    pytest.mark.needs("chromedriver", "chromium-driver"),
]

MARKUP = b"<script>document.title='taken'</script><img src=x onerror=\"document.title='taken'\">"
EMERGENCY = b'QB2BCD-7>332UVT:`(_fn"Oj/help'
"""Ours, after APRS101 chapter 10's example: no message bit is set."""

STATES = "return [...document.querySelectorAll('.tile')].map((tile) => tile.dataset.state)"

PICTURES = os.environ.get("STILE_TEST_PICTURES")
"""A folder for pictures of what the browser showed, for whoever wants to look."""


def keep(picture: bytes, name: str) -> None:
    if PICTURES:
        Path(PICTURES, name).write_bytes(picture)


async def test_text_from_the_air_is_shown_as_text_whatever_it_says() -> None:
    async with open_web() as web, open_browser() as browser:
        web.hear(b"QA1BCD-9>APRS:!5836.00N/00355.00W>" + MARKUP)
        await browser.open(web.address)
        await browser.until(".stations", lambda text: MARKUP.decode() in text)
        web.hear(b"QA1BCD-9>APRS:>live " + MARKUP)
        await browser.until(".stations", lambda text: "live " + MARKUP.decode() in text)
        web.hear(EMERGENCY + MARKUP)
        await browser.until("#emergencies", lambda text: MARKUP.decode() in text)
        assert await browser.script("return [document.title, document.scripts.length, document.images.length]") == [
            "degraded · QX1GAT-10",
            1,
            1,
        ]
        assert await browser.complaints() == []


async def test_the_page_would_not_let_markup_in_even_if_someone_tried() -> None:
    async with open_web() as web, open_browser() as browser:
        await browser.open(web.address)
        tried = "try { document.body.innerHTML = '<b>markup</b>' } catch (error) { return error.name }"
        assert await browser.script(tried) == "TypeError"


async def test_it_shows_verdicts_with_their_reasons_and_counts_that_add_up() -> None:
    async with open_web() as web, open_browser() as browser:
        payload = web.hear(b"QA1BCD-9>APRS,QD1AA*:!5836.00N/00355.00W>under way")
        web.hear(b"QA1BCD-9>APRS,QD1AA*:!5836.00N/00355.00W>under way", Reason.DUPLICATE)
        web.hear(b"this is no frame")
        await browser.open(f"{web.address}/#why")
        heard = await browser.until(".frames", lambda text: "to go up" in text)
        assert "kept: duplicate" in heard
        assert "kept: damaged" in heard
        sums = await browser.until("#sums", bool)
        assert sums.splitlines() == [
            "heard 5 = forward 3 + keep 2",
            "keep 2 = duplicate 2",
            "forward 3 = sent 2 + late 0 + dropped 0 + stopped 0 + refused 0 + waiting 1",
        ]
        web.server.offer_forwarded([payload], NOON_MS)
        await browser.until(".frames", lambda text: "sent up" in text)
        keep(await browser.picture(), "page.png")


async def test_every_part_stands_with_what_to_do_about_it_and_what_it_counts() -> None:
    async with open_web() as web, open_browser() as browser:
        await browser.open(f"{web.address}/#parts/uplink")
        parts = await browser.until("#parts", lambda text: "uplink" in text)
        assert "the login is not verified; check the passcode" in parts
        assert "shed lines 7" in parts


async def test_a_hub_of_a_club_shows_its_posts() -> None:
    gateway = Gateway()
    async with open_web(gateway) as web, open_browser() as browser:
        await browser.open(f"{web.address}/#parts")
        await browser.until("#wire", lambda text: text == "live")
        assert await browser.text("#club") == ""
        post = {"name": "headland", "last_word": "2026-06-06T12:00:00.000Z", "frames": 90, "frames_last_minute": 12}
        post |= {"alone": 7, "first": 41, "first_share": 0.456}
        club = {"holds": True, "holder": "QX1HUB-10", "policy": "club@3fa9c1", "posts": [post]}
        web.server.offer_health({**gateway.health().to_object(), "club": club})
        shown = await browser.until("#club", lambda text: "headland" in text)
        assert "This hub sends for the club; it judges by club@3fa9c1." in shown
        assert "12 7 46 %" in shown.replace("\t", " ")


async def test_an_emergency_stands_first_with_the_words_that_nobody_keeps_watch() -> None:
    gateway = Gateway()
    async with open_web(gateway) as web, open_browser() as browser:
        await browser.open(web.address)
        await browser.until("#wire", lambda text: text == "live")
        assert "Not a distress watch" in await browser.text("footer")
        assert await browser.text("#emergencies") == ""
        gateway.emergencies = 1
        judged = web.hear(EMERGENCY).judged
        web.server.offer_alert(emergency_alert(judged, heard_object(judged, READER(judged))))
        web.server.offer_health(gateway.health().to_object())
        shown = await browser.until("#emergencies", lambda text: "QB2BCD-7" in text and "started: 1" in text)
        assert "not a distress watch" in shown
        assert "call the emergency services yourself" in shown
        assert shown.count("QB2BCD-7") == 1
        first = "return document.querySelector('header').nextElementSibling.id"
        assert await browser.script(first) == "emergencies"
        keep(await browser.picture(), "emergency.png")


async def test_an_alert_stands_with_what_it_is_about() -> None:
    async with open_web() as web, open_browser() as browser:
        await browser.open(f"{web.address}/#alerts")
        await browser.until("#wire", lambda text: text == "live")
        now = "2026-06-06T12:00:00.000Z"
        what = "QA1BCD-9 was not heard for 2 hours"
        web.server.offer_alert({"kind": "silent", "name": "buoy", "time": now, "what": what, "since": now})
        shown = await browser.until("#alerts", lambda text: what in text)
        assert "buoy" in shown


async def test_a_page_says_when_it_was_cut_off_and_is_live_again_when_the_gateway_is() -> None:
    async with open_browser() as browser:
        async with open_web() as web:
            port = web.port
            await browser.open(web.address)
            await browser.until("#wire", lambda text: text == "live")
            web.hear(b"QA1BCD>APRS:>before")
            await browser.until(".stations", lambda text: "before" in text)
        await browser.until("#wire", lambda text: text.startswith("no answer since"))
        assert {"unknown"} == set(await browser.script(STATES))
        async with open_web(Gateway(Post("another-run")), port=port) as web:
            web.hear(b"QA1BCD>APRS:>meanwhile")
            heard = await browser.until(".stations", lambda text: "meanwhile" in text)
            assert "before" not in heard
            assert await browser.text("#wire") == "live"
            assert "The gateway was silent from" in await browser.text("#changes")
            assert await browser.script(STATES) == ["ok", "ok", "degraded", "ok"]


async def test_where_a_token_is_set_the_page_asks_for_it_and_then_shows_all() -> None:
    async with open_web(token=TOKEN) as web, open_browser() as browser:
        web.hear(b"QA1BCD>APRS:>for those who may see it")
        await browser.open(web.address)
        submit = "document.querySelector('#token').value = arguments[0]; document.querySelector('form').submit()"
        await browser.script(submit, "wrong")
        await browser.until("form", lambda text: "That is not the token" in text)
        keep(await browser.picture(), "sign-in.png")
        await browser.script(submit, TOKEN)
        await browser.until(".stations", lambda text: "for those who may see it" in text)
        await until(lambda: figure(web.server, "event_streams") == 1)
        web.hear(b"QA1BCD>APRS:>as it happens")
        await browser.until(".stations", lambda text: "as it happens" in text)
        assert await browser.script("return document.cookie") == ""
