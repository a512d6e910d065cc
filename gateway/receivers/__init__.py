"""Receivers: one file per kind of source; each turns what a decoder sends into `Heard`.

| file | holds |
| --- | --- |
| `address.py` | where a receiver listens: the text of the station file becomes a `ReceiverAddress` |
| `file.py` | a capture: heard objects, one a line, played at the pace at which they were heard, and stamped now |
| `framing.py` | what is spoken on a connection or in a datagram: bytes as they come become (KISS port, frame) |
| `kinds.py` | all kinds of receiver in one place: which one belongs to an address |
| `other_language.py` | what a connection speaks that gives no frame: monitor text where KISS is asked for |
| `receiver.py` | what every receiver is: it listens until it is cancelled, hands on what it hears |
| `reconnect.py` | trying again for ever: a receiver whose other end may go away and come back |
| `serial.py` | a modem on a serial line, by the terminal interface of POSIX (termios) |
| `stream.py` | a decoder at the other end of a stream of bytes: a TCP or Unix socket, or a serial line |
| `tcp.py` | connections to a decoder over TCP |
| `udp.py` | datagrams that decoders send here, from the senders that are allowed |
| `unix.py` | connections to a decoder over a stream socket in the file system |
"""
