"""What every receiver is: it listens until it is cancelled, hands on what it hears, and says how it is."""

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import structlog

from gateway.frames.frame import Damaged, Frame
from gateway.frames.heard import Heard, Run
from gateway.frames.pulse import FrameSource
from gateway.groundwork.duration import in_words
from gateway.groundwork.part import Figure, Part, PartKind, State, counted, figures_of, gauge
from gateway.receivers.address import ReceiverAddress, Scheme
from gateway.receivers.other_language import OtherLanguage, recognise

Deliver = Callable[[Sequence[Heard]], None]
"""Takes all frames that one read brought, at once and without waiting. What it raises ends the receiver."""

READ_OCTETS = 16 * 1024
"""How much is read at a time: after each, the other tasks get their turn."""


class ReceiverPhase(StrEnum):
    """What a receiver is doing."""

    STARTING = "starting"
    """It was made, and does not listen yet."""

    CONNECTING = "connecting"
    LISTENING = "listening"
    """Connected, or open: what is sent there is heard."""

    WAITING = "waiting"
    """There was no connection, or it ended; another try follows."""

    PLAYED_OUT = "played out"
    FAILED = "failed"
    """A capture cannot be read, and no other try follows."""

    STOPPED = "stopped"


_TRYING = frozenset({ReceiverPhase.STARTING, ReceiverPhase.CONNECTING, ReceiverPhase.WAITING})
_OPEN = frozenset({ReceiverPhase.LISTENING, ReceiverPhase.PLAYED_OUT})


@dataclass(slots=True)
class ReceiverCounts:
    """How much a receiver has heard since the start."""

    octets: int = counted("Octets that came to a receiver.")
    """Of senders that are allowed."""

    frames: int = counted("Frames that a receiver heard, the damaged ones too.")
    damaged: int = counted("Damaged frames.")
    ignored: int = counted("Comments and commands from a decoder: no frames, and no fault.")
    not_allowed: int = counted("Datagrams from senders that are not allowed.")
    dropped: int = counted("Datagrams that the system dropped, as they were not read fast enough.")
    unreadable: int = counted("Lines of a capture that could not be read.")
    connections: int = counted("Connections that came about.")


class Receiver(ABC):
    """One decoder socket, or what stands in its place. It answers for itself: see `part.Answers`."""

    def __init__(self, name: str, address: ReceiverAddress, run: Run, deliver: Deliver) -> None:
        self.name = name
        self.address = address
        self.phase = ReceiverPhase.STARTING
        self.reason = ""
        """Why it is in this phase, in plain words: empty where nothing is wrong. Never text from the air."""

        self.counts = ReceiverCounts()
        self._run = run
        self._source = FrameSource()
        self._deliver = deliver
        self._since_ms = run.now().elapsed_ms
        self._first_frame_ms: int | None = None
        self._last_frame_ms: int | None = None
        """When the first and the last good frame came, as `elapsed_ms`."""

        self._counts_at_opening = ReceiverCounts()
        self._not_allowed_last = ""
        self._other_language: OtherLanguage | None = None
        self._log = structlog.get_logger().bind(receiver=name, address=str(address))

    @abstractmethod
    async def listen(self) -> None:
        """Hear until cancelled; a capture ends when it is played out."""

    @property
    def other_language(self) -> OtherLanguage | None:
        """What seems to be spoken there instead of what the address says; None where nothing tells of that."""
        return self._other_language

    @property
    def is_listening(self) -> bool:
        """Whether what is sent there is heard now."""
        return self.phase is ReceiverPhase.LISTENING

    def part(self) -> Part:
        """How it is now: `ok` once it has given a good frame, and not before."""
        since_ms, reason = self._since_ms, self.reason
        if self.phase in _OPEN:
            if self._first_frame_ms is not None:
                return self._part(State.OK, max(since_ms, self._first_frame_ms), reason)
            return self._part(State.WAITING, since_ms, *self._why_waiting())
        if self.phase in {ReceiverPhase.STARTING, ReceiverPhase.CONNECTING} and not reason:
            return self._part(State.WAITING, since_ms)
        remedy = f"is the decoder running, and does it serve {self.address}?"
        if self.address.scheme is Scheme.FILE:
            remedy = "see that it is a capture, whole and readable"
        return self._part(State.DOWN, since_ms, reason, remedy)

    def figures(self) -> Sequence[Figure]:
        """All that it counts."""
        figures = figures_of(self.counts)
        if self._last_frame_ms is not None:
            age_ms = self._run.now().elapsed_ms - self._last_frame_ms
            figures.append(gauge("last_frame_age_seconds", age_ms / 1000, "How long ago the last good frame came."))
        return figures

    def _part(self, state: State, since_ms: int, why: str = "", do: str = "") -> Part:
        return Part(PartKind.RECEIVER, self.name, state, self._run.time_ms(since_ms), why, do)

    def _why_waiting(self) -> tuple[str, str]:
        """What came since it listens, though no good frame, and what to do."""
        if self.address.scheme is Scheme.FILE:
            return "no good frame of the capture was heard yet", ""
        counts, before = self.counts, self._counts_at_opening
        octets, damaged = counts.octets - before.octets, counts.damaged - before.damaged
        not_allowed = counts.not_allowed - before.not_allowed
        span = f"in {in_words(self._run.now().elapsed_ms - self._since_ms)}"
        language = self._other_language
        if language is not None:
            return f"{octets} octets came {span} and no good frame: they look like {language.what}", language.do
        if octets:
            broken = f"; {damaged} were damaged" if damaged else ""
            return f"{octets} octets came {span} and no good frame{broken}", f"does the decoder serve {self.address}?"
        if not_allowed:
            last = self._not_allowed_last
            why = f"{not_allowed} datagrams came {span} from senders that are not allowed, the last from {last}"
            return why, "name the decoder's address in `allow:`"
        return f"nothing came {span}", "does the radio hear anything? look at the decoder's own display"

    def _enter(self, phase: ReceiverPhase, reason: str = "") -> None:
        if not {self.phase, phase} <= _TRYING:
            self._since_ms = self._run.now().elapsed_ms
        if phase is ReceiverPhase.LISTENING:
            self._counts_at_opening = replace(self.counts)
            self._other_language = None
        self.phase = phase
        self.reason = reason

    def _hand_on(self, frames: Iterable[tuple[int, Frame | Damaged]], *, emptied: bool = True) -> None:
        """Give what one read brought, as (KISS port, frame), its place in the run, and deliver it.

        `emptied`: the read left nothing over.
        """
        moment = self._run.pulse.heard(self._run.now(), self._source, emptied=emptied)
        hear, name = self._run.hear, self.name
        heard = [hear(moment, name, port, frame) for port, frame in frames]
        if heard:
            damaged = sum(each.frame.__class__ is Damaged for each in heard)
            self.counts.frames += len(heard)
            self.counts.damaged += damaged
            if damaged < len(heard):
                self._last_frame_ms = moment.elapsed_ms
                if not self._has_heard:
                    self._first_frame_ms = moment.elapsed_ms
                    self._log.info("receiver hears")
            self._deliver(heard)

    @property
    def _has_heard(self) -> bool:
        return self._first_frame_ms is not None

    def _suspect(self, octets: bytes) -> None:
        """No good frame came yet, but these octets did: see whether they are in another language."""
        if self._other_language is None:
            self._other_language = recognise(self.address, octets)
            if self._other_language is not None:
                language = self._other_language
                self._log.warning("receiver hears no frame", looks_like=language.what, do=language.do)
