"""A post of a club: hands on to the hubs what its receivers hear, and answers for itself.

It makes nothing in the engine: it waits for it.
"""

import asyncio
import contextlib
from collections.abc import Sequence

from gateway.club import message
from gateway.club.beat import keep_beating
from gateway.club.engine import AbsentError, Engine, EngineUnansweredError, RefusedError
from gateway.club.hand_over import End, HandOver, Offer, Parcel
from gateway.club.membership import Membership
from gateway.club.message import Handed, MessageError
from gateway.club.options import ClubOptions
from gateway.club.slices import SLICES, UNREADABLE, slice_of
from gateway.club.stream_clock import StreamClock
from gateway.club.together import end, together
from gateway.frames.heard import Heard, Run
from gateway.groundwork.clocks import steady_ms
from gateway.groundwork.part import Figure, Part, PartKind, State, counter, counters, gauge
from gateway.groundwork.waiting import happens_within

WAIT_FOR_STREAM_SECONDS = 1.0
EXPIRE_SECONDS = 0.5

KEPT = "frames are kept, not sent up"


class ClubPost:
    """One post: `run` keeps it, `offer` gives it what was heard, `drain` ends it well.

    It answers for its way to the hubs: see `part.Answers`.
    """

    def __init__(self, options: ClubOptions, run: Run) -> None:
        self.clock = StreamClock()
        self.run_identity = message.new_run()
        self.hand_over = HandOver(freshness_ms=options.freshness_ms)
        self.membership = Membership(options.engine, options.subjects)
        self.stream_is_absent = False
        self._options = options
        self._run = run
        self._subjects = [options.subjects.heard(options.post_name, number) for number in range(SLICES)]
        self._more = asyncio.Event()
        self._under_way: set[asyncio.Task[None]] = set()

    def offer(self, batch: Sequence[Heard]) -> None:
        """These were heard, each at its moment, which after a standstill is long ago. Never blocks."""
        place, run_began_ms = self._options.place, self._run.boot_ms  # a run and the club go by the same clock
        self.hand_over.put([
            Offer(heard.receiver, heard.port, run_began_ms + heard.moment.elapsed_ms, heard.frame, place)
            for heard in batch
        ])  # fmt: skip
        self._more.set()

    async def run(self) -> None:
        """Hand on for ever, whenever the engine can be reached."""
        await together(self._expire(), self.membership.stay(self._work))

    async def drain(self, seconds: float) -> None:
        """What waits may still go and be answered, for no longer than `seconds`; then nothing more is handed on."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                while self.membership.standing.connected and self.hand_over.open:
                    self._more.clear()
                    await self._more.wait()
        await end(self._under_way)
        self.hand_over.stop()

    def part(self) -> Part:
        """Whether what is heard here reaches the hubs."""
        standing = self.membership.standing
        state, why, do = State.OK, "", ""
        if not standing.connected:
            state = State.DOWN if standing.reason else State.WAITING
            why = f"the club's engine is away, {KEPT}: {standing.reason or 'not connected yet'}"
            do = "can this computer reach the engine?"
        elif self.stream_is_absent:
            state, why = State.DEGRADED, f"the engine has no stream of this club, {KEPT}"
            do = "start a hub: it makes the stream; and see that both write the same club"
        elif self.clock.latest(steady_ms()) is None:
            state, why = State.DEGRADED, f"the engine does not answer this post's beat, {KEPT}"
            do = "may this post write its own subjects, and has the engine a leader?"
        since_ms = self._run.now().time_ms - int(steady_ms() - standing.since_ms)
        return Part(PartKind.CLUB, PartKind.CLUB, state, since_ms, why, do)

    def figures(self) -> Sequence[Figure]:
        """All that it counts."""
        parcels = self.hand_over
        help_of_waiting = "Frames that wait to be handed on, or are under way."
        help_of_uncertainty = "How far apart the bounds of the stream's time are; 0 where it is not known."
        return [
            counter("offered", parcels.offered, "Frames that were to be handed on."),
            *counters("ends", "end", parcels.counts, "What became of the frames that were to be handed on."),
            gauge("waiting", parcels.waiting + parcels.under_way, help_of_waiting),
            counter("repeated", parcels.repeated, "How often a frame was handed over again, as no answer came."),
            counter("engine_connects", self.membership.connects, "Connections to the engine."),
            counter("clock_jumps", self.clock.jumps, "How often the engine's clock turned out to be another."),
            gauge("clock_uncertainty_ms", round(self.clock.uncertainty_ms(steady_ms()) or 0, 1), help_of_uncertainty),
        ]

    async def _work(self, engine: Engine) -> None:
        self.clock.forget()
        try:
            beat = self._options.subjects.post_beat(self._options.post_name)
            await together(
                keep_beating(engine, beat, self.clock, on_beat=self._on_beat, on_absent=self._on_absent),
                self._hand_on(engine),
            )
        finally:
            await end(self._under_way)

    def _on_beat(self, _sequence: int) -> None:
        self.stream_is_absent = False
        self._more.set()

    def _on_absent(self) -> None:
        self.stream_is_absent = True

    async def _hand_on(self, engine: Engine) -> None:
        while True:
            self._more.clear()
            while self.clock.latest(steady_ms()) is not None and (parcel := self.hand_over.take()) is not None:
                task = asyncio.create_task(self._publish(engine, parcel))
                self._under_way.add(task)
                task.add_done_callback(self._under_way.discard)
            await happens_within(self._more, EXPIRE_SECONDS)

    async def _publish(self, engine: Engine, parcel: Parcel) -> None:
        end: End | None = None
        try:
            end = await self._answer_to(engine, parcel)
        finally:
            if end is None:
                self.hand_over.unanswered(parcel)
                self.clock.forget()  # another server may stamp from now on, by another clock: the next beat tells
            else:
                self.hand_over.answered(parcel, end)
            self._more.set()

    async def _answer_to(self, engine: Engine, parcel: Parcel) -> End | None:
        """How handing it over ended; None where nobody knows, or it is to be tried again."""
        moment_ms = self.clock.earliest(parcel.offer.heard_ms, steady_ms())
        if moment_ms is None:
            return None
        # Handed over again it is never told to be younger than before.
        parcel.moment_ms = moment_ms if parcel.moment_ms is None else min(moment_ms, parcel.moment_ms)
        offer = parcel.offer
        octets = message.write(Handed(offer.receiver, offer.port, parcel.moment_ms, offer.place, offer.frame))
        subject = self._subjects[_slice(octets)]
        identity = message.message_id(self.run_identity, parcel.sequence)
        try:
            await engine.publish(subject, octets, identity=identity)
        except AbsentError:
            self.stream_is_absent = True
            await asyncio.sleep(WAIT_FOR_STREAM_SECONDS)
            return None
        except EngineUnansweredError:
            return None
        except RefusedError:
            return End.REFUSED
        self.stream_is_absent = False
        return End.HANDED_ON

    async def _expire(self) -> None:
        while True:
            self.hand_over.expire(steady_ms())
            await asyncio.sleep(EXPIRE_SECONDS)


def _slice(octets: bytes) -> int:
    """The slice of a frame that is handed on, as a hub will read it."""
    try:
        return slice_of(message.read(octets).frame)
    except MessageError:
        return UNREADABLE
