"""The air near Wrackholm Bay: who speaks when, and by which ways the post hears it."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from random import Random

from gateway.frames import ax25, kiss
from gateway.frames.frame import Frame
from gateway.frames.header import Header, Repeater

GENERAL = "APRS"
"""The destination of who does not say what software sends (APRS101 chapter 4)."""

HARBOUR_REPEATER = "QD1AA"
HEADLAND_REPEATER = "QD1BB"

VHF = 0
HF = 1
"""The ports of the post's modem."""

YACHT, POWER_BOAT, BUOY, WEATHER_STATION, REPEATER, HOUSE = "/Y", "/s", "\\N", "/_", "/#", "/-"
"""Symbols: table and code (APRS101 appendix 2)."""


@dataclass(frozen=True, slots=True)
class OnAir:
    """One transmission as the modem of the post gives it to its decoder."""

    seconds: float
    """After the first gun."""

    octets: bytes
    """The AX.25 frame without its check sequence; what is left of it where the modem lost some."""

    port: int = VHF
    garbled: bytes | None = None
    """The bytes that the modem wrote, where it wrote what KISS does not know."""

    @property
    def stream(self) -> bytes:
        """The bytes that the modem writes."""
        return kiss.encode(self.octets, self.port) if self.garbled is None else self.garbled


Said = tuple[str, str]
"""Destination and information."""

Says = Callable[[float], Said]
"""What a station says so many seconds after the gun."""

Compose = Callable[[float], Iterable[OnAir]]
"""What is heard of something said at that time, then or a little later."""


@dataclass(frozen=True, slots=True)
class Turn:
    """Something that happens on the air again and again. Times in seconds."""

    first: float
    every: float
    compose: Compose


def on_air(seconds: float, header: Header, information: str, port: int = VHF) -> OnAir:
    """A proper frame."""
    return OnAir(seconds, ax25.write(Frame(header, information.encode("latin-1"))), port)


def repeated(chance: Random, source: str, says: Says, *, heard_again: float = 0.3) -> Compose:
    """Each thing said is heard direct or not, and again by each way that was lucky with it: at least once in all."""

    def compose(seconds: float) -> Iterator[OnAir]:
        destination, information = says(seconds)
        ways = [way for way in _WAYS if chance.random() < (_HEARD_DIRECT if way is _DIRECT else heard_again)]
        for way in ways or [_DIRECT]:
            yield on_air(seconds + way.delay, Header(source, destination, way.path), information)

    return compose


@dataclass(frozen=True, slots=True)
class _Way:
    path: tuple[Repeater, ...]
    delay: float
    """In seconds: a repeater speaks once the channel is free."""


_HEARD_DIRECT = 0.75
_DIRECT = _Way((Repeater("WIDE1-1"), Repeater("WIDE2-1")), 0.0)
_WAYS = (
    _DIRECT,
    _Way((Repeater(HARBOUR_REPEATER, used=True), Repeater("WIDE2-1")), 0.4),
    _Way((Repeater(HEADLAND_REPEATER, used=True), Repeater("WIDE2-1")), 0.7),
    _Way((Repeater(HARBOUR_REPEATER, used=True), Repeater(HEADLAND_REPEATER, used=True)), 1.1),
)
