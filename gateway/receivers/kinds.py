"""All kinds of receiver in one place: which one belongs to an address."""

import asyncio
from collections.abc import Sequence
from contextlib import AbstractAsyncContextManager
from functools import partial

from gateway.frames.heard import Run
from gateway.receivers import serial, tcp, unix
from gateway.receivers.address import (
    CaptureFile,
    HostPort,
    ReceiverAddress,
    SerialLine,
    UnixSocket,
    allowed_senders,
)
from gateway.receivers.file import CaptureReceiver
from gateway.receivers.receiver import Deliver, Receiver
from gateway.receivers.reconnect import Patience
from gateway.receivers.stream import StreamReceiver
from gateway.receivers.udp import DatagramReceiver

StreamPlace = HostPort | UnixSocket | SerialLine


def open_receiver(  # noqa: PLR0913 - what every receiver takes, and what some do
    name: str,
    address: ReceiverAddress,
    run: Run,
    deliver: Deliver,
    *,
    allow: Sequence[str] = (),
    patience: Patience | None = None,
) -> Receiver:
    """The receiver for `address`; it listens once its `listen` runs.

    `allow` names the senders that a UDP receiver takes. Raises `AddressError` where it is wrong or missing.
    """
    allowed_senders(address, allow)
    match address.place:
        case CaptureFile():
            return CaptureReceiver(name, address, run, deliver)
        case HostPort() if address.scheme.listens:
            return DatagramReceiver(name, address, run, deliver, allow=allow, patience=patience)
        case place:
            return StreamReceiver(name, address, run, deliver, connect=partial(connection, place), patience=patience)


def connection(place: StreamPlace) -> AbstractAsyncContextManager[asyncio.StreamReader]:
    """A new connection to a decoder. Entering it raises `OSError`, `UnicodeError` or `ConnectionEndedError`."""
    match place:
        case HostPort():
            return tcp.connection(place)
        case UnixSocket():
            return unix.connection(place)
        case SerialLine():
            return serial.connection(place)
