"""An address of which nothing is known: what is spoken there, KISS or monitor text, or nothing that we know."""

import asyncio
from dataclasses import dataclass
from enum import StrEnum

from gateway.frames.frame import Frame
from gateway.receivers.framing import Framing, KissFraming, Tnc2Framing
from gateway.receivers.kinds import StreamPlace, connection
from gateway.receivers.receiver import READ_OCTETS
from gateway.receivers.reconnect import ConnectionEndedError, reason_of

CONNECT_SECONDS = 3.0
MOST_OCTETS = 1024 * 1024
"""A source that brings so much without a frame is none of ours."""


class Language(StrEnum):
    """What is spoken."""

    KISS = "kiss"
    TEXT = "tnc2"


@dataclass(frozen=True, slots=True)
class Speech:
    """What was found at an address."""

    open: bool
    octets: int = 0
    language: Language | None = None
    frame: Frame | None = None
    """The first that was heard."""

    trouble: str = ""
    """Why there is no connection, or no longer, in plain words."""


async def listen(place: StreamPlace, *, seconds: float) -> Speech:
    """What is spoken at `place`, heard for up to `seconds`; the first good frame ends it. Nothing is written there."""
    framings: dict[Language, Framing] = {Language.KISS: KissFraming(), Language.TEXT: Tnc2Framing()}
    octets, is_open = 0, False
    try:
        async with asyncio.timeout(seconds + CONNECT_SECONDS) as limit, connection(place) as reader:
            is_open = True
            limit.reschedule(asyncio.get_running_loop().time() + seconds)
            while octets < MOST_OCTETS and (data := await reader.read(READ_OCTETS)):
                octets += len(data)
                for language, framing in framings.items():
                    for _, frame in framing.feed(data):
                        if isinstance(frame, Frame):
                            return Speech(is_open, octets, language, frame)
    except TimeoutError:
        return Speech(is_open, octets, trouble="" if is_open else "the host does not answer")
    except (OSError, UnicodeError) as error:
        return Speech(is_open, octets, trouble=reason_of(error))
    except ConnectionEndedError as error:
        return Speech(is_open, octets, trouble=str(error))
    return Speech(is_open, octets, trouble="the other end closed the connection")
