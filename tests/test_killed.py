"""A gateway that is killed, or stopped, and started again: it goes on as if it had never been away."""

import asyncio
import json
import signal
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest

from demo.network_server import NetworkServer
from tests.test_run import Gateway, stile_run
from tests.whole_gateway import FAIL_SAFE_SECONDS, Decoder, kiss_of

POLICY = """version: 1
name: thrifty
duplicates: {window: 30m}
rates: [{name: plan, per: everything, allow: 1 kB per month}]
"""
BUOYS = [b"QA1BUY-%d>APRS,QD1RPT*:!5836.%02dN/00455.00Wbbuoy %d" % (number, number, number) for number in range(1, 13)]
MEANING = b"QA1BUY-1>APRS::QA1BUY-1 :PARM.Battery,Sun"
NEAR = b"QB2CDE-9>APRS:!5836.00N/00355.00W>in the bay"


def free_port() -> int:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        port: int = sock.getsockname()[1]
        return port


@dataclass
class Running:
    """A gateway between a decoder and a network server, with its page."""

    gateway: Gateway
    decoder: Decoder
    server: NetworkServer
    web: int

    async def ask(self, path: str) -> Any:  # noqa: ANN401 - whatever JSON it answers
        async with httpx.AsyncClient() as client:
            return (await client.get(f"http://127.0.0.1:{self.web}{path}")).json()

    async def until(self, path: str, holds: Callable[[Any], bool]) -> Any:  # noqa: ANN401 - see above
        async with asyncio.timeout(FAIL_SAFE_SECONDS):
            while True:
                try:
                    if holds(answer := await self.ask(path)):
                        return answer
                except httpx.TransportError:  # it does not listen yet
                    pass
                await asyncio.sleep(0.02)

    async def hear(self, *lines: bytes) -> None:
        """Hear frames, and wait until all of them are told of."""
        before = (await self.ask("/api/health"))["counts"]["heard"]
        await self.decoder.send(b"".join(map(kiss_of, lines)))
        await self.until("/api/health", lambda health: health["counts"]["heard"] == before + len(lines))


@asynccontextmanager
async def started(folder: Path, server: NetworkServer, web: int = 0) -> AsyncIterator[Running]:
    """A gateway whose web listens on the port `web`, or on any that is free, and whose decoder has said nothing yet."""
    (folder / "thrifty.yaml").write_text(POLICY)
    async with Decoder() as decoder:
        web = web or free_port()
        text = (
            "station: {callsign: QX1GAT-10, position: {latitude: 58.6, longitude: -3.9167}}\n"
            f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}]\n"
            f"uplink: {{servers: ['tcp://127.0.0.1:{server.port}'], passcode_file: passcode}}\n"
            f"web: {{listen: '127.0.0.1:{web}'}}\npolicy: ./thrifty.yaml\n"
            "journal: {path: stile.db, captures: captures}\n"
            "alerts: [{name: bay, area: {latitude: 58.6, longitude: -3.9167, radius: 1km}}]\n"
        )
        async with stile_run(folder, text) as gateway:
            running = Running(gateway, decoder, server, web)
            await running.until("/api/health", lambda health: up(health) and listening(health))
            yield running


def up(health: Any) -> bool:  # noqa: ANN401 - JSON
    return any(part["kind"] == "uplink" and part["state"] == "ok" for part in health["parts"])


def listening(health: Any) -> bool:  # noqa: ANN401 - JSON
    return any(part["kind"] == "receiver" and part["state"] == "waiting" for part in health["parts"])


@pytest.mark.parametrize("end", [signal.SIGKILL, signal.SIGTERM])
async def test_after_a_restart_everything_is_known_and_nothing_goes_up_again(
    tmp_path: Path, end: signal.Signals
) -> None:
    async with NetworkServer(keep_lines=100) as server:
        async with started(tmp_path, server) as first:
            await first.hear(*BUOYS)
            await server.until(lambda: len(server.lines) == 12)
            await first.hear(MEANING, b"QA1BUY-1>APRS:>afloat")
            await first.until("/api/health", lambda health: figure(health, "journal", "written") == 14)
            await first.hear(b"QA1BUY-1>APRS:>moored")  # what the start settled, it settled before this
            await first.until("/api/health", lambda health: figure(health, "journal", "written") == 15)
            before = await first.ask("/api/health")
            stations = await first.ask("/api/stations")
            recent = await first.ask("/api/heard")
            await first.gateway.end(end)
        sent = list(server.lines)

        async with started(tmp_path, server) as second:
            health = await second.ask("/api/health")
            assert (health["run"] != before["run"], health["counts"]["heard"]) == (True, 0)
            assert health["today"] == before["today"]
            assert health["today"]["heard"] == 15
            assert health["reach"] == before["reach"]
            assert health["activity"]["last_heard"] == before["activity"]["last_heard"]
            assert await second.ask("/api/stations") == stations
            assert (await second.ask("/api/heard"))["heard"] == recent["heard"]

            await second.hear(*BUOYS)  # twelve copies of what went up before
            await second.hear(b"QA1BUY-1>APRS:T#005,125,000")
            await second.hear(*(b"QC3DEF>APRS:>status number %d" % number for number in range(12)))
            after = await second.until("/api/health", lambda health: health["counts"]["heard"] == 25)
            [measured] = [heard for heard in (await second.ask("/api/heard"))["heard"] if b"T#005" in encoded(heard)]
            [buoy] = [each for each in (await second.ask("/api/stations"))["features"] if each["id"] == "QA1BUY-1"]
        assert after["counts"]["keep_by_reason"]["duplicate"] == 12
        assert measured["report"]["channels"][0]["name"] == "Battery"
        assert buoy["properties"]["memory"]["frames"] == 6
        # What was used of the budget before the restart is used: 1000 octets in all.
        assert sum(map(len, sent)) < 1000
        assert after["counts"]["keep_by_reason"]["over-rate"] > 0
        assert sum(map(len, server.lines)) <= 1000
        assert len(set(server.lines)) == len(server.lines)


async def test_an_alert_that_was_raised_before_a_kill_is_not_raised_again(tmp_path: Path) -> None:
    async with NetworkServer() as server:
        async with started(tmp_path, server) as first:
            await first.hear(NEAR)
            await first.gateway.until_logged("alert")
            await first.until("/api/health", lambda health: figure(health, "journal", "unsettled") == 0)
            await first.gateway.end(signal.SIGKILL)
        async with started(tmp_path, server) as second:
            await second.hear(NEAR + b" still")
            health = await second.ask("/api/health")
            await second.gateway.end(signal.SIGTERM)
    assert "alert" not in {json.loads(line)["event"] for line in second.gateway.text.splitlines()}
    assert figure(health, "alerts", "alerts")["match"] == 0


def figure(health: Any, part: str, name: str) -> Any:  # noqa: ANN401 - JSON
    [found] = [each["figures"] for each in health["parts"] if each["name"] == part]
    return found[name]


def encoded(plain: Any) -> bytes:  # noqa: ANN401 - JSON
    return json.dumps(plain).encode()
