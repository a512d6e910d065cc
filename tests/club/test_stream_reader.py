"""What is lost between the stream and its reader is missed, whatever the reader leaves out on purpose."""

from types import SimpleNamespace
from typing import cast

import pytest

pytest.importorskip("nats")

from nats.aio.msg import Msg

from demo.engine_servers import EngineServers
from gateway.club import stream_reader
from gateway.club.engine import Engine, EngineOptions, EngineUnansweredError, connected
from gateway.club.order import GapError
from gateway.club.slices import Slices
from gateway.club.stream_reader import Delivery, LookBack, read_stream
from gateway.club.subjects import Subjects

CLUB = Subjects("wrackholm")


def message(sequence: int, number: int) -> Msg:
    """As the engine gives it: its place in the stream, and which one of the consumer's it is (its ADR-15)."""
    reply = f"$JS.ACK.stile-wrackholm.consumer.1.{sequence}.{number}.1780747200000000000.0"
    return cast("Msg", SimpleNamespace(reply=reply, subject=CLUB.policy, data=b""))


async def test_gaps_between_the_numbers_of_the_stream_are_none_between_what_the_engine_gave() -> None:
    delivery = Delivery()
    for number, sequence in enumerate((4, 9, 10), 1):
        await delivery.take(message(sequence, number))
    assert [one.sequence for one in await delivery.next()] == [4, 9, 10]


async def test_what_was_lost_on_the_way_ends_the_reading_behind_what_came_before_it() -> None:
    delivery = Delivery()
    for sequence, number in ((4, 1), (9, 2), (11, 4), (12, 5)):
        await delivery.take(message(sequence, number))
    assert [one.sequence for one in await delivery.next()] == [4, 9]
    with pytest.raises(EngineUnansweredError):
        await delivery.next()


class Bounds:
    """A stream whose beginning is taken out as time goes by."""

    def __init__(self, *firsts: int) -> None:
        self._firsts = [*firsts]

    async def bounds(self) -> tuple[int, int]:
        return self._firsts.pop(0), 1000


async def looks(monkeypatch: pytest.MonkeyPatch, *firsts: int) -> None:
    """Look after each time that the reader came to the 10th, 50th and 60th message."""
    monkeypatch.setattr(stream_reader, "LOOK_BACK_SECONDS", 0)
    look_back = LookBack(cast("Engine", Bounds(*firsts)), 0)
    for look_back.read in (0, 10, 50, 60):
        await look_back.when_due()


async def test_nothing_is_missed_where_the_stream_holds_all_behind_the_place_of_the_last_look(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    await looks(monkeypatch, 1, 1, 11, 51)


@pytest.mark.parametrize("firsts", [(2,), (1, 2), (1, 1, 12), (1, 1, 11, 52)])
async def test_what_may_have_gone_before_it_was_read_is_missed(
    monkeypatch: pytest.MonkeyPatch, firsts: tuple[int, ...]
) -> None:
    with pytest.raises(GapError):
        await looks(monkeypatch, *firsts)


async def test_some_slices_are_read_with_all_beats_and_not_behind_what_is_gone() -> None:
    async with EngineServers(1) as servers, connected(EngineOptions(servers.urls, "hub"), CLUB, servers.urls[0]) as hub:
        await hub.make_what_is_absent(1)
        for subject in (CLUB.policy, CLUB.heard("headland", 3), CLUB.heard("headland", 4), CLUB.hub_beat("qx1hub-10")):
            await hub.publish(subject, b"")
        reading = read_stream(hub, 1, Slices.of([4, 5]))
        read: list[int] = []
        while len(read) < 3:
            read += [one.sequence for one in await anext(reading)]
        await reading.aclose()
        assert read == [1, 3, 4]
        await hub.stream.purge_stream(CLUB.stream, seq=3)
        with pytest.raises(GapError):
            await anext(read_stream(hub, 2, Slices.of([4, 5])))
