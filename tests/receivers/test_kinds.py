"""Which receiver belongs to an address."""

import pytest

from gateway.frames.heard import Run
from gateway.receivers.address import AddressError, parse
from gateway.receivers.file import CaptureReceiver
from gateway.receivers.kinds import open_receiver
from gateway.receivers.receiver import Receiver, ReceiverPhase
from gateway.receivers.stream import StreamReceiver
from gateway.receivers.udp import DatagramReceiver
from tests.receivers.listening import Ear


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("kiss+tcp://127.0.0.1:7581", StreamReceiver),
        ("kiss+unix:///run/decoder", StreamReceiver),
        ("kiss+serial:///dev/ttyUSB0?baud=1200", StreamReceiver),
        ("tnc2+tcp://127.0.0.1:7581", StreamReceiver),
        ("tnc2+unix:///run/decoder", StreamReceiver),
        ("tnc2+udp://127.0.0.1:7581", DatagramReceiver),
        ("axudp://127.0.0.1:7581", DatagramReceiver),
        ("file:///capture", CaptureReceiver),
    ],
)
def test_every_address_has_its_receiver(text: str, kind: type[Receiver]) -> None:
    address = parse(text)
    receiver = open_receiver("vhf", address, Run("test"), Ear())
    assert isinstance(receiver, kind)
    assert (receiver.name, receiver.address) == ("vhf", address)
    assert receiver.phase is ReceiverPhase.STARTING


def test_senders_that_are_allowed_belong_to_udp_only() -> None:
    with pytest.raises(AddressError, match="belongs to udp addresses only"):
        open_receiver("vhf", parse("kiss+tcp://127.0.0.1:7581"), Run("test"), Ear(), allow=["192.0.2.7"])


def test_senders_that_are_allowed_reach_the_udp_receiver() -> None:
    open_receiver("vhf", parse("tnc2+udp://0.0.0.0:7586"), Run("test"), Ear(), allow=["192.0.2.7"])
