"""Any bytes at all, by the hundred thousand, into all that reads bytes from outside: nothing gets out but values.

Half of the inputs are random, half are good ones with a few octets changed, cut or doubled: those reach deeper.
"""

import json
import random
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from gateway.frames import ax25, third_party, tnc2
from gateway.frames.fcs import strip_fcs
from gateway.frames.frame import Damaged, Frame
from gateway.frames.header import Header, Repeater
from gateway.frames.heard import Heard
from gateway.frames.kiss import KissDecoder, encode
from gateway.frames.network_line import network_line, route
from gateway.frames.plain import PlainFormError, from_object
from gateway.frames.tnc2 import LineDecoder
from tests.check_sequence import append_fcs
from tests.frames.strategies import PLAIN

INPUTS = 200_000

PATH = (Repeater("QD1HRB", used=True), Repeater("QD1HDL", used=True), Repeater("WIDE2-1"))
GOOD = [
    Frame(Header("QA1BCD-9", "APRS", PATH), b"!5836.00N/00355.00W>088/036/A=000012 hello"),
    Frame(Header("QB2CDE", "SX3V00", PATH[:1]), b"`y)ol\x1c\x1cY/ on the water"),
    Frame(Header("QX9GAT", "APRS"), b"}QA1BCD-9>APRS,QNET,QX9GAT*:}QB2CDE>APRS,TCPIP*:>inside"),
    Frame(Header("QF4HRB-15", "QB2CDE"), b"", 0x3F, None),
    Frame(Header("QF4HRB", "QB2CDE", PATH * 2), bytes(range(256))),
]
SPECIAL = b"\xc0\xdb\xdc\xdd\x00\xff\r\n#>:,*}-\x03\xf0"


def mutated(chance: random.Random, good: bytes) -> bytes:
    octets = bytearray(good)
    for _ in range(chance.randrange(1, 5)):
        place = chance.randrange(len(octets) + 1)
        match chance.randrange(4):
            case 0:
                octets[place : place + 1] = bytes((chance.choice(SPECIAL),))
            case 1:
                del octets[place : place + chance.randrange(8)]
            case 2:
                octets[place:place] = octets[:place]
            case _:
                octets[place:place] = bytes((chance.randrange(256),))
    return bytes(octets[:1000])


def inputs(draw: int, good: list[bytes]) -> Iterator[bytes]:
    chance = random.Random(draw)
    for number in range(INPUTS):
        if number % 2:
            yield mutated(chance, chance.choice(good))
        else:
            yield chance.randbytes(chance.randrange(80))


def feeds(decoder_of: Callable[[], Any], draw: int, good: list[bytes]) -> Iterator[Any]:
    """What decoders give back for streams of inputs, each decoder fed a few hundred without a pause."""
    decoder = decoder_of()
    for number, data in enumerate(inputs(draw, good)):
        if number % 500 == 0:
            decoder = decoder_of()
        yield from decoder.feed(data)


def follow(frame: Frame | Damaged) -> None:
    """All that is done with every frame before it is judged."""
    assert isinstance(frame, Frame | Damaged)
    if isinstance(frame, Frame):
        innermost = third_party.unwrap(frame).innermost
        line = network_line(innermost, route("QX1GAT-10"))
        assert line.index(b"\n") == len(line) - 1
        assert line.index(b"\r") == len(line) - 2


def test_kiss_streams() -> None:
    read = 0
    for port, octets in feeds(KissDecoder, 1, [encode(ax25.write(frame), 12) for frame in GOOD]):
        assert 0 <= port <= 15
        frame = octets if isinstance(octets, Damaged) else ax25.read(octets)
        follow(frame)
        read += isinstance(frame, Frame)
    assert read > INPUTS // 100  # else the mutations reach nothing


def test_lines_of_monitor_text() -> None:
    read = 0
    for line in feeds(LineDecoder, 2, [tnc2.write(frame) + b"\r\n" for frame in GOOD]):
        frame = line if isinstance(line, Damaged) else tnc2.read(line)
        follow(frame)
        read += isinstance(frame, Frame)
    assert read > INPUTS // 100


def test_datagrams_with_a_check_sequence() -> None:
    good = [append_fcs(ax25.write(frame)) for frame in GOOD]
    passed = [body for data in inputs(3, good) if (body := strip_fcs(data)) is not None]
    for body in passed:
        follow(ax25.read(body))
    # Of damaged datagrams a 16-bit check passes one in 65,536, and the mutations leave few as they were.
    assert len(passed) < INPUTS // 100


def test_frames_without_a_check_sequence() -> None:
    for octets in inputs(4, [ax25.write(frame) for frame in GOOD]):
        follow(ax25.read(octets))


def test_frames_inside_frames() -> None:
    header = Header("QX9GAT", "APRS")
    for information in inputs(5, [b"}" + tnc2.write(frame) for frame in GOOD]):
        follow(Frame(header, b"}" + information))


JSON_VALUES: list[Any] = [
    None,
    True,
    -1,
    0,
    7,
    256,
    10**30,
    1.5,
    "",
    "x",
    "\ud800",
    "é" * 9,
    "//8=",
    [],
    [1],
    ["Q*"],
    {},
]


def changed(chance: random.Random, plain: dict[str, Any]) -> dict[str, Any]:
    names = [*plain, "port", "control", "pid", "outer", "damage", "octets_base64", "information_base64"]
    return plain | {chance.choice(names): chance.choice(JSON_VALUES) for _ in range(chance.randrange(3))}


def test_heard_objects_with_any_values() -> None:
    chance = random.Random(6)
    read = 0
    for _ in range(INPUTS // 2):
        try:
            heard = from_object(changed(chance, PLAIN))
        except PlainFormError:
            continue
        assert isinstance(heard, Heard)
        follow(heard.frame)
        read += 1
    assert read > INPUTS // 100


def test_lines_of_captures() -> None:
    good = json.dumps(PLAIN).encode()
    chance = random.Random(7)
    for _ in range(INPUTS // 2):
        try:
            plain = json.loads(mutated(chance, good))
        except ValueError:
            continue
        try:
            from_object(plain)
        except PlainFormError:
            continue


@pytest.mark.parametrize("depth", [10, 1000, 100_000])
def test_nesting_however_deep_ends_in_no_frame(depth: int) -> None:
    frame = Frame(Header("QX9GAT", "APRS"), b"}QA1>B:" * depth)
    assert third_party.unwrap(frame).malformed is not None
