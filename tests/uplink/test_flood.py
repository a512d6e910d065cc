"""A server that floods, on a real socket."""

import asyncio

import pytest

from demo.network_server import NetworkServer
from gateway.uplink import reading_budget
from gateway.uplink.state import UplinkPhase
from tests.uplink.posting import SECONDS, a_post


async def test_a_server_that_floods_is_left_for_the_next_and_that_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading_budget, "BURST_SECONDS", 0.000_5)
    monkeypatch.setattr(reading_budget, "PATIENCE_SECONDS", 0.05)
    async with NetworkServer() as server, a_post(server, steady=0) as post:
        await post.until_phase(UplinkPhase.VERIFIED)
        flood = b"QA1BCD-9>APRS:>" + b"x" * 400 + b"\r\n"
        async with asyncio.timeout(SECONDS * 4):
            while not any("more than a gateway may spend time on" in state.reason for state in post.states):
                server.say(flood * 500)
                await asyncio.sleep(0.001)
