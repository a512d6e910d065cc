"""A capture: heard objects, one a line, played at the pace at which they were heard, and stamped now."""

import asyncio
import io
from collections.abc import AsyncIterator, Awaitable, Callable

from gateway.frames.capture import BadLine, CaptureLine, CaptureLines, read_heard
from gateway.frames.heard import Heard, Run
from gateway.frames.plain import PlainFormError
from gateway.groundwork.expanding import CompressionError, expanded
from gateway.groundwork.own_thread import in_own_thread
from gateway.receivers.address import AddressError, CaptureFile, ReceiverAddress
from gateway.receivers.receiver import Deliver, Receiver, ReceiverPhase
from gateway.receivers.reconnect import reason_of

LONGEST_PAUSE_MS = 24 * 60 * 60 * 1000
"""No silence is played longer: a clock that was wrong when the capture was made could state one of half a century."""

_FRAMES_AT_A_TIME = 256


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

    async def listen(self) -> None:
        """Play the capture to its end."""
        try:
            with self._path.open("rb") as capture:
                self.counts.connections += 1
                self._enter(ReceiverPhase.LISTENING)
                await self._play(capture)
        except (OSError, CompressionError) as error:
            reason = reason_of(error) if isinstance(error, OSError) else str(error)
            self._end(ReceiverPhase.FAILED, f"the capture cannot be read: {reason}")
        except asyncio.CancelledError:
            self._enter(ReceiverPhase.STOPPED)
            raise
        else:
            unreadable = self.counts.unreadable
            self._end(ReceiverPhase.PLAYED_OUT, f"{unreadable} lines could not be read" if unreadable else "")

    async def _play(self, capture: io.BufferedIOBase) -> None:
        pace = _PlayingPace(self._run.now().elapsed_ms)
        due: list[Heard] = []
        try:
            async for heard in self._heard_in(capture):
                wait_ms = pace.due_ms(heard) - self._run.now().elapsed_ms
                if wait_ms > 0 or len(due) >= _FRAMES_AT_A_TIME:
                    self._hand_on((each.port, each.frame) for each in due)
                    due.clear()
                    await self._sleep(max(wait_ms, 0) / 1000)
                due.append(heard)
        except CompressionError:
            self._hand_on((each.port, each.frame) for each in due)
            raise
        self._hand_on((each.port, each.frame) for each in due)

    async def _heard_in(self, capture: io.BufferedIOBase) -> AsyncIterator[Heard]:
        """What the capture holds, in its order; lines that hold no heard object are counted and passed over."""
        lines = CaptureLines()
        pieces = expanded(capture)
        at_end = False
        while not at_end:
            data = await in_own_thread(next, pieces, b"")  # a memory card can take its time
            at_end = not data
            self.counts.octets += len(data)
            for line in lines.end() if at_end else lines.feed(data):
                try:
                    heard = _heard_of(line)
                except PlainFormError:
                    self.counts.unreadable += 1
                else:
                    if heard is not None:
                        yield heard

    def _end(self, phase: ReceiverPhase, reason: str) -> None:
        self._enter(phase, reason)
        log = self._log.info if phase is ReceiverPhase.PLAYED_OUT and not reason else self._log.warning
        log("capture ended", phase=phase.value, reason=reason, frames=self.counts.frames)


def _heard_of(line: CaptureLine | BadLine) -> Heard | None:
    """None: the line tells how a run began. Raises `PlainFormError`."""
    if isinstance(line, BadLine):
        raise PlainFormError(line.because)
    return read_heard(line.octets)


class _PlayingPace:
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
