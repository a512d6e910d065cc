"""Datagrams from decoders, and from those who are none."""

import socket
import sys
from collections.abc import Iterator
from contextlib import closing

import pytest
import structlog.testing

from gateway.frames import ax25
from gateway.frames.frame import Damaged
from gateway.frames.heard import Run
from gateway.groundwork.part import State
from gateway.receivers.address import AddressError, HostPort, ReceiverAddress, Scheme, parse
from gateway.receivers.receiver import ReceiverPhase
from gateway.receivers.udp import DatagramReceiver
from tests.answers import figure
from tests.check_sequence import append_fcs
from tests.receivers.listening import Clock, Ear, at_once, frame, listening
from tests.waiting import until

ANY_PORT = 0


def address(scheme: Scheme = Scheme.TNC2_UDP, host: str = "127.0.0.1", port: int = ANY_PORT) -> ReceiverAddress:
    return ReceiverAddress(scheme, HostPort(host, port), f"{scheme}://{host}:{port}")


@pytest.fixture
def sender() -> Iterator[socket.socket]:
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as sending:
        yield sending


def sender_at(host: str) -> socket.socket:
    sending = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sending.bind((host, 0))
    return sending


async def port_of(receiver: DatagramReceiver) -> tuple[str, int]:
    await until(lambda: receiver.phase is ReceiverPhase.LISTENING)
    assert receiver.port
    return "127.0.0.1", receiver.port


async def test_lines_of_monitor_text_are_heard_one_or_more_in_a_datagram(sender: socket.socket) -> None:
    ear = Ear()
    receiver = DatagramReceiver("vhf", address(), Run("test"), ear)
    async with listening(receiver):
        place = await port_of(receiver)
        sender.sendto(b"QA1BCD-9>APRS:one\r\nQA1BCD-9>APRS:two", place)
        sender.sendto(b"QA1BCD-9>APRS:three\n# comment\n", place)
        await ear.has_heard(3)
        assert receiver.counts.ignored == 1
    assert ear.frames == [frame("one"), frame("two"), frame("three")]


async def test_a_frame_with_its_check_sequence_is_heard_and_one_whose_sequence_does_not_hold_is_damaged(
    sender: socket.socket,
) -> None:
    ear = Ear()
    receiver = DatagramReceiver("vhf", address(Scheme.AXUDP), Run("test"), ear)
    async with listening(receiver):
        place = await port_of(receiver)
        sender.sendto(append_fcs(ax25.write(frame("one"))), place)
        sender.sendto(ax25.write(frame("two")), place)
        sender.sendto(b"", place)
        await ear.has_heard(3)
        counts = receiver.counts
    good, *bad = ear.frames
    assert good == frame("one")
    assert all(isinstance(each, Damaged) for each in bad)
    assert (counts.frames, counts.damaged) == (3, 2)


async def test_the_datagrams_of_others_are_counted_and_passed_over() -> None:
    ear = Ear()
    receiver = DatagramReceiver("vhf", address(), Run("test"), ear, allow=["127.0.0.2"])
    async with listening(receiver):
        place = await port_of(receiver)
        with closing(sender_at("127.0.0.3")) as other, closing(sender_at("127.0.0.2")) as allowed:
            other.sendto(b"QA1BCD-9>APRS:foreign", place)
            allowed.sendto(b"QA1BCD-9>APRS:one", place)
            await ear.has_heard(1)
        assert figure(receiver, "not_allowed") == 1
        assert figure(receiver, "octets") == len(b"QA1BCD-9>APRS:one")
    assert ear.frames == [frame("one")]


async def test_a_decoder_that_is_not_allowed_is_named_in_the_health_and_once_in_the_log() -> None:
    receiver = DatagramReceiver("vhf", address(), Run("test"), Ear(), allow=["127.0.0.2"])
    with structlog.testing.capture_logs() as logs:
        async with listening(receiver):
            place = await port_of(receiver)
            with closing(sender_at("127.0.0.3")) as other:
                for _ in range(50):
                    other.sendto(b"QA1BCD-9>APRS:foreign", place)
                await until(lambda: receiver.counts.not_allowed == 50)
            part = receiver.part()
    assert part.state is State.WAITING
    assert part.why.endswith("from senders that are not allowed, the last from 127.0.0.3")
    assert part.do == "name the decoder's address in `allow:`"
    assert [entry["last"] for entry in logs if entry["log_level"] == "warning"] == ["127.0.0.3"]


async def test_senders_are_told_apart_on_a_socket_of_both_kinds() -> None:
    # A socket on [::] shows an IPv4 sender as the IPv6 address that holds it (RFC 4291 section 2.5.5.2).
    if not socket.has_dualstack_ipv6():
        pytest.skip("this computer has no socket of both kinds")
    ear = Ear()
    receiver = DatagramReceiver("vhf", address(host="::"), Run("test"), ear, allow=["127.0.0.2"])
    async with listening(receiver):
        place = await port_of(receiver)
        with closing(sender_at("127.0.0.3")) as other, closing(sender_at("127.0.0.2")) as allowed:
            other.sendto(b"QA1BCD-9>APRS:foreign", place)
            allowed.sendto(b"QA1BCD-9>APRS:one", place)
            await ear.has_heard(1)
    assert ear.frames == [frame("one")]


async def test_a_burst_is_handed_on_together_in_bounded_parts(sender: socket.socket) -> None:
    ear = Ear()
    receiver = DatagramReceiver("vhf", address(), Run("test"), ear)
    async with listening(receiver):
        place = await port_of(receiver)
        for number in range(100):  # all of them before the receiver has its turn
            sender.sendto(b"QA1BCD-9>APRS:%d" % number, place)
        await ear.has_heard(100)
    assert ear.frames == [frame(str(number)) for number in range(100)]
    assert [len(delivery) for delivery in ear.deliveries] == [64, 36]


async def test_a_port_that_is_taken_is_listened_on_once_it_is_free(sender: socket.socket) -> None:
    clock, ear = Clock(), Ear()
    with closing(sender_at("127.0.0.1")) as taking:
        receiver = DatagramReceiver(
            "vhf", address(port=taking.getsockname()[1]), Run("test"), ear, patience=at_once(clock)
        )
        async with listening(receiver):
            await until(lambda: len(clock.slept) >= 2)
            assert receiver.reason == "Address already in use"
            taking.close()
            sender.sendto(b"QA1BCD-9>APRS:one", await port_of(receiver))
            await ear.has_heard(1)


async def test_however_many_senders_there_are_what_is_remembered_of_them_is_bounded() -> None:
    receiver = DatagramReceiver("vhf", address(), Run("test"), Ear(), allow=["10.0.0.0/16"])
    verdicts = [receiver._is_allowed(f"10.{a}.{b}.1") for a in range(2) for b in range(256)]  # noqa: SLF001 - as said
    assert verdicts == [True] * 256 + [False] * 256
    assert len(receiver._verdicts) <= 256  # noqa: SLF001 - as said


def test_a_port_for_other_computers_without_their_addresses_is_refused_at_once() -> None:
    with pytest.raises(AddressError, match="name them in allow"):
        DatagramReceiver("vhf", parse("tnc2+udp://0.0.0.0:7586"), Run("test"), Ear())


def test_an_address_of_another_kind_is_refused_at_once() -> None:
    with pytest.raises(AddressError, match="is no udp address"):
        DatagramReceiver("vhf", parse("file:///capture"), Run("test"), Ear())


@pytest.mark.skipif(sys.platform != "linux", reason="Linux alone counts them by the socket")
async def test_what_the_system_drops_is_counted_and_said_once_a_minute(sender: socket.socket) -> None:
    ear = Ear()
    receiver = DatagramReceiver("vhf", address(), Run("test"), ear)
    with structlog.testing.capture_logs() as logs:
        async with listening(receiver):
            place = await port_of(receiver)
            sent = 0
            while not receiver.counts.dropped:
                for _ in range(2000):  # without letting the receiver read: its queue overflows
                    sent += 1
                    sender.sendto(b"QA1BCD-9>APRS:>%0200d" % sent, place)
                await until(lambda: receiver.counts.frames + receiver.counts.dropped >= sent)  # noqa: B023 - asked at once
    assert receiver.counts.frames + receiver.counts.dropped == sent
    assert receiver.counts.frames < sent
    assert figure(receiver, "dropped") == receiver.counts.dropped
    said = [each for each in logs if each["log_level"] == "warning"]
    assert [each["event"] for each in said] == ["datagrams came faster than they could be read: some were dropped"]
