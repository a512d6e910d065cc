"""`stile panel` against a gateway that runs in this process."""

import asyncio
import os
import signal
import sys
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager, chdir
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from PIL import Image

from gateway import cli
from tests.commands.test_watching import TREE, free_port, post, station_text
from tests.glance.scenarios import EMERGENCY
from tests.waiting import until
from tests.whole_gateway import FAIL_SAFE_SECONDS

SVG = "{http://www.w3.org/2000/svg}"


def texts(path: Path) -> list[str]:
    return [text.text or "" for text in ET.fromstring(path.read_bytes()).iter(f"{SVG}text")] if path.exists() else []


def station_without_gateway(folder: Path) -> str:
    path = folder / "station.yaml"
    path.write_text(station_text(7581, free_port()))
    return str(path)


@asynccontextmanager
async def panel(*arguments: str) -> AsyncIterator[asyncio.subprocess.Process]:
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "gateway.cli", "panel", *arguments,
        env={**os.environ, "PYTHONPATH": str(TREE)}, stderr=asyncio.subprocess.PIPE,
    )  # fmt: skip
    try:
        yield process
    finally:
        if process.returncode is None:
            process.kill()
            await process.wait()


async def ended(process: asyncio.subprocess.Process) -> tuple[int | None, str]:
    async with asyncio.timeout(FAIL_SAFE_SECONDS):
        _, said = await process.communicate()
    return process.returncode, said.decode()


async def test_a_file_follows_the_gateway_and_says_at_the_end_that_nobody_keeps_it_up(tmp_path: Path) -> None:
    path = tmp_path / "panel.svg"
    size = ("--width", "480", "--height", "320")
    async with (
        post(tmp_path) as running_post,
        panel(str(running_post.station), "--file", str(path), *size) as process,
    ):
        await until(lambda: "QZ9BCD" in texts(path))
        await running_post.hear(b"QA1BCD-9>APRS:!5836.00N/00355.00W>under way")
        await until(lambda: "QA1BCD-9" in texts(path))
        await running_post.hear(EMERGENCY.replace(b"QA1BCD-9", b"QE9CLL"))
        await until(lambda: texts(path)[:1] == ["EMERGENCY"] and "QE9CLL" in texts(path))
        process.send_signal(signal.SIGTERM)
        assert await ended(process) == (cli.FINE, "")
    assert any(words.startswith(("this screen is not kept up since", "stopped")) for words in texts(path))


async def test_a_gateway_that_goes_away_is_seen_to_give_no_answer(tmp_path: Path) -> None:
    path = tmp_path / "panel.svg"
    async with AsyncExitStack() as stack:
        async with post(tmp_path) as running_post:
            process = await stack.enter_async_context(panel(str(running_post.station), "--file", str(path)))
            await until(lambda: "QZ9BCD" in texts(path))
        await until(lambda: any(words.startswith("no answer") for words in texts(path)))
        assert "QZ9BCD" in texts(path)
        process.send_signal(signal.SIGINT)
        assert (await ended(process))[0] == cli.FINE


async def test_once_draws_it_once(tmp_path: Path) -> None:
    path = tmp_path / "panel.png"
    async with post(tmp_path) as running_post:
        arguments = ("--file", str(path), "--once", "--width", "250", "--height", "122", "--colours", "2")
        async with panel(str(running_post.station), *arguments) as process:
            assert await ended(process) == (cli.FINE, "")
    with Image.open(path) as image:
        assert (image.size, image.mode) == ((250, 122), "1")


def test_once_exits_1_where_no_gateway_answers_and_shows_that(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "panel.svg"
    assert cli.main(["panel", station_without_gateway(tmp_path), "--file", str(path), "--once"]) == cli.FOUND_WRONG
    assert any(words.startswith("no answer") for words in texts(path))
    assert not list(tmp_path.glob(".*"))
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize(
    ("command", "status", "why"),
    [
        ("--file panel.gif", cli.FOUND_WRONG, "let the name end in .png or .svg"),
        ("--file none/panel.svg", cli.FOUND_WRONG, "No such file or directory"),
        ("--framebuffer none", cli.FOUND_WRONG, "No such file or directory"),
        ("--framebuffer station.yaml", cli.FOUND_WRONG, "is no framebuffer"),
        ("--framebuffer none --width 300", cli.USED_WRONGLY, "a size of its own"),
        ("--file panel.svg --width 100", cli.USED_WRONGLY, "128x64 to 1920x1200"),
        ("--file panel.svg --height 0", cli.USED_WRONGLY, "128x64 to 1920x1200"),
    ],
)
def test_what_cannot_be_drawn_on_is_told_in_a_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str, status: int, why: str
) -> None:
    station = station_without_gateway(tmp_path)
    with chdir(tmp_path):
        assert cli.main(["panel", station, *command.split(), "--once"]) == status
    (line,) = capsys.readouterr().err.splitlines()
    assert why in line


async def test_a_file_that_cannot_be_written_any_longer_ends_it_in_a_line(tmp_path: Path) -> None:
    folder = tmp_path / "shown"
    folder.mkdir()
    async with (
        post(tmp_path) as running_post,
        panel(str(running_post.station), "--file", str(folder / "panel.svg")) as process,
    ):
        await until(lambda: "QZ9BCD" in texts(folder / "panel.svg"))
        (folder / "panel.svg").unlink()
        folder.rmdir()
        await running_post.hear(b"QA1BCD-9>APRS:>moored")
        status, said = await ended(process)
    assert status == cli.FOUND_WRONG
    assert "No such file or directory" in said
    assert len(said.splitlines()) == 1


def test_without_pillow_pixels_say_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "PIL", None)
    path = tmp_path / "panel.png"
    assert cli.main(["panel", station_without_gateway(tmp_path), "--file", str(path), "--once"]) == cli.FOUND_WRONG
    assert "pip install 'stile[panel]'" in capsys.readouterr().err
