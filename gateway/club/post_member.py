"""A post's part in its club, as the service sees it: it hands on what is heard, and answers for itself."""

from collections.abc import Sequence

from gateway.club.hand_over import End
from gateway.club.post import ClubPost, PostOptions
from gateway.club.steady import steady_ms
from gateway.frames.heard import Heard, Run
from gateway.groundwork.part import Figure, Part, PartKind, State, counter, counters, gauge

KEPT = "frames are kept, not sent up"


class PostMember:
    """A post of a club. It answers for its way to the hubs: see `part.Answers`."""

    def __init__(self, options: PostOptions, run: Run) -> None:
        self._post = ClubPost(options)
        self.hand_over = self._post.hand_over
        self._run = run

    def offer(self, batch: Sequence[Heard]) -> None:
        """These were heard. Never blocks."""
        self._post.offer(batch, self._run.boot_ms)  # a run and the club go by the same clock

    async def run(self) -> None:
        """Hand on for ever, whenever the engine can be reached."""
        await self._post.run()

    async def drain(self, seconds: float) -> None:
        """What waits may still go, for no longer than `seconds`."""
        await self._post.drain(seconds)

    def part(self) -> Part:
        """Whether what is heard here reaches the hubs."""
        standing = self._post.membership.standing
        since_ms = self._run.now().time_ms - int(steady_ms() - standing.since_ms)
        if not standing.connected:
            why = f"the club's engine is away, {KEPT}: {standing.reason or 'not connected yet'}"
            state = State.DOWN if standing.reason else State.WAITING
            return Part(PartKind.CLUB, PartKind.CLUB, state, since_ms, why, "can this computer reach the engine?")
        if self._post.stream_is_absent:
            why = f"the engine has no stream of this club, {KEPT}"
            do = "start a hub: it makes the stream; and see that both write the same club"
            return Part(PartKind.CLUB, PartKind.CLUB, State.DEGRADED, since_ms, why, do)
        if self._post.clock.latest(steady_ms()) is None:
            why = f"the engine does not answer this post's beat, {KEPT}"
            do = "may this post write its own subjects, and has the engine a leader?"
            return Part(PartKind.CLUB, PartKind.CLUB, State.DEGRADED, since_ms, why, do)
        return Part(PartKind.CLUB, PartKind.CLUB, State.OK, since_ms)

    def figures(self) -> Sequence[Figure]:
        """All that it counts."""
        waiting = self.hand_over
        ends = {end.value: waiting.counts[end] for end in End}
        return [
            counter("offered", waiting.offered, "Frames that were to be handed on."),
            *counters("ends", "end", ends, "What became of the frames that were to be handed on."),
            gauge(
                "waiting", waiting.waiting + waiting.under_way, "Frames that wait to be handed on, or are under way."
            ),
            counter("repeated", waiting.repeated, "How often a frame was handed over again, as no answer came."),
            counter("engine_connects", self._post.membership.connects, "Connections to the engine."),
            counter("clock_jumps", self._post.clock.jumps, "How often the engine's clock turned out to be another."),
            gauge(
                "clock_uncertainty_ms",
                round(self._post.clock.uncertainty_ms(steady_ms()) or 0, 1),
                "How far apart the bounds of the stream's time are; 0 where it is not known.",
            ),
        ]
