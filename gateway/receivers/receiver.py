"""What every receiver is: it listens until it is cancelled, hands on what it hears, and says how it fares."""

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from gateway.frames.frame import Damaged, Frame
from gateway.frames.heard import Heard, Run
from gateway.receivers.address import ReceiverAddress

Deliver = Callable[[Sequence[Heard]], None]
"""Takes all frames that one read brought, at once and without waiting. What it raises ends the receiver."""

READ_OCTETS = 16 * 1024
"""How much is read at a time: after each, the other tasks get their turn."""


class Phase(StrEnum):
    """What a receiver is doing."""

    STARTING = "starting"
    """It was made, and does not listen yet."""

    CONNECTING = "connecting"
    LISTENING = "listening"
    """Connected, or open: what is sent there is heard."""

    WAITING = "waiting"
    """There was no connection, or it ended; another try follows."""

    PLAYED_OUT = "played out"
    """A capture came to its end."""

    FAILED = "failed"
    """A capture cannot be read, and no other try follows."""

    STOPPED = "stopped"


_TRYING = frozenset({Phase.STARTING, Phase.CONNECTING, Phase.WAITING})


@dataclass(slots=True)
class Counts:
    """How much a receiver has heard since the start."""

    octets: int = 0
    frames: int = 0
    """Frames handed on, the damaged ones among them."""

    damaged: int = 0
    ignored: int = 0
    """KISS commands and monitor text comments: they are no frames, and no fault."""

    passed_over: int = 0
    """Datagrams of senders that are not allowed, and lines of a capture that cannot be read."""

    connects: int = 0


@dataclass(frozen=True, slots=True)
class ReceiverState:
    """How a receiver fares, for the health of the post."""

    phase: Phase
    since_ms: int
    """When the phase began, as `elapsed_ms` of this run; while it connects and waits in turn, when that began."""

    reason: str
    """Why it is so, in plain words: empty where nothing is wrong. Never text from the air."""

    last_heard_ms: int | None
    """`elapsed_ms` of the last frame; None where there was none."""

    counts: Counts
    """A copy: it does not go on counting."""


class Receiver(ABC):
    """One decoder socket, or what stands in its place."""

    def __init__(self, name: str, address: ReceiverAddress, run: Run, deliver: Deliver) -> None:
        self.name = name
        self.address = address
        self._run = run
        self._deliver = deliver
        self._phase = Phase.STARTING
        self._since_ms = run.now().elapsed_ms
        self._reason = ""
        self._last_heard_ms: int | None = None
        self._counts = Counts()

    @abstractmethod
    async def listen(self) -> None:
        """Hear until cancelled; a capture ends when it is played out."""

    def state(self) -> ReceiverState:
        """How it fares now."""
        return ReceiverState(self._phase, self._since_ms, self._reason, self._last_heard_ms, replace(self._counts))

    def _enter(self, phase: Phase, reason: str = "") -> None:
        if not {self._phase, phase} <= _TRYING:
            self._since_ms = self._run.now().elapsed_ms
        self._phase = phase
        self._reason = reason

    def _hand_on(self, frames: Iterable[tuple[int, Frame | Damaged]]) -> None:
        """Give what one read brought, as (KISS port, frame), its place in the run, and deliver it."""
        moment = self._run.now()
        hear, name = self._run.hear, self.name
        heard = [hear(moment, name, port, frame) for port, frame in frames]
        if heard:
            self._last_heard_ms = moment.elapsed_ms
            self._counts.frames += len(heard)
            self._counts.damaged += sum(each.frame.__class__ is Damaged for each in heard)
            self._deliver(heard)
