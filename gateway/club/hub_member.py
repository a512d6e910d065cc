"""A hub's part in its club, as the service sees it: what it follows is told on, and it answers for itself."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from itertools import chain
from pathlib import Path

import structlog

from gateway.club.dispatch import DispatchOutcome, Due, Report
from gateway.club.engine import EngineUnansweredError, RefusedError
from gateway.club.follower import Followed
from gateway.club.hub import BEHIND_MS, Hub, HubListeners, Network
from gateway.club.options import ClubOptions
from gateway.club.policy_entry import PolicyEntry, PolicyEntryError, entry_of
from gateway.feed.heard_object import HeardPayload
from gateway.frames.heard import Run
from gateway.frames.plain import PlainObject
from gateway.groundwork.clocks import steady_ms
from gateway.groundwork.part import Figure, Part, PartKind, State, counter, counters, gauge
from gateway.judge.source import PolicySource
from gateway.judge.state import JUDGE

DIVIDE_ANEW = "give it the same slices as they have; to divide the club anew see the club's page"

_log = structlog.get_logger("club")


@dataclass(frozen=True, slots=True)
class HubHost:
    """The service that a hub belongs to, as far as the hub needs it."""

    source: Callable[[], PolicySource]
    """Gives the policy of this hub's own files."""

    hear: Callable[[Sequence[Followed]], Sequence[HeardPayload]]
    """Tells the house what was judged, and gives back the frames as everybody gets them, in the same order."""

    forwarded: Callable[[Sequence[HeardPayload]], None]
    fault: Callable[[Exception], None]
    """Told of frames on which no verdict could be given."""


class HubMember:
    """A hub of a club. It answers for its part in it: see `part.Answers`."""

    def __init__(self, options: ClubOptions, run: Run, host: HubHost, ready_policies: Path) -> None:
        """`ready_policies` is the folder of those in the package."""
        self.policy: PolicySource | None = None
        """The club's policy in force; None before it is known."""

        self.report: Report | None = None
        """Told of what became of every frame that may go up, if anybody wants to know."""

        self._run = run
        self._host = host
        self._ready_policies = ready_policies
        self._policy_trouble = ""
        listeners = HubListeners(self._on_judged, self._on_outcome, self._on_policy, host.fault)
        self.hub = Hub(options, self._own_entry, listeners, run)

    @property
    def outcomes(self) -> dict[str, int]:
        """What became of the frames judged `forward`."""
        return {outcome.value: count for outcome, count in self.hub.sender.dispatch.counts.items()}

    @property
    def waiting(self) -> int:
        """Frames judged `forward` of which nothing has become yet."""
        dispatch = self.hub.sender.dispatch
        return dispatch.waiting + dispatch.given_out

    async def run(self, network: Network | None) -> None:
        """Follow, and send by `network` while this hub holds the lease.

        Raises `LoginTakenError` and `StreamLostError`.
        """
        self.hub.network = network
        await self.hub.run()

    async def until_login_is_held(self) -> None:
        """Wait until the engine's record says that no other hub has this one's login."""
        await self.hub.login.held.wait()

    async def drain(self, seconds: float) -> None:
        """Send what waits, for no longer than `seconds`, and leave the lease to others."""
        await self.hub.drain(seconds)

    async def tell_policy(self) -> None:
        """Put this hub's own policy into the stream, where every hub changes over to it. What fails is said."""
        try:
            await self.hub.tell_policy(self._own_entry())
        except (RefusedError, EngineUnansweredError, PolicyEntryError) as error:
            self._policy_trouble = str(error) or "the engine did not answer"
            _log.error("the policy was not told to the club: reload it again", why=self._policy_trouble)
        else:
            self._policy_trouble = ""

    def part(self) -> Part:
        """How it is: whether this hub knows all that the club hears, and could send it."""
        standing = self.hub.membership.standing
        since_ms = self._run.now().time_ms - int(steady_ms() - standing.since_ms)
        troubles = chain(self._troubles_of_this_hub(), self._troubles_of_the_club())
        state, why, do = next(troubles, (State.OK, "", ""))
        return Part(PartKind.CLUB, PartKind.CLUB, state, since_ms, why, do)

    def _troubles_of_this_hub(self) -> Iterator[tuple[State, str, str]]:
        """What keeps it from taking part: state, why and what to do. The first is the cause of the others."""
        hub, follower = self.hub, self.hub.follower
        standing, behind_ms = hub.membership.standing, hub.behind_ms
        if not standing.connected:
            why = f"the club's engine is away: {standing.reason or 'not connected yet'}"
            yield State.DOWN if standing.reason else State.WAITING, why, "can this computer reach the engine?"
        if not hub.login.held.is_set():
            why = "the engine's record says that another hub has this login, or had it until just now"
            yield State.DEGRADED, why, "give each hub a callsign of its own; after a crash wait for a lease"
        if follower.judge is None:
            yield State.WAITING, "what the club has heard is not known here yet", "wait; see the log"
        if not follower.judges_alike:
            other = follower.entry.judge if follower.entry is not None else 0
            why = f"the club judges by judge {other}, this hub is of judge {JUDGE}: it cannot send"
            yield State.DEGRADED, why, "upgrade every hub, then reload the policy of one that is upgraded"
        if behind_ms is None:
            yield State.DEGRADED, "the engine does not answer this hub's beat", "has the engine a leader?"
        if hub.share.refusal:
            yield State.DEGRADED, f"{hub.share.refusal}: it cannot send", DIVIDE_ANEW
        if behind_ms is not None and behind_ms >= BEHIND_MS:
            why = f"this hub is {behind_ms / 1000:.0f} s behind the club's stream: it cannot take over"
            yield State.DEGRADED, why, "wait; if it stays behind: is this computer busy, and has the engine a leader?"

    def _troubles_of_the_club(self) -> Iterator[tuple[State, str, str]]:
        """What keeps the club from sending as this hub would; the first is the cause of the others."""
        follower, own, policy = self.hub.follower, self._host.source(), self.policy
        if trouble := self._policy_trouble or follower.refused_policy:
            yield State.DEGRADED, f"the club's newest policy is not in force: {trouble}", "mend it and reload"
        if policy is not None and policy.digest != own.digest:
            why = f"the club judges by {policy.label}, this hub's files hold another"
            yield State.DEGRADED, why, "reload, to tell this hub's policy to the club; or give it the club's"
        untaken = follower.hubs.untaken(follower.order.stamp_ms)
        if untaken is not None:
            why = f"no hub takes {untaken} of the club's frames: they are not sent up"
            yield State.DEGRADED, why, "start the hubs that take them"
        if not self.hub.holds and not self.hub.holder:
            yield State.DEGRADED, "no hub sends for the club", "see whether the hubs' logins are verified"

    def figures(self) -> Sequence[Figure]:
        """All that it counts; what became of the frames stands in the counts of frames."""
        hub = self.hub
        read = asdict(hub.follower.counts)
        return [
            gauge("holds_the_lease", int(hub.holds), "1 while this hub sends for the club."),
            counter("leases_taken", hub.sender.taken, "How often this hub took the lease."),
            gauge("behind_ms", hub.behind_ms or 0, "How far this hub is behind the stream; 0 where it is not known."),
            gauge("sequence", hub.follower.order.sequence, "The message of the stream up to which this hub has read."),
            *counters("read", "what", read, "Messages read from the stream, by what they were."),
            gauge("posts", len(hub.follower.posts), "Posts that spoke in this run."),
            counter("snapshots", hub.snapshots, "Snapshots that this hub kept in the engine."),
            counter("starts", hub.starts, "How often this hub began to follow, from a snapshot or anew."),
            counter("engine_connects", hub.membership.connects, "Connections to the engine."),
            counter("clock_jumps", hub.clock.jumps, "How often the engine's clock turned out to be another."),
        ]

    def watched(self) -> PlainObject:
        """The club as this hub sees it."""
        hub = self.hub
        plain: PlainObject = {
            "holds": hub.holds,
            "posts": hub.follower.posts.to_objects(self.hub.clock.latest(steady_ms()) or hub.follower.order.stamp_ms),
        }
        if hub.holder:
            plain["holder"] = hub.holder
        if not hub.slices.are_all:
            plain["slices"] = [*hub.slices.numbers]
        if self.policy is not None:
            plain["policy"] = self.policy.label
        return plain

    def _own_entry(self) -> PolicyEntry:
        return entry_of(self._host.source(), JUDGE, self._ready_policies)

    def _on_judged(self, followed: Sequence[Followed]) -> Sequence[Due]:
        frames = self._host.hear(followed)
        return [
            Due(one.sequence, frame.line, one.moment_ms, frame)
            for one, frame in zip(followed, frames, strict=True)
            if frame.line
        ]

    def _on_outcome(self, outcome: DispatchOutcome, dues: Sequence[Due]) -> None:
        if self.report is not None:
            self.report(outcome, dues)
        if outcome is DispatchOutcome.SENT:
            self._host.forwarded([due.ticket for due in dues if isinstance(due.ticket, HeardPayload)])

    def _on_policy(self, source: PolicySource) -> None:
        self.policy = source
        _log.info("the club's policy is in force", policy=source.label)
