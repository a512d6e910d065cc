"""What a receiver hands on: a frame, with the receiver and the time."""

import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass

from gateway.frames.frame import Damaged, Frame
from gateway.frames.moment import Moment
from gateway.frames.pulse import Pulse
from gateway.groundwork.clocks import boot_identity, since_boot

__all__ = ["Heard", "Moment", "Place", "Run"]


@dataclass(frozen=True, slots=True)
class Place:
    """Where something is: WGS 84 degrees."""

    latitude: float
    longitude: float


@dataclass(frozen=True, slots=True)
class Heard:
    """A frame, with the receiver and the time."""

    run: str
    """Which start of the gateway heard it."""

    sequence: int
    """Counts from 1 within a run, over all receivers, without a gap."""

    moment: Moment
    receiver: str
    port: int
    """The port of a modem with several, as KISS numbers them; 0 otherwise."""

    frame: Frame | Damaged
    place: Place | None = None
    """Where it was heard, if a post of a club did and told so; None: at this station, or nobody knows."""

    @property
    def post(self) -> str:
        """The post of a club that heard it, where a hub has it: its receivers are `<post>/<receiver>`. Else empty."""
        return self.receiver.rpartition("/")[0]


class Run:
    """One start of the gateway: gives every frame its place in the order and reads the clocks for it."""

    def __init__(
        self,
        identity: str | None = None,
        *,
        monotonic: Callable[[], float] = since_boot,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self.boot = boot_identity()
        """Which start of the computer it belongs to; None where that is not known."""

        self.identity = identity or secrets.token_hex(6)
        self._monotonic = monotonic
        self._wall = wall
        self._started = monotonic()
        self._sequence = 0
        self.pulse = Pulse(int(wall() * 1000))

    @property
    def boot_ms(self) -> int:
        """For how long the computer had been running when the run began."""
        return int(self._started * 1000)

    @property
    def heard(self) -> int:
        """How many frames were heard so far."""
        return self._sequence

    def now(self) -> Moment:
        """Read both clocks: once for all frames that one read brought."""
        return Moment(int((self._monotonic() - self._started) * 1000), int(self._wall() * 1000))

    def time_ms(self, elapsed_ms: int) -> int:
        """The Unix time in milliseconds of an elapsed time of this run, by what the clock shows now."""
        now = self.now()
        return now.time_ms - now.elapsed_ms + elapsed_ms

    def hear(
        self, moment: Moment, receiver: str, port: int, frame: Frame | Damaged, place: Place | None = None
    ) -> Heard:
        """The next frame of this run."""
        self._sequence += 1
        return Heard(self.identity, self._sequence, moment, receiver, port, frame, place)
