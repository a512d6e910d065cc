"""A decoder on a stream socket in the file system."""

import socket
from contextlib import closing
from pathlib import Path

import pytest

from gateway.frames.heard import Run
from gateway.receivers.address import parse
from gateway.receivers.kinds import open_receiver
from tests.receivers.listening import Clock, Ear, ScriptedDecoder, at_once, frame, in_kiss, listening, sends, stays
from tests.waiting import until


@pytest.mark.parametrize(
    ("spoken", "stream"), [("kiss", in_kiss("one")), ("tnc2", b"QA1BCD-9>APRS:one\n")], ids=["kiss", "tnc2"]
)
async def test_frames_are_heard(spoken: str, stream: bytes, tmp_path: Path) -> None:
    ear = Ear()
    path = tmp_path / "decoder"
    address = parse(f"{spoken}+unix://{path}")
    receiver = open_receiver("vhf", address, Run("test"), ear, patience=at_once())
    async with ScriptedDecoder(sends(stream, then=stays), path=str(path)), listening(receiver):
        await ear.has_heard(1)
    assert ear.frames == [frame("one")]


async def test_a_socket_that_appears_later_is_heard(tmp_path: Path) -> None:
    clock, ear = Clock(), Ear()
    path = tmp_path / "decoder"
    receiver = open_receiver("vhf", parse(f"kiss+unix://{path}"), Run("test"), ear, patience=at_once(clock))
    async with listening(receiver):
        await until(lambda: len(clock.slept) >= 2)
        assert receiver.reason == "No such file or directory"
        async with ScriptedDecoder(sends(in_kiss("one"), then=stays), path=str(path)):
            await ear.has_heard(1)


async def test_a_socket_that_is_left_behind_by_a_decoder_that_ended_is_tried_again(tmp_path: Path) -> None:
    clock = Clock()
    path = tmp_path / "decoder"
    with closing(socket.socket(socket.AF_UNIX)) as left_behind:
        left_behind.bind(str(path))
    receiver = open_receiver("vhf", parse(f"kiss+unix://{path}"), Run("test"), Ear(), patience=at_once(clock))
    async with listening(receiver):
        await until(lambda: len(clock.slept) >= 2)
        assert receiver.reason == "Connection refused"
