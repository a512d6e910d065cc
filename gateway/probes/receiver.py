"""A decoder as the station file names it, heard for a while by the gateway's own receiver: it is read as it will be."""

import asyncio
import contextlib
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace

from gateway.frames.heard import Heard, Run
from gateway.groundwork.back_off import Pauses
from gateway.groundwork.part import Part
from gateway.groundwork.waiting import happens_within
from gateway.receivers.address import ReceiverAddress
from gateway.receivers.kinds import open_receiver
from gateway.receivers.other_language import OtherLanguage
from gateway.receivers.receiver import ReceiverCounts
from gateway.receivers.reconnect import Patience

LISTEN_SECONDS = 10.0
"""A busy band brings a frame every few seconds (common practice); on a quiet one nothing is heard in any time."""

ENOUGH_FRAMES = 20
"""So many good frames show how it is: nobody need wait for more."""

TRIES = 2
"""A decoder that refuses so often is not there."""

MOST_KEPT = 500
LOOK_SECONDS = 0.1
"""How often it is asked whether it hears another language: it tells nobody."""

_PAUSES = Pauses(first=0.3, longest=1.0)
_CONNECT_SECONDS = 6.0


@dataclass(frozen=True, slots=True)
class ReceiverFound:
    """How a receiver was when it was left."""

    part: Part
    counts: ReceiverCounts
    other_language: OtherLanguage | None
    heard: tuple[Heard, ...]
    """The last of what was heard."""

    seconds: float

    @property
    def good_frames(self) -> int:
        """How many were not damaged."""
        return self.counts.frames - self.counts.damaged


async def hear(
    name: str, address: ReceiverAddress, allow: Sequence[str] = (), *, seconds: float = LISTEN_SECONDS
) -> ReceiverFound:
    """Listen at `address` for `seconds`; less where enough was heard, or nothing can be."""
    run = Run()
    heard: deque[Heard] = deque(maxlen=MOST_KEPT)
    over = asyncio.Event()
    losses = 0

    def deliver(frames: Sequence[Heard]) -> None:
        heard.extend(frames)
        if receiver.counts.frames - receiver.counts.damaged >= ENOUGH_FRAMES:
            over.set()

    async def wait_between(pause: float) -> None:
        nonlocal losses
        losses += 1
        if losses >= TRIES:
            over.set()
        await asyncio.sleep(pause)

    patience = Patience(pauses=_PAUSES, connect=_CONNECT_SECONDS, sleep=wait_between)
    receiver = open_receiver(name, address, run, deliver, allow=allow, patience=patience)
    listening = asyncio.create_task(receiver.listen())
    listening.add_done_callback(lambda _: over.set())
    try:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                while receiver.other_language is None and not over.is_set():
                    await happens_within(over, LOOK_SECONDS)
        return ReceiverFound(
            receiver.part(),
            replace(receiver.counts),
            receiver.other_language,
            tuple(heard),
            run.now().elapsed_ms / 1000,
        )
    finally:
        listening.cancel()
        await asyncio.wait([listening])
