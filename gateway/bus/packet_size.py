"""How large a packet may be: what the broker may send to us, held before it costs memory, and what we may send to it.

MQTT 5 lets a client announce the size (section 3.1.2.11.4); 3.1.1 knows nothing of it, and a broker may not keep to it.
So the octets that paho reads are counted as well: each packet tells its length in its first octets (5.0 section 2.1.4).
"""

import socket

from gateway.bus.trouble import PacketTooLargeError

MAXIMUM_PACKET_OCTETS = 256 * 1024
"""The largest packet that is read.

All that we read was written by a gateway: station objects, discovery and `status`. The largest is a station object.
A frame of some 330 octets stands in it as text, in hexadecimal and in its report, at most 6 octets of JSON for each
octet each time: 330 * 6 * 3 = 6 kB. With fields of its own it stays under 16 kB. This is sixteen times that.
"""

HEAD_OCTETS = 5 + 2 + 2 + 6
"""What a PUBLISH adds to its topic and payload, at most: first octet and length, the topic's length, the message's
number, and the properties with the one that we set (MQTT 5.0 section 3.3)."""

TOO_LARGE = f"the broker sends a packet of more than {MAXIMUM_PACKET_OCTETS // 1024} KiB: none that large is read"


class PacketLengths:
    """Follows the octets of a connection from packet to packet, and keeps none of them."""

    def __init__(self) -> None:
        self._left = 0
        """Octets of the packet that are still to come."""

        self._head = 0
        """Octets of the packet's head that have come; the first is its type, then comes the length, 7 bits each."""

        self._length = 0

    def read(self, octets: bytes) -> None:
        """Take note of what was read. Raises `PacketTooLargeError` once a length says so, and from then on."""
        position = 0
        while position < len(octets):
            if self._left:
                step = min(self._left, len(octets) - position)
                self._left -= step
                position += step
                continue
            self._read_head(octets[position])
            position += 1

    def _read_head(self, octet: int) -> None:
        if self._head:
            self._length |= (octet & 0x7F) << (7 * (self._head - 1))
        if self._length > MAXIMUM_PACKET_OCTETS:
            raise PacketTooLargeError(TOO_LARGE)
        if self._head and not octet & 0x80:
            self._left, self._head, self._length = self._length, 0, 0
        else:
            self._head = min(self._head + 1, 4)  # paho gives up on a fifth octet of length


def hold_to_maximum(connected: socket.socket) -> None:
    """Let `recv` of this one socket raise `PacketTooLargeError` before the rest of a large packet is asked for.

    paho makes its socket itself and shows it (`on_socket_open`) before it reads. It has no bound of its own and no
    place for one, so the socket becomes one of a class that has: plain or TLS, without touching what paho hides.
    """
    lengths = PacketLengths()

    class Held(type(connected)):  # type: ignore[misc] # whichever class it has: the plain one or that of TLS
        __slots__ = ()

        def recv(self, size: int, flags: int = 0) -> bytes:
            octets: bytes = super().recv(size, flags)
            lengths.read(octets)
            return octets

    connected.__class__ = Held
