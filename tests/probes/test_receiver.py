"""Decoders as they are met: one that speaks, one that never does, one in another language, one that is not there."""

import asyncio
import os
import pty

import pytest

from gateway.groundwork.part import State
from gateway.probes import receiver
from gateway.receivers.address import parse
from tests.mosquitto_broker import free_port
from tests.probes.answering import frame, in_kiss, saying

LONG = 20.0
"""Seconds; what is looked for comes at once."""


async def test_enough_good_frames_end_it() -> None:
    frames = in_kiss(*(frame(f">{number}") for number in range(receiver.ENOUGH_FRAMES)))
    async with saying(frames) as port:
        found = await receiver.hear("vhf", parse(f"kiss+tcp://127.0.0.1:{port}"), seconds=LONG)
    assert found.part.state is State.OK
    assert found.good_frames == len(found.heard) == receiver.ENOUGH_FRAMES
    assert found.seconds < LONG


async def test_a_decoder_that_never_speaks_is_heard_to_the_end_of_the_time() -> None:
    async with saying(b"") as port:
        found = await receiver.hear("vhf", parse(f"kiss+tcp://127.0.0.1:{port}"), seconds=0.5)
    assert found.part.state is State.WAITING
    assert found.counts.octets == 0
    assert found.part.why.startswith("nothing came in ")


@pytest.mark.parametrize(
    ("scheme", "octets", "language"),
    [("tnc2", in_kiss(frame(">x")), "KISS"), ("kiss", b"QA1BCD-9>APRS:>x\r\n", "monitor text")],
)
async def test_the_other_language_is_recognised(scheme: str, octets: bytes, language: str) -> None:
    async with saying(octets) as port:
        found = await receiver.hear("vhf", parse(f"{scheme}+tcp://127.0.0.1:{port}"), seconds=LONG)
    assert found.other_language is not None
    assert found.other_language.what == language


async def test_a_decoder_that_refuses_twice_is_not_waited_for() -> None:
    found = await receiver.hear("vhf", parse(f"kiss+tcp://127.0.0.1:{free_port()}"), seconds=LONG)
    assert (found.part.state, found.part.why) == (State.DOWN, "Connection refused")


async def test_a_modem_on_a_serial_line_is_heard() -> None:
    """A pseudo-terminal is a serial line to its program (pty(7))."""
    master, slave = pty.openpty()
    try:
        address = parse(f"kiss+serial://{os.ttyname(slave)}")
        hearing = asyncio.create_task(receiver.hear("vhf", address, seconds=LONG))
        while not hearing.done():
            os.write(master, in_kiss(*[frame(">x")] * 5))  # what came before the line was set up is thrown away
            await asyncio.sleep(0.05)
        found = await hearing
    finally:
        os.close(master)
        os.close(slave)
    assert found.part.state is State.OK
    assert found.good_frames >= receiver.ENOUGH_FRAMES


async def test_a_serial_device_that_is_not_there_is_down() -> None:
    found = await receiver.hear("vhf", parse("kiss+serial:///dev/no-such-modem"), seconds=LONG)
    assert (found.part.state, found.part.why) == (State.DOWN, "No such file or directory")


async def test_a_capture_is_played_and_over() -> None:
    found = await receiver.hear("old", parse("file:///no/such/capture"), seconds=LONG)
    assert found.part.state is State.DOWN
