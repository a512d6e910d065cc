"""The page, in a real browser, on a web server of the test's own."""

import json
import re
from pathlib import Path

import pytest
from playwright.async_api import Browser, expect

from gateway.alerts.alert import emergency_alert
from gateway.feed.heard_object import heard_object
from gateway.judge.verdict import Reason
from tests.answers import figure
from tests.journal.keeping import keep as keep_journal
from tests.judged_frames import NOON_MS, Post
from tests.waiting import until
from tests.web.browser import IN_A_BROWSER, open_window
from tests.web.opened import READER, TOKEN, Gateway, open_web

pytestmark = IN_A_BROWSER

MARKUP = b"<script>document.title='taken'</script><img src=x onerror=\"document.title='taken'\">"
EMERGENCY = b'QB2BCD-7>332UVT:`(_fn"Oj/help'
"""Ours, after APRS101 chapter 10's example: no message bit is set."""


async def test_text_from_the_air_is_shown_as_text_whatever_it_says(browser: Browser, tmp_path: Path) -> None:
    keep_journal(tmp_path / "stile.db", [])
    async with open_web(Gateway(journal=tmp_path / "stile.db")) as web, open_window(browser) as window:
        web.hear(b"QA1BCD-9>APRS:!5836.00N/00355.00W>" + MARKUP)
        await window.open(web.address)
        await window.shows(".stations", MARKUP.decode())
        web.hear(b"QA1BCD-9>APRS:>live " + MARKUP)
        await window.shows(".stations", "live " + MARKUP.decode())
        web.hear(EMERGENCY + MARKUP)
        await window.shows("#emergencies", MARKUP.decode())
        for view in ("#why", "#alerts", "#station/QA1BCD-9"):
            await window.page.evaluate("view => { location.hash = view }", view)
        await window.shows("#view-station", MARKUP.decode())
        counts = "[document.title, document.scripts.length, document.images.length]"
        assert await window.page.evaluate(counts) == ["EMERGENCY · QX1GAT-10", 1, 1]
        assert window.complaints == []


async def test_the_page_would_not_let_markup_in_even_if_someone_tried(browser: Browser) -> None:
    async with open_web() as web, open_window(browser) as window:
        await window.open(web.address)
        tried = "() => { try { document.body.innerHTML = '<b>markup</b>' } catch (error) { return error.name } }"
        assert await window.page.evaluate(tried) == "TypeError"


async def test_everything_comes_from_the_gateway_itself(browser: Browser) -> None:
    async with open_web() as web, open_window(browser) as window:
        await window.open(web.address)
        await window.shows("#wire", "live")
        assert window.asked
        assert {address for address in window.asked if not address.startswith(web.address)} == set()


async def test_a_station_shows_as_it_is_heard_with_all_that_one_would_ask_first(browser: Browser) -> None:
    async with open_web() as web, open_window(browser) as window:
        await window.open(web.address)
        await window.shows("#wire", "live")
        web.hear(b"QC3DEF>APRS,QD1HDL*:!5842.00N/00355.00W_090/005g009t059")
        row = window.page.locator(".stations li")
        await expect(row).to_contain_text("QC3DEF")
        shown = await row.inner_text()
        for part in ("weather station", "11 km", "0° N", "by QD1HDL", "15 °C, wind 2.2 m/s from 90° E"):
            assert part in shown
        assert "QC3DEF" in await window.text("#new-stations")


async def test_lengths_and_speeds_stand_in_the_units_that_the_reader_chose_and_times_in_utc_on_hover(
    browser: Browser,
) -> None:
    async with open_web() as web, open_window(browser) as window:
        web.hear(b"QA1BCD-9>APRS:!5846.00N/00355.00W>090/020")
        await window.open(web.address)
        await window.shows(".stations", "19 km")
        await window.shows(".stations", "37 km/h")
        await window.page.get_by_label("Units").select_option("nautical")
        await window.shows(".stations", "10 nmi")
        await window.shows(".stations", "20 kn")
        await window.page.reload()
        await window.shows(".stations", "20 kn")
        await expect(window.page.locator(".stations time")).to_have_attribute("title", "2026-06-06 12:00:00 UTC")
        await window.shows("#zone", "Europe/London (")


async def test_a_search_an_order_and_a_filter_stay_in_the_address(browser: Browser) -> None:
    async with open_web() as web, open_window(browser) as window:
        for line in (
            b"QA1AAA>APRS:!5836.00N/00355.00W>near",
            b"QA1BBB>APRS:!5846.00N/00355.00W>far",
            b"QB2CCC>APRS,QD1HDL*:>elsewhere",
        ):
            web.hear(line)
        await window.open(f"{web.address}/#now?search=qa1")
        calls = window.page.locator(".stations .call")
        await expect(calls).to_have_text(["QA1BBB", "QA1AAA"])
        await window.page.get_by_label("Order").select_option("near")
        await expect(calls).to_have_text(["QA1AAA", "QA1BBB"])
        await window.page.reload()
        await expect(calls).to_have_text(["QA1AAA", "QA1BBB"])
        await window.page.get_by_role("searchbox").fill("")
        await window.page.get_by_label("Way", exact=True).select_option("relayed")
        await expect(calls).to_have_text(["QB2CCC"])
        assert window.page.url.endswith("#now?order=near&way=relayed")


@pytest.mark.parametrize(
    "address", ["#now?order=__proto__&kind=constructor", "#constructor", "#%E0%A4%A", "#station/%00"]
)
async def test_a_strange_address_breaks_nothing(browser: Browser, address: str) -> None:
    async with open_web() as web, open_window(browser) as window:
        web.hear()
        await window.open(f"{web.address}/{address}")
        await window.shows("#wire", "live")
        await window.page.evaluate("() => { location.hash = '#now' }")
        await window.shows(".stations", "QA1BCD-9")
        assert [each for each in window.complaints if "Failed to load resource" not in each] == []


async def test_it_shows_verdicts_with_their_reasons_and_counts_that_add_up(browser: Browser) -> None:
    async with open_web() as web, open_window(browser) as window:
        payload = web.hear(b"QA1BCD-9>APRS,QD1AA*:!5836.00N/00355.00W>under way")
        web.hear(b"QA1BCD-9>APRS,QD1AA*:!5836.00N/00355.00W>under way", Reason.DUPLICATE)
        web.hear(b"this is no frame")
        await window.open(f"{web.address}/#why")
        heard = await window.shows(".frames", "to go up")
        assert "kept: duplicate" in heard
        assert "kept: damaged" in heard
        await window.shows("#sums", "heard")
        assert (await window.text("#sums")).splitlines() == [
            "heard 5 = forward 3 + keep 2",
            "keep 2 = duplicate 2",
            "forward 3 = sent 2 + late 0 + dropped 0 + stopped 0 + refused 0 + waiting 1",
        ]
        web.server.offer_forwarded([payload], NOON_MS)
        await window.shows(".frames", "sent up")
        await window.keep_picture("page.png")


async def test_every_part_stands_with_what_to_do_about_it_and_what_it_counts(browser: Browser) -> None:
    async with open_web() as web, open_window(browser) as window:
        await window.open(f"{web.address}/#parts/uplink")
        parts = await window.shows("#view-parts", "uplink")
        assert "the login is not verified; check the passcode" in parts
        assert "shed lines 7" in parts


async def test_a_hub_of_a_club_shows_its_posts(browser: Browser) -> None:
    gateway = Gateway()
    async with open_web(gateway) as web, open_window(browser) as window:
        await window.open(f"{web.address}/#parts")
        await window.shows("#wire", "live")
        assert await window.text("#club") == ""
        post = {"name": "headland", "last_word": "2026-06-06T12:00:00.000Z", "frames": 90, "frames_last_minute": 12}
        post |= {"alone": 7, "first": 41, "first_share": 0.456}
        club = {"holds": True, "holder": "QX1HUB-10", "policy": "club@3fa9c1", "posts": [post]}
        web.server.offer_health({**gateway.health().to_object(), "club": club})
        shown = await window.shows("#club", "headland")
        assert "This hub sends for the club; it judges by club@3fa9c1." in shown
        assert "12 7 46 %" in shown.replace("\t", " ")


async def test_an_emergency_stands_first_with_the_words_that_nobody_keeps_watch(browser: Browser) -> None:
    gateway = Gateway()
    async with open_web(gateway) as web, open_window(browser) as window:
        await window.open(web.address)
        await window.shows("#wire", "live")
        assert "Not a distress watch" in await window.text("footer")
        assert await window.text("#emergencies") == ""
        gateway.emergencies = 1
        judged = web.hear(EMERGENCY).judged
        web.server.offer_alert(emergency_alert(judged, heard_object(judged, READER(judged))))
        web.server.offer_health(gateway.health().to_object())
        await window.shows("#emergencies", "QB2BCD-7")
        shown = await window.shows("#emergencies", "since the gateway started: 1")
        assert "not a distress watch" in shown
        assert "call the emergency services yourself" in shown
        assert shown.count("QB2BCD-7") == 1
        order = "[...document.querySelectorAll('#emergencies, #tiles, main')].map((each) => each.id)"
        assert await window.page.evaluate(order) == ["emergencies", "tiles", "view"]
        await window.keep_picture("emergency.png")
        await window.page.get_by_role("button", name="I have seen it").click()
        await expect(window.page.locator("#emergencies")).to_be_hidden()
        await window.page.reload()
        await window.shows("#wire", "live")
        assert await window.text("#emergencies") == ""


async def test_an_alert_stays_with_what_it_is_about_until_it_is_seen_and_after(browser: Browser) -> None:
    gateway = Gateway()
    async with open_web(gateway) as web, open_window(browser) as window:
        await window.open(f"{web.address}/#alerts")
        await window.shows("#wire", "live")
        what = "QA1BCD-9 was not heard for 2 hours"
        now = "2026-06-06T12:00:00.000Z"
        alert = {"kind": "silent", "name": "buoy", "time": now, "what": what, "since": now, "source": "QA1BCD-9"}
        gateway.alerts.note(alert)
        web.server.offer_alert(alert)
        shown = await window.shows("#alert-list", what)
        for words in ("new", "buoy", "still holds", "QA1BCD-9"):
            assert words in shown
        await window.shows("#navigation", "Alerts (1)")
        await window.page.get_by_role("button", name="I have seen them").click()
        await window.page.reload()
        assert "new" not in await window.shows("#alert-list", what)
        gateway.alerts.is_over("buoy", "QA1BCD-9", NOON_MS)
        await window.page.reload()
        await window.shows("#alert-list", "over at")


async def test_a_browser_notifies_of_an_alert_where_its_reader_switched_that_on(browser: Browser) -> None:
    stand_in = """
        window.told = [];
        window.Notification = class {
          static permission = "granted";
          static requestPermission = async () => "granted";
          constructor(title, { body }) { window.told.push([title, body]); }
        };
    """
    async with open_web() as web, open_window(browser) as window:
        await window.page.add_init_script(stand_in)
        await window.open(f"{web.address}/#alerts")
        await window.shows("#wire", "live")
        alert = {"kind": "silent", "name": "buoy", "time": "2026-06-06T12:00:00.000Z", "what": "not heard for 2 hours"}
        web.server.offer_alert({**alert, "source": "QA1BUY-1"})
        await window.shows("#spoken", "Alert buoy: not heard for 2 hours")
        assert await window.page.evaluate("told") == []
        await window.page.get_by_role("checkbox").check()
        web.server.offer_alert({**alert, "source": "QA1BUY-2"})
        await window.page.wait_for_function("told.length")
        assert await window.page.evaluate("told") == [["Alert: buoy", "QA1BUY-2: not heard for 2 hours"]]


async def test_a_page_says_when_it_was_cut_off_and_is_live_again_when_the_gateway_is(browser: Browser) -> None:
    async with open_window(browser) as window:
        async with open_web() as web:
            port = web.port
            await window.open(web.address)
            await window.shows("#wire", "live")
            web.hear(b"QA1BCD>APRS:>before")
            await window.shows(".stations", "before")
        await window.shows("#wire", "no answer since")
        assert set(await window.states()) == {"unknown"}
        assert (await window.page.title()).startswith("no answer")
        async with open_web(Gateway(Post("another-run")), port=port) as web:
            web.hear(b"QA1BCD>APRS:>meanwhile")
            await window.shows(".stations", "meanwhile")
            await expect(window.page.locator(".stations")).not_to_contain_text("before")
            await expect(window.page.locator("#wire")).to_have_text("live")
            await window.shows("#changes", "The gateway was silent from")
            assert await window.states() == ["ok", "ok", "degraded", "ok"]


async def test_where_a_token_is_set_the_page_asks_for_it_and_then_shows_all(browser: Browser) -> None:
    async with open_web(token=TOKEN) as web, open_window(browser) as window:
        web.hear(b"QA1BCD>APRS:>for those who may see it")
        await window.open(web.address)
        token, enter = window.page.get_by_label("Token"), window.page.get_by_role("button", name="Open")
        await token.fill("wrong")
        await enter.click()
        await window.shows("form", "That is not the token")
        await window.keep_picture("sign-in.png")
        await token.fill(TOKEN)
        await enter.click()
        await window.shows(".stations", "for those who may see it")
        await until(lambda: figure(web.server, "event_streams") == 1)
        web.hear(b"QA1BCD>APRS:>as it happens")
        await window.shows(".stations", "as it happens")
        assert await window.page.evaluate("document.cookie") == ""


async def test_what_changed_while_the_reader_was_away_is_told_when_they_come_back(browser: Browser) -> None:
    gateway = Gateway()
    look = {"time": NOON_MS, "run": gateway.post.run, "heard": 2, "states": {"uplink": "ok", "receiver vhf": "ok"}}
    async with open_web(gateway) as web, open_window(browser) as window:
        await window.page.context.add_init_script(f"localStorage['stile-last-look'] ??= {json.dumps(json.dumps(look))}")
        await window.open(web.address)
        changes = await window.shows("#changes", "uplink is degraded (the login is not verified)")
        assert "3 frames heard" in changes
        assert "Since 6 Jun" in await window.text(".changed")
        await window.page.get_by_role("button", name="I have read it").click()
        await window.shows(".changed", "Nothing changed.")


async def test_a_station_has_a_view_of_its_own_with_its_track_its_weather_and_its_frames(
    browser: Browser, tmp_path: Path
) -> None:
    gateway = Gateway(journal=tmp_path / "stile.db")
    for minutes in range(0, 60, 6):
        gateway.hear(b"QC3DEF>APRS:!58%02d.00N/00355.00W_090/005g009t0%d" % (36 + minutes // 6, 50 + minutes // 6))
        gateway.post.wait(360_000)
    keep_journal(tmp_path / "stile.db", gateway.heard)
    async with open_web(gateway) as web, open_window(browser) as window:
        await window.open(f"{web.address}/#station/QC3DEF")
        await expect(window.page.locator(".track")).to_have_accessible_name(
            re.compile("Track of 10 places, north up, between 0 km and 17 km away; last 17 km 0° N")
        )
        await expect(window.page.get_by_role("img", name="Temperature")).to_have_accessible_name(
            "Temperature: between 10 and 15 °C, last 15 °C"
        )
        await expect(window.page.locator(".frames li")).to_have_count(10)
        await window.keep_picture("station.png")
