"""The picture for small screens over HTTP."""

import asyncio
import io
import sys
import threading
from xml.etree import ElementTree as ET

import httpx
import pytest
from PIL import Image

from gateway.glance import png
from gateway.glance.scene import Scene
from gateway.glance.view import EMERGENCY_HOLDS
from gateway.judge.verdict import Reason
from tests.glance.scenarios import EMERGENCY
from tests.waiting import until
from tests.web.opened import FAIL_SAFE_SECONDS, TOKEN, open_web

SVG = "{http://www.w3.org/2000/svg}"


def texts(answer: httpx.Response) -> list[str]:
    assert answer.headers["Content-Type"] == "image/svg+xml; charset=utf-8"
    return [text.text or "" for text in ET.fromstring(answer.content).iter(f"{SVG}text")]


async def test_the_last_station_and_the_health_are_seen() -> None:
    async with open_web() as web:
        assert "nothing heard yet" in texts(await web.get("/panel.svg"))
        web.hear(b"QB2CDE-7>APRS:!5836.00N/00355.00W>under way")
        web.hear(b"QA1BCD>APRS:>a copy", Reason.DUPLICATE)
        web.hear(b"this is no frame")
        shown = texts(await web.get("/panel.svg?width=480&height=320"))
        assert "QB2CDE-7" in shown
        assert any(words.startswith("uplink: not well") for words in shown)


async def test_a_picture_has_the_size_and_the_colours_that_were_asked_for() -> None:
    async with open_web() as web:
        web.hear()
        answer = await web.get("/panel.png?width=128&height=64&colours=2&ground=light")
        assert answer.headers["Content-Type"] == "image/png"
        image = Image.open(io.BytesIO(answer.content))
        assert (image.size, image.mode) == ((128, 64), "1")
        assert image.getpixel((0, 0)) == 255
        usual = Image.open(io.BytesIO((await web.get("/panel.png")).content))
        assert (usual.size, usual.mode) == ((320, 240), "RGB")


async def test_an_emergency_has_the_screen_however_much_is_heard_after_it_until_it_is_over() -> None:
    async with open_web(heard=5) as web:
        web.hear(EMERGENCY)
        for _ in range(9):
            web.hear()
        assert texts(await web.get("/panel.svg"))[0] == "EMERGENCY"
        web.gateway.post.wait(int(EMERGENCY_HOLDS.total_seconds() * 1000))
        assert "EMERGENCY" not in texts(await web.get("/panel.svg"))


@pytest.mark.parametrize("kind", ["svg", "png"])
@pytest.mark.parametrize(
    "query",
    [
        "width=127", "width=1921", "height=63", "height=1201", "width=ten", "width=", "width=200&width=200",
        "width=٣٠٠", "width=-200", "width=99999999999999999999", "colours=3", "colours=2&colours=2", "ground=blue",
    ],
)  # fmt: skip
async def test_a_size_out_of_bounds_or_a_colour_that_is_none_is_a_problem_that_names_it(kind: str, query: str) -> None:
    async with open_web() as web:
        answer = await web.get(f"/panel.{kind}?{query}")
        assert answer.status_code == 400
        assert answer.json()["detail"].startswith(query.partition("=")[0])


async def test_without_pillow_pixels_answer_what_to_install_and_vectors_are_drawn(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "PIL", None)
    async with open_web() as web:
        answer = await web.get("/panel.png")
        assert answer.status_code == 501
        assert answer.json()["detail"].endswith("pip install 'stile[panel]'")
        assert (await web.get("/panel.svg")).status_code == 200


async def test_a_picture_that_did_not_change_is_drawn_once(monkeypatch: pytest.MonkeyPatch) -> None:
    drawings = 0
    draw = png.draw

    def count(scene: Scene) -> bytes:
        nonlocal drawings
        drawings += 1
        return draw(scene)

    monkeypatch.setattr(png, "draw", count)
    async with open_web() as web:
        for _ in range(3):
            first = await web.get("/panel.png")
            assert first.status_code == 200
        assert drawings == 1
        web.hear()
        await web.get("/panel.png")
        assert drawings == 2


async def test_one_picture_is_drawn_at_a_time_and_everybody_else_is_answered_meanwhile(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    begun: list[Scene] = []
    go_on = threading.Event()

    def draw(scene: Scene) -> bytes:
        begun.append(scene)
        assert go_on.wait(FAIL_SAFE_SECONDS)
        return b"drawn"

    monkeypatch.setattr(png, "draw", draw)
    async with open_web() as web:
        asked = [asyncio.create_task(web.get(f"/panel.png?width={width}")) for width in (200, 300)]
        await until(lambda: bool(begun))
        for _ in range(3):
            assert (await web.get("/healthz")).status_code == 200
        assert len(begun) == 1
        go_on.set()
        assert [answer.content for answer in await asyncio.gather(*asked)] == [b"drawn", b"drawn"]
        assert len(begun) == 2


async def test_who_left_before_a_picture_was_drawn_keeps_nobody_else_from_theirs(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    begun = threading.Event()
    go_on = threading.Event()

    def draw(_: Scene) -> bytes:
        begun.set()
        assert go_on.wait(FAIL_SAFE_SECONDS)
        return b"drawn"

    monkeypatch.setattr(png, "draw", draw)
    async with open_web() as web:
        left = asyncio.create_task(web.get("/panel.png?width=200"))
        await until(begun.is_set)
        left.cancel()
        await asyncio.gather(left, return_exceptions=True)
        go_on.set()
        assert (await web.get("/panel.png?width=300")).content == b"drawn"


async def test_who_has_not_the_token_sees_no_picture() -> None:
    async with open_web(token=TOKEN) as web:
        assert (await web.get("/panel.png")).status_code == 401
        assert (await web.get("/panel.svg", Authorization=f"Bearer {TOKEN}")).status_code == 200
