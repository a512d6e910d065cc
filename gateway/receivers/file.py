"""A capture: heard objects, one a line, played at the pace at which they were heard, and stamped now."""

import asyncio
import gzip
import json
import zlib
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path
from typing import BinaryIO, cast

import structlog

from gateway.frames.delimited import DelimitedStream
from gateway.frames.heard import Heard, Run
from gateway.frames.plain import PlainFormError, from_object
from gateway.receivers.address import AddressError, CaptureFile, ReceiverAddress
from gateway.receivers.receiver import READ_OCTETS, Deliver, Phase, Receiver
from gateway.receivers.reconnect import reason_of

MAXIMUM_LINE_OCTETS = 64 * 1024
"""The longest line that is taken for a heard object: many times the longest that one can be."""

LONGEST_PAUSE_MS = 24 * 60 * 60 * 1000
"""No silence is played longer: a clock that was wrong when the capture was made could state one of half a century."""

_FRAMES_AT_A_TIME = 256
_GZIP_MARK = b"\x1f\x8b"

_log = structlog.get_logger()


class CaptureReceiver(Receiver):
    """Plays one capture, once. Its frames are heard by this receiver, on the ports of the capture."""

    def __init__(
        self,
        name: str,
        address: ReceiverAddress,
        run: Run,
        deliver: Deliver,
        *,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        """Raises `AddressError` where `address` is no capture's."""
        super().__init__(name, address, run, deliver)
        if not isinstance(address.place, CaptureFile):
            raise AddressError(f"{address} is no capture file")
        self._path = address.place.path
        self._sleep = sleep
        self._log = _log.bind(receiver=name, address=str(address))

    async def listen(self) -> None:
        """Play the capture to its end."""
        try:
            with open_capture(self._path) as capture:
                self._counts.connects += 1
                self._enter(Phase.LISTENING)
                await self._play(capture)
        except (OSError, EOFError, zlib.error) as error:
            reason = reason_of(error) if isinstance(error, OSError) else "its compressed data is damaged"
            self._end(Phase.FAILED, f"the capture cannot be read: {reason}")
        except asyncio.CancelledError:
            self._enter(Phase.STOPPED)
            raise
        else:
            passed_over = self._counts.passed_over
            self._end(Phase.PLAYED_OUT, f"{passed_over} lines could not be read" if passed_over else "")

    async def _play(self, capture: BinaryIO) -> None:
        pace = _Pace(self._run.now().elapsed_ms)
        due: list[Heard] = []
        async for heard in self._heard_in(capture):
            wait_ms = pace.due_ms(heard) - self._run.now().elapsed_ms
            if wait_ms > 0 or len(due) >= _FRAMES_AT_A_TIME:
                self._hand_on((each.port, each.frame) for each in due)
                due.clear()
                await self._sleep(max(wait_ms, 0) / 1000)
            due.append(heard)
        self._hand_on((each.port, each.frame) for each in due)

    async def _heard_in(self, capture: BinaryIO) -> AsyncIterator[Heard]:
        """What the capture holds, in its order; lines that hold no heard object are counted and passed over."""
        lines = DelimitedStream(b"\n", MAXIMUM_LINE_OCTETS, starts_delimited=True)
        at_end = False
        while not at_end:
            data = await asyncio.to_thread(capture.read, READ_OCTETS)  # a memory card can take its time
            at_end = not data
            self._counts.octets += len(data)
            for line in lines.feed(data or b"\n"):
                heard = read_line(line)
                if heard is not None:
                    yield heard
                elif not line.isspace():
                    self._counts.passed_over += 1

    def _end(self, phase: Phase, reason: str) -> None:
        self._enter(phase, reason)
        log = self._log.info if phase is Phase.PLAYED_OUT and not reason else self._log.warning
        log("capture ended", phase=phase.value, reason=reason, frames=self._counts.frames)


class _Pace:
    """When each frame of a capture is due, on the clock of this run."""

    def __init__(self, start_ms: int) -> None:
        self._due_ms = start_ms
        self._last: Heard | None = None

    def due_ms(self, heard: Heard) -> int:
        """As `elapsed_ms` of this run. Within a run of the capture its own such clock tells, else the time of day."""
        last, self._last = self._last, heard
        if last is not None:
            if heard.run == last.run:
                pause_ms = heard.moment.elapsed_ms - last.moment.elapsed_ms
            else:
                pause_ms = heard.moment.time_ms - last.moment.time_ms
            self._due_ms += min(max(pause_ms, 0), LONGEST_PAUSE_MS)
        return self._due_ms


def open_capture(path: Path) -> BinaryIO:
    """The capture at `path`, whether compressed with gzip or not, whatever its name. Raises `OSError`."""
    with path.open("rb") as peeked:
        is_compressed = peeked.read(len(_GZIP_MARK)) == _GZIP_MARK
    return cast("BinaryIO", gzip.open(path)) if is_compressed else path.open("rb")


def read_line(line: bytes) -> Heard | None:
    """The heard object in `line`, or None where there is none. Never raises."""
    if len(line) > MAXIMUM_LINE_OCTETS:
        return None
    try:
        return from_object(json.loads(line))
    except (PlainFormError, ValueError, RecursionError):  # nested a thousand deep, no line is a heard object
        return None
