"""A hub's hold on its login, and how it leaves it to another."""

import asyncio
from typing import TYPE_CHECKING, cast

import pytest

pytest.importorskip("nats")

from gateway.club import lease
from gateway.club.engine import OvertakenError
from gateway.club.lease import read_record
from gateway.club.login import LoginRecord

if TYPE_CHECKING:
    from gateway.club.engine import Engine

LEASE_MS = 30


class OneKey:
    """An engine with one key."""

    def __init__(self) -> None:
        self.octets: bytes | None = None
        self.revision = 0

    async def key(self, _name: str) -> tuple[int, bytes | None]:
        return self.revision, self.octets

    async def set_key(self, _name: str, value: bytes, revision: int, _seconds: float) -> int:
        if revision != self.revision:
            raise OvertakenError
        self.octets = value
        self.revision += 1
        return self.revision


async def test_a_login_that_is_given_up_is_not_taken_again_while_the_hub_is_still_connected(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(lease, "LOOK_MS", 10)
    engine = OneKey()
    record = LoginRecord("QX1HUB-10", "QX1HUB-10/a", LEASE_MS)
    task = asyncio.create_task(record.keep(cast("Engine", engine)))
    async with asyncio.timeout(10):
        await record.held.wait()
        await record.give_up(cast("Engine", engine))
    done, _ = await asyncio.wait([task], timeout=5 * LEASE_MS / 1000)  # it would renew, look, and take it again
    assert not done
    task.cancel()
    await asyncio.wait([task])
    assert engine.octets is not None
    assert read_record(engine.octets).holder == ""
    assert not record.held.is_set()


async def test_a_login_is_given_up_though_a_write_of_the_hub_itself_came_first() -> None:
    engine = OneKey()
    record = LoginRecord("QX1HUB-10", "QX1HUB-10/a", lease_ms=60_000)
    task = asyncio.create_task(record.keep(cast("Engine", engine)))
    async with asyncio.timeout(10):
        await record.held.wait()
        engine.revision += 1  # it was renewed, and the answer is still under way
        await record.give_up(cast("Engine", engine))
    task.cancel()
    await asyncio.wait([task])
    assert engine.octets is not None
    assert read_record(engine.octets).holder == ""
