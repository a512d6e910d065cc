"""A stream receiver on real sockets, whatever the other end does."""

import asyncio
import random
import socket
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, closing

import pytest

from gateway.frames.frame import Damaged
from gateway.frames.heard import Heard, Run
from gateway.frames.kiss import MAXIMUM_ESCAPED_OCTETS
from gateway.groundwork.part import State
from gateway.receivers.address import ReceiverAddress, parse
from gateway.receivers.kinds import open_receiver
from gateway.receivers.receiver import READ_OCTETS, Receiver, ReceiverPhase
from gateway.receivers.reconnect import Patience
from gateway.receivers.stream import StreamReceiver
from tests.receivers.listening import (
    Clock,
    Ear,
    Ending,
    ScriptedDecoder,
    at_once,
    frame,
    half_closes,
    in_kiss,
    listening,
    resets,
    sends,
    stays,
)
from tests.waiting import until


def receiver_of(port: int, ear: Ear, clock: Clock | None = None, *, spoken: str = "kiss") -> Receiver:
    address = parse(f"{spoken}+tcp://127.0.0.1:{port}")
    return open_receiver("vhf", address, Run("test"), ear, patience=at_once(clock))


def unused_port() -> int:
    with closing(socket.create_server(("127.0.0.1", 0))) as server:
        return int(server.getsockname()[1])


async def test_frames_are_heard_with_their_receiver_and_port_in_the_order_in_which_they_came() -> None:
    ear = Ear()
    script = sends(in_kiss("one", "two"), in_kiss("three", port=12), then=stays)
    async with ScriptedDecoder(script) as decoder, listening(receiver_of(decoder.port, ear)):
        await ear.has_heard(3)
    assert ear.frames == [frame("one"), frame("two"), frame("three")]
    assert [each.port for each in ear.heard] == [0, 0, 12]
    assert {each.receiver for each in ear.heard} == {"vhf"}


async def test_monitor_text_is_heard_line_by_line() -> None:
    ear = Ear()
    script = sends(b"# decoder\r\nQA1BCD-9>APRS:one\r\nQA1BC", b"D-9>APRS:two\r\n", then=stays)
    async with ScriptedDecoder(script) as decoder:
        receiver = receiver_of(decoder.port, ear, spoken="tnc2")
        async with listening(receiver):
            await ear.has_heard(2)
            assert receiver.counts.ignored == 1
    assert ear.frames == [frame("one"), frame("two")]


async def test_a_decoder_that_is_not_there_yet_is_heard_once_it_is() -> None:
    clock, ear = Clock(), Ear()
    receiver = receiver_of(unused_port(), ear, clock)
    async with listening(receiver):
        await until(lambda: len(clock.slept) >= 3)
        part = receiver.part()
    assert (part.state, part.why) == (State.DOWN, "Connection refused")
    assert receiver.counts.connections == 0


@pytest.mark.parametrize("ending", [None, half_closes, resets], ids=["closes", "half-closes", "resets"])
async def test_a_connection_that_ends_is_made_again(ending: Ending | None) -> None:
    ear = Ear()
    scripts = [sends(in_kiss("one"), then=ending), sends(in_kiss("two"), then=stays)]
    async with ScriptedDecoder(*scripts) as decoder:
        receiver = receiver_of(decoder.port, ear)
        async with listening(receiver):
            await until(lambda: frame("two") in ear.frames)
            assert receiver.counts.connections == 2
            assert receiver.phase is ReceiverPhase.LISTENING
            assert receiver.reason == ""


@pytest.mark.parametrize(
    ("spoken", "octets", "looks_like", "other"),
    [
        ("kiss", b"QA1BCD-9>APRS,QD1AA*:>under way\r\n", "monitor text", "tnc2"),
        ("tnc2", in_kiss("one"), "KISS", "kiss"),
    ],
)
async def test_another_language_than_the_address_says_is_recognised_however_it_is_split(
    spoken: str, octets: bytes, looks_like: str, other: str
) -> None:
    pieces = [octets[place : place + 1] for place in range(len(octets))]
    async with ScriptedDecoder(sends(*pieces, then=stays)) as decoder:
        receiver = receiver_of(decoder.port, Ear(), spoken=spoken)
        async with listening(receiver):
            await until(lambda: looks_like in receiver.part().why)
            part = receiver.part()
    assert part.state is State.WAITING
    assert part.do == f"write {other}+tcp://127.0.0.1:{decoder.port} in the station file, and restart"


async def test_a_stream_that_dribbles_is_heard_the_same() -> None:
    ear = Ear()
    stream = in_kiss("one", "two", port=12)
    script = sends(*(stream[place : place + 1] for place in range(len(stream))), then=stays)
    async with ScriptedDecoder(script) as decoder, listening(receiver_of(decoder.port, ear)):
        await ear.has_heard(2)
    assert ear.frames == [frame("one"), frame("two")]


async def test_garbage_is_counted_as_damage_and_what_follows_is_heard() -> None:
    ear = Ear()
    garbage = random.Random(7).randbytes(100_000)
    async with ScriptedDecoder(sends(garbage + in_kiss("after"), then=stays)) as decoder:
        receiver = receiver_of(decoder.port, ear)
        async with listening(receiver):
            await until(lambda: frame("after") in ear.frames)
            counts = receiver.counts
    assert counts.frames == len(ear.heard)
    assert counts.damaged == sum(isinstance(each, Damaged) for each in ear.frames) > 0
    assert counts.octets == len(garbage) + len(in_kiss("after"))


async def test_a_frame_without_end_is_damaged_once_however_long_it_goes_on() -> None:
    ear = Ear()
    pieces = [b"\xc0\x00", *[b"x" * 50_000] * 40, in_kiss("after")]
    async with ScriptedDecoder(sends(*pieces, then=stays)) as decoder, listening(receiver_of(decoder.port, ear)):
        await ear.has_heard(2)
    damage, after = ear.frames
    assert isinstance(damage, Damaged)
    assert len(damage.octets) <= MAXIMUM_ESCAPED_OCTETS
    assert after == frame("after")


async def test_what_was_unfinished_when_a_connection_ended_does_not_reach_into_the_next() -> None:
    ear = Ear()
    scripts = [sends(in_kiss("one") + in_kiss("two")[:-5]), sends(in_kiss("three"), then=stays)]
    async with ScriptedDecoder(*scripts) as decoder, listening(receiver_of(decoder.port, ear)):
        await ear.has_heard(2)
    assert ear.frames == [frame("one"), frame("three")]


async def test_a_decoder_that_closes_at_once_for_ever_is_waited_for_longer_and_longer() -> None:
    clock = Clock()
    async with ScriptedDecoder(sends()) as decoder, listening(receiver_of(decoder.port, Ear(), clock)):
        await until(lambda: len(clock.slept) >= 8)
    assert clock.slept[:8] == [0.5, 1, 2, 4, 8, 16, 30, 30]


@asynccontextmanager
async def never_connects() -> AsyncIterator[asyncio.StreamReader]:
    await asyncio.Event().wait()
    yield asyncio.StreamReader()


def address() -> ReceiverAddress:
    return parse("kiss+tcp://127.0.0.1:7581")


async def test_a_connection_that_does_not_come_about_is_given_up() -> None:
    clock = Clock()
    patience = Patience(connect=0.01, sleep=clock.sleep)
    receiver = StreamReceiver("vhf", address(), Run("test"), Ear(), connect=never_connects, patience=patience)
    async with listening(receiver):
        await until(lambda: len(clock.slept) >= 2)
        assert receiver.reason == "no connection within 0.01 s"


async def test_after_each_full_read_the_other_tasks_get_their_turn() -> None:
    turns = 0
    turns_at_delivery: list[int] = []

    @asynccontextmanager
    async def connect() -> AsyncIterator[asyncio.StreamReader]:
        reader = asyncio.StreamReader(limit=READ_OCTETS)
        reader.feed_data(in_kiss("x" * 100) * 2000)  # all there at once: no read has to wait
        yield reader

    def deliver(_: Sequence[Heard]) -> None:
        turns_at_delivery.append(turns)

    receiver = StreamReceiver("vhf", address(), Run("test"), deliver, connect=connect, patience=at_once())
    async with listening(receiver):
        while len(turns_at_delivery) < 10:
            turns += 1
            await asyncio.sleep(0)
    assert len(set(turns_at_delivery[:10])) == 10


async def test_a_stop_closes_the_connection_and_is_shown() -> None:
    ear = Ear()
    left = asyncio.Event()

    async def script(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(in_kiss("one"))
        await reader.read()
        left.set()

    async with ScriptedDecoder(script) as decoder:
        receiver = receiver_of(decoder.port, ear)
        async with listening(receiver) as task:
            await ear.has_heard(1)
            task.cancel()
            await asyncio.wait([task])
            assert task.cancelled()
            assert receiver.phase is ReceiverPhase.STOPPED
            await asyncio.wait_for(left.wait(), 5)


async def test_a_fault_of_the_one_who_is_delivered_to_is_not_taken_for_one_of_the_connection() -> None:
    def faulty(_: Sequence[Heard]) -> None:
        raise OSError("the disk is full")

    async with ScriptedDecoder(sends(in_kiss("one"), then=stays)) as decoder:
        receiver = open_receiver("vhf", parse(f"kiss+tcp://127.0.0.1:{decoder.port}"), Run("test"), faulty)
        with pytest.raises(OSError, match="the disk is full"):
            await receiver.listen()
