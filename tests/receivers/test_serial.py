"""A modem on a serial line: a pseudo-terminal stands in for the line, its other side for the modem."""

import fcntl
import os
import pty
import termios
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.frames import ax25, kiss
from gateway.frames.frame import Frame
from gateway.frames.header import Header
from gateway.frames.heard import Run
from gateway.receivers.address import parse
from gateway.receivers.kinds import open_receiver
from gateway.receivers.receiver import Receiver, ReceiverPhase
from tests.receivers.listening import Clock, Ear, at_once, frame, in_kiss, listening
from tests.waiting import until


class Modem:
    """The other side of a line whose device stands at `device`."""

    def __init__(self, device: Path) -> None:
        self._device = device
        self._side, self.line = pty.openpty()
        device.unlink(missing_ok=True)
        device.symlink_to(os.ttyname(self.line))

    def send(self, octets: bytes) -> None:
        os.write(self._side, octets)

    def pull_out(self) -> None:
        """As a USB modem is."""
        if self._device.is_symlink():
            self._device.unlink()
            os.close(self._side)
            os.close(self.line)


@pytest.fixture
def modem(tmp_path: Path) -> Iterator[Modem]:
    plugged_in = Modem(tmp_path / "ttyUSB0")
    yield plugged_in
    plugged_in.pull_out()


def receiver_at(device: Path, ear: Ear, clock: Clock | None = None, *, baud: int = 9600) -> Receiver:
    address = parse(f"kiss+serial://{device}?baud={baud}")
    return open_receiver("hf", address, Run("test"), ear, patience=at_once(clock))


def is_listening(receiver: Receiver) -> bool:
    return receiver.phase is ReceiverPhase.LISTENING


async def test_every_octet_passes_the_line_unchanged(modem: Modem, tmp_path: Path) -> None:
    ear = Ear()
    sent = Frame(Header("QA1BCD-9", "APRS"), bytes(range(256)))
    receiver = receiver_at(tmp_path / "ttyUSB0", ear)
    async with listening(receiver):
        await until(lambda: is_listening(receiver))
        modem.send(kiss.encode(ax25.write(sent)))
        await ear.has_heard(1)
    assert ear.frames == [sent]


async def test_the_line_has_the_speed_that_was_asked_for(modem: Modem, tmp_path: Path) -> None:
    receiver = receiver_at(tmp_path / "ttyUSB0", Ear(), baud=1200)
    async with listening(receiver):
        await until(lambda: is_listening(receiver))
        _, _, control, _, speed_in, speed_out, _ = termios.tcgetattr(modem.line)
    assert speed_in == speed_out == termios.B1200
    assert control & termios.CSIZE == termios.CS8
    assert control & termios.CLOCAL
    assert not control & (termios.PARENB | termios.CSTOPB | termios.CRTSCTS)


async def test_a_modem_that_is_pulled_out_is_heard_again_when_it_is_back(modem: Modem, tmp_path: Path) -> None:
    clock, ear = Clock(), Ear()
    device = tmp_path / "ttyUSB0"
    receiver = receiver_at(device, ear, clock)
    async with listening(receiver):
        await until(lambda: is_listening(receiver))
        modem.pull_out()
        await until(lambda: len(clock.slept) >= 2)
        assert receiver.reason == "No such file or directory"
        again = Modem(device)
        await until(lambda: is_listening(receiver))
        again.send(in_kiss("back"))
        await ear.has_heard(1)
    again.pull_out()
    assert ear.frames == [frame("back")]
    assert receiver.counts.connections == 2


async def test_a_line_that_another_program_has_is_left_to_it(modem: Modem, tmp_path: Path) -> None:
    fcntl.flock(modem.line, fcntl.LOCK_EX)
    clock = Clock()
    receiver = receiver_at(tmp_path / "ttyUSB0", Ear(), clock)
    async with listening(receiver):
        await until(lambda: len(clock.slept) >= 1)
        assert receiver.reason == "another program has the serial line"
        fcntl.flock(modem.line, fcntl.LOCK_UN)
        await until(lambda: is_listening(receiver))


async def test_what_is_no_serial_line_is_said_to_be_none(tmp_path: Path) -> None:
    device = tmp_path / "file"
    device.touch()
    clock = Clock()
    receiver = receiver_at(device, Ear(), clock)
    async with listening(receiver):
        await until(lambda: len(clock.slept) >= 1)
        assert receiver.reason == "what stands there is no serial line"
