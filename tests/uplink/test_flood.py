"""A server that floods, on a real socket."""

import asyncio
import time
from types import SimpleNamespace

import pytest

from demo.network_server import NetworkServer
from gateway.uplink import link, reading_budget
from gateway.uplink.state import UplinkPhase
from tests.uplink.posting import SECONDS, a_post


async def test_a_server_that_floods_is_left_for_the_next_and_that_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    await flood_until_left(b"QA1BCD-9>APRS:>" + b"x" * 400 + b"\r\n", 500, monkeypatch)


async def test_a_flood_of_single_octets_counts_by_how_often_it_wakes_the_gateway(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(link, "time", SimpleNamespace(thread_time=float, monotonic=time.monotonic))
    await flood_until_left(b"x", 1, monkeypatch)


async def flood_until_left(octets: bytes, times: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """With a budget that is small enough for a test."""
    monkeypatch.setattr(reading_budget, "SHARE", 0.001)
    monkeypatch.setattr(reading_budget, "BURST_SECONDS", 0.000_5)
    monkeypatch.setattr(reading_budget, "PATIENCE_SECONDS", 0.05)
    async with NetworkServer() as server, a_post(server, steady=0) as post:
        await post.until_phase(UplinkPhase.VERIFIED)
        async with asyncio.timeout(SECONDS * 4):
            while not any("more than a gateway may spend time on" in state.reason for state in post.states):
                server.say(octets * times)
                await asyncio.sleep(0.001)
