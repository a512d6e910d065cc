"""`stile watch` as an operator and a script use it, against a gateway that runs in this process."""

import asyncio
import json
import os
import pty
import signal
import socket
import subprocess
import sys
import termios
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import pytest
from aiohttp import web

from gateway import cli
from gateway.commands.watching.client import Client, UnansweredError, gateway_of
from gateway.commands.watching.published import Answering, Event, NoAnswer, Notice
from gateway.documents import DocumentError
from gateway.feed.schemas import Schema
from gateway.running.service import Service
from tests.answers import figure
from tests.payload_schemas import validator
from tests.waiting import until
from tests.whole_gateway import FAIL_SAFE_SECONDS, Decoder, kiss_of, running, station_file

TREE = Path(__file__).parents[2]
TOKEN = "an-invented-token-for-tests"
HOSTILE = b"QA1BCD-9>APRS:>\x1b[2J\x1b]0;mine\x07 \xe2\x80\xae turned round"
"""A screen cleared, a window renamed, a right-to-left override."""


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port: int = server.getsockname()[1]
        return port


@dataclass
class Post:
    """A running gateway with its decoder, and the station file that a watch is given."""

    decoder: Decoder
    service: Service
    station: Path

    async def hear(self, line: bytes) -> None:
        before = self.service.health().counts.heard
        await self.decoder.send(kiss_of(line))
        await until(lambda: self.service.health().counts.heard > before)


def station_text(decoder: int, port: int, web_more: str = "", more: str = "") -> str:
    return (
        "station: {callsign: QX1GAT-10, position: {latitude: 58.6, longitude: -3.9167}}\n"
        f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder}'}}]\n"
        f"web: {{listen: '127.0.0.1:{port}'{web_more}}}\n{more}"
    )


@asynccontextmanager
async def post(folder: Path, web_more: str = "", more: str = "") -> AsyncIterator[Post]:
    (folder / "token").write_text(f"{TOKEN}\n")
    async with Decoder() as decoder:
        station = station_file(folder, station_text(decoder.port, free_port(), web_more, more))
        async with running(station) as service:
            web_server = service.sinks.web
            assert web_server is not None
            await until(lambda: web_server.port is not None)
            await decoder.send(kiss_of(b"QZ9BCD>APRS:>first"))  # a receiver is ok once it has given a frame
            await until(lambda: all(part.state == "ok" for part in service.health().parts))
            yield Post(decoder, service, station.path)


@asynccontextmanager
async def stile_watch(
    *arguments: str, terminal: int | None = None, kind: str = "dumb"
) -> AsyncIterator[asyncio.subprocess.Process]:
    """The command, with its input and output on `terminal` where there is one."""
    command = (sys.executable, "-m", "gateway.cli", "watch", *arguments)
    environment = {**os.environ, "PYTHONPATH": str(TREE), "TERM": kind}
    process = await asyncio.create_subprocess_exec(
        *command,
        env=environment,
        stdin=terminal,
        stdout=subprocess.PIPE if terminal is None else terminal,
        stderr=subprocess.PIPE,
    )
    try:
        yield process
    finally:
        if process.returncode is None:
            process.kill()
            await process.wait()


async def printed(*arguments: str) -> tuple[int, str, str]:
    async with asyncio.timeout(FAIL_SAFE_SECONDS), stile_watch(*arguments) as process:
        out, err = await process.communicate()
        assert process.returncode is not None
        return process.returncode, out.decode(), err.decode()


async def line_of(process: asyncio.subprocess.Process, words: str) -> str:
    """The first line printed that holds these words."""
    assert process.stdout is not None
    async with asyncio.timeout(FAIL_SAFE_SECONDS):
        async for line in process.stdout:
            if words in line.decode():
                return line.decode()
    raise AssertionError(f"{words!r} was not printed")


async def ended(process: asyncio.subprocess.Process, number: signal.Signals) -> int:
    process.send_signal(number)
    async with asyncio.timeout(FAIL_SAFE_SECONDS):
        await process.communicate()
    assert process.returncode is not None
    return process.returncode


async def test_once_prints_the_state_and_exits_0_where_every_part_is_ok(tmp_path: Path) -> None:
    async with post(tmp_path) as running_post:
        await running_post.hear(b"QA1BCD-9>APRS:!5836.00N/00355.00W>under way")
        await running_post.hear(HOSTILE)
        status, out, err = await printed(str(running_post.station), "--once")
    assert (status, err) == (cli.FINE, "")
    assert out.startswith("Stile QX1GAT-10: ok")
    assert "receiver vhf ok" in out
    assert "heard 3 = forward 3 + keep 0" in out
    assert "QA1BCD-9  forward !5836.00N/00355.00W>under way" in out
    assert ">\\x1b[2J" in out
    assert all(line.isprintable() for line in out.splitlines())


async def test_once_exits_1_where_a_part_is_not_ok(tmp_path: Path) -> None:
    more = f"uplink: {{servers: ['tcp://127.0.0.1:{free_port()}']}}\n"
    async with Decoder() as decoder:
        station = station_file(tmp_path, station_text(decoder.port, free_port(), more=more))
        async with running(station) as service:
            web_server = service.sinks.web
            assert web_server is not None
            await until(lambda: web_server.port is not None)
            status, out, _ = await printed(str(station.path), "--once")
    assert status == cli.FOUND_WRONG
    assert out.startswith("Stile QX1GAT-10: down")
    assert "uplink       down" in out


async def test_once_as_json_is_the_health_that_is_published(tmp_path: Path) -> None:
    async with post(tmp_path) as running_post:
        status, out, _ = await printed(str(running_post.station), "--once", "--json")
    assert status == cli.FINE
    validator(Schema.HEALTH).validate(json.loads(out)["health"])


async def test_once_says_that_no_gateway_answers_and_exits_1(tmp_path: Path) -> None:
    station = station_file(tmp_path, station_text(1, free_port())).path
    status, out, err = await printed(str(station), "--once")
    assert (status, out) == (cli.FOUND_WRONG, "")
    assert "nothing listens at its address" in err
    assert "stile run STATION" in err


async def test_json_prints_each_event_as_an_object_on_a_line_and_ctrl_c_ends_it_with_0(tmp_path: Path) -> None:
    async with post(tmp_path) as running_post, stile_watch(str(running_post.station), "--json") as process:
        health = json.loads(await line_of(process, '"health"'))
        validator(Schema.HEALTH).validate(health["health"])
        streams = running_post.service.sinks.web
        assert streams is not None
        await until(lambda: figure(streams, "event_streams") == 1)
        await running_post.hear(HOSTILE)
        line = await line_of(process, '"heard"')
        assert line.rstrip("\n").isprintable()
        assert line.isascii()
        heard = json.loads(line)["heard"]
        validator(Schema.HEARD).validate(heard)
        assert heard["information"].encode() == HOSTILE.partition(b":")[2]
        await running_post.hear(b"QA1BCD-9>583VPP:`yRzmI)s/DRILL")
        validator(Schema.ALERT).validate(json.loads(await line_of(process, '"alert"'))["alert"])
        assert await ended(process, signal.SIGINT) == cli.FINE


async def test_without_a_terminal_lines_are_printed_as_they_come(tmp_path: Path) -> None:
    async with post(tmp_path) as running_post, stile_watch(str(running_post.station)) as process:
        await line_of(process, "Not a distress watch")
        await line_of(process, "the gateway answers")
        await running_post.hear(b"QA1BCD-9>583VPP:`yRzmI)s/DRILL man overboard")
        assert "DRILL man overboard" in await line_of(process, "EMERGENCY QA1BCD-9")
        assert await ended(process, signal.SIGTERM) == cli.FINE


async def test_a_terminal_is_drawn_on_heeds_its_keys_and_is_left_as_it_was(tmp_path: Path) -> None:
    controlling, terminal = pty.openpty()
    before = termios.tcgetattr(terminal)
    drawn = b""
    try:
        os.set_blocking(controlling, False)

        def take(words: bytes) -> bool:
            nonlocal drawn
            with suppress(BlockingIOError):
                drawn += os.read(controlling, 65_536)
            return words in drawn

        async with (
            post(tmp_path) as running_post,
            stile_watch(str(running_post.station), terminal=terminal, kind="vt100") as process,
        ):
            await running_post.hear(b"QA1BCD-9>APRS:>moored")
            await until(lambda: take(b">moored"))
            assert drawn.startswith(b"\x1b[?1049h")
            assert b"antenna  hearing" in drawn
            assert not termios.tcgetattr(terminal)[3] & termios.ECHO
            os.write(controlling, b"?")
            await until(lambda: take(b"A part is ok"))
            os.write(controlling, b"q")
            async with asyncio.timeout(FAIL_SAFE_SECONDS):
                await process.communicate()
            assert process.returncode == cli.FINE
            await until(lambda: take(b"\x1b[?1049l"))
        assert termios.tcgetattr(terminal) == before
    finally:
        os.close(controlling)
        os.close(terminal)


async def test_the_token_of_the_station_file_is_shown_to_the_gateway_and_to_nobody_else(tmp_path: Path) -> None:
    async with post(tmp_path, ", token_file: token") as running_post:
        status, out, err = await printed(str(running_post.station), "--once")
        assert status == cli.FINE
        assert TOKEN not in out + err
        (tmp_path / "token").write_text("another-token-than-its-own\n")
        status, _, err = await printed(str(running_post.station), "--once")
    assert status == cli.FOUND_WRONG
    assert "does not accept the token" in err
    assert "another" not in err


def test_a_station_file_without_web_is_told_what_to_add(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "station.yaml"
    path.write_text("station: {callsign: QX1GAT-10}\nreceivers: [{name: vhf, from: kiss+tcp://127.0.0.1:7581}]\n")
    assert cli.main(["watch", str(path), "--once"]) == cli.FOUND_WRONG
    assert "add `web: {}`" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("listen", "address"),
    [
        ("127.0.0.1:7583", "http://127.0.0.1:7583"),
        ("'0.0.0.0:7583', token_file: token", "http://127.0.0.1:7583"),
        ("'[::]:7583', token_file: token", "http://[::1]:7583"),
        ("localhost", "http://localhost:7583"),
    ],
)
def test_what_listens_everywhere_is_asked_on_loopback(tmp_path: Path, listen: str, address: str) -> None:
    (tmp_path / "token").write_text(TOKEN)
    path = tmp_path / "station.yaml"
    path.write_text(
        "station: {callsign: QX1GAT-10}\nreceivers: [{name: vhf, from: kiss+tcp://127.0.0.1:7581}]\n"
        f"web: {{listen: {listen}}}\n"
    )
    gateway = gateway_of(path)
    assert gateway.address == address
    assert TOKEN not in repr(gateway)


def test_no_other_secret_of_the_station_file_is_read(tmp_path: Path) -> None:
    more = "uplink: {servers: [tcp://127.0.0.1], passcode_file: not-there}\n"
    path = tmp_path / "station.yaml"
    path.write_text(station_text(7581, 7583, more=more))
    assert gateway_of(path).callsign == "QX1GAT-10"
    path.write_text(station_text(7581, 7583, ", token_file: not-there"))
    with pytest.raises(DocumentError, match="what is named here cannot be read"):
        gateway_of(path)


async def test_it_comes_back_to_a_gateway_that_was_away_and_gets_what_it_has_not_had(tmp_path: Path) -> None:
    async with Decoder() as decoder:
        station = station_file(tmp_path, station_text(decoder.port, free_port()))
        told: list[Notice] = []
        async with Client(gateway_of(station.path), catch_up=True) as client:

            async def follow() -> None:
                async for one in client.follow():
                    told.append(one)  # noqa: PERF401 - it is looked at while it grows

            following = asyncio.create_task(follow())
            await until(lambda: any(isinstance(one, NoAnswer) for one in told))
            for number in (1, 2):
                async with running(station) as service:
                    await until(lambda service=service: service.health().parts[0].why != "")  # type: ignore[misc]
                    await decoder.send(kiss_of(b"QA1BCD-9>APRS:>run %d" % number))
                    await until(lambda number=number: f">run {number}" in heard_in(told))  # type: ignore[misc]
            following.cancel()
            await asyncio.gather(following, return_exceptions=True)
    assert sum(isinstance(one, Answering) for one in told) == 2
    assert heard_in(told) == [">run 1", ">run 2"]


def heard_in(told: list[Notice]) -> list[str]:
    return [one.plain["information"] for one in told if isinstance(one, Event) and one.kind == "heard"]


@pytest.mark.parametrize(
    ("body", "content_type"),
    [
        ("<html>", "text/html"),
        ("nothing", "application/json"),
        ("[]", "application/json"),
        ('{"heard": 1}', "application/json"),
        ('{"heard": []}', "application/json"),
        ("[" * 100_000, "application/json"),
    ],
)
async def test_another_program_at_its_address_is_told_from_a_gateway(
    tmp_path: Path, body: str, content_type: str
) -> None:
    async def answer(_: web.Request) -> web.Response:
        return web.Response(text=body, content_type=content_type)

    application = web.Application()
    application.router.add_get("/{path:.*}", answer)
    runner = web.AppRunner(application)
    await runner.setup()
    try:
        site = web.TCPSite(runner, "127.0.0.1", 0)
        await site.start()
        port = runner.addresses[0][1]
        station = station_file(tmp_path, station_text(1, port)).path
        async with Client(gateway_of(station), catch_up=False) as client:
            with pytest.raises(UnansweredError, match="no gateway of this kind"):
                await client.state()
    finally:
        await runner.cleanup()
