"""A hub of a club: follows the stream, judges all of it, and sends what goes up while it holds the lease."""

import asyncio
import contextlib
import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import structlog

from gateway.club.answers import AnswerTime
from gateway.club.beat import keep_beating
from gateway.club.dispatch import Dispatch, DispatchOutcome, Due
from gateway.club.division import Share
from gateway.club.engine import AbsentError, Engine, EngineUnansweredError, OvertakenError, RefusedError
from gateway.club.follower import Followed, Follower, StreamMessage
from gateway.club.lease import LOOK_MS, LeasePhase, LeaseRecord, LeaseWrite, Wait
from gateway.club.lease_keeper import AFTER_TROUBLE_SECONDS, Ask
from gateway.club.login import LoginRecord
from gateway.club.membership import Membership
from gateway.club.options import ClubOptions
from gateway.club.order import GapError
from gateway.club.policy_entry import PolicyEntry, PolicyEntryError, read_entry
from gateway.club.sender import Sender, SenderMoment
from gateway.club.snapshot import NAME, SnapshotError, read_snapshot
from gateway.club.stream_clock import StreamClock
from gateway.club.stream_reader import read_stream
from gateway.club.subjects import member_name
from gateway.club.together import together
from gateway.club.trouble import StreamLostError
from gateway.frames.heard import Run
from gateway.groundwork.clocks import steady_ms
from gateway.groundwork.own_thread import in_own_thread
from gateway.groundwork.waiting import happens_within
from gateway.judge.source import PolicySource

if TYPE_CHECKING:
    from gateway.club.slices import Slices

LEASE = "lease"
SNAPSHOT_SECONDS = 60.0
BEHIND_MS = 3000
"""A hub whose last message is older than this is not up with the stream: it beats each second itself."""

UNABLE_MS = 5000
"""A holder that could not send for so long, and for the length of a lease, leaves it to another that can."""

LOOK_SECONDS = 0.05
"""How soon a holder with something to send looks again whether the network takes lines."""

_log = structlog.get_logger("club")


class Network(Protocol):
    """The connection to the network, as a hub needs it: the hub keeps what waits."""

    @property
    def verified(self) -> bool:
        """Whether it is logged in and may send."""

    @property
    def writable(self) -> bool:
        """Whether a line can be handed over now, and would go straight to the kernel."""

    def send_now(self, lines: Sequence[bytes]) -> int:
        """Hand over lines, as many as the kernel takes at once; gives back how many, from the first on."""


@dataclass(frozen=True, slots=True)
class HubListeners:
    """Whom the hub tells."""

    judged: Callable[[Sequence[Followed]], Sequence[Due]]
    """Of frames that were judged, in the order of the stream; gives back what may go up, as this hub's lines."""

    outcome: Callable[[DispatchOutcome, Sequence[Due]], None]
    policy: Callable[[PolicySource], None]
    """Of each policy that comes into force."""

    fault: Callable[[Exception], None]
    """Of each frame that no verdict could be given on."""


class Hub:
    """One hub: `run` keeps it, `drain` ends it well. It judges nothing before it knows what the other hubs know."""

    def __init__(self, options: ClubOptions, own: Callable[[], PolicyEntry], listeners: HubListeners, run: Run) -> None:
        """`own` gives the policy of this hub's files, to be told to a club that has none."""
        self.me = f"{options.callsign}/{secrets.token_hex(4)}"
        self.clock = StreamClock()
        self.follower = Follower(
            options.subjects, options.freshness_ms, listeners.policy, options.slices, listeners.fault
        )
        self.sender = Sender(
            self.me, options.lease_ms, Dispatch(freshness_ms=options.freshness_ms, report=listeners.outcome)
        )
        self.membership = Membership(options.engine, options.subjects)
        self.login = LoginRecord(options.callsign, self.me, options.lease_ms)
        self.share = Share(options.slices)
        self.network: Network | None = None
        self.stopping = False
        self.snapshots = 0
        self.starts = 0
        """How often it began from a snapshot or anew."""

        self.slices = options.slices
        self._options = options
        self._own = own
        self._listeners = listeners
        self._run = run
        self._name = member_name(options.callsign)
        self._more = asyncio.Event()
        self._knows = False
        self._read_before_beat = 0
        """The message of the stream up to which it had read when the beat before was answered."""

        self._untaken: Slices | None = None
        """What no hub takes, as it was said last."""

        self._able_ms = steady_ms()
        self._engine: Engine | None = None

    @property
    def holds(self) -> bool:
        """Whether this hub holds the lease, and may send by it now."""
        return self.sender.lease.may_send(steady_ms())

    @property
    def holder(self) -> str:
        """The hub that holds the lease, as far as this one knows; empty: none."""
        key = self.sender.lease.last_key
        return "" if key is None or key.record is None else key.record.holder.partition("/")[0]

    @property
    def behind_ms(self) -> int | None:
        """How far behind the stream this hub is; None where that is not known."""
        latest_ms = self.clock.latest(steady_ms())
        return None if latest_ms is None else max(0, latest_ms - self.follower.order.stamp_ms)

    @property
    def able(self) -> bool:
        """Whether this hub could send if it held the lease."""
        behind_ms = self.behind_ms
        return (
            not self.stopping
            and self.login.held.is_set()
            and self.share.is_ours
            and self.network is not None
            and self.network.verified
            and self.follower.judges_alike
            and behind_ms is not None
            and behind_ms < BEHIND_MS
        )

    async def run(self) -> None:
        """Follow and send for ever. Raises `LoginTakenError` and `StreamLostError`."""
        await self.membership.stay(self._work)

    async def tell_policy(self, entry: PolicyEntry) -> None:
        """Put a policy into the stream, after the one that is there: every hub changes over at its place.

        Raises `RefusedError`, `UnansweredError` and `PolicyEntryError`.
        """
        if self._engine is None:
            raise EngineUnansweredError
        await _tell_policy(self._engine, entry)

    async def drain(self, seconds: float) -> None:
        """Send what waits, for no longer than `seconds`, then leave lease and login to others."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds / 2):
                while self.holds and self.sender.dispatch.waiting:  # noqa: ASYNC110 - the sender tells nobody
                    await asyncio.sleep(LOOK_SECONDS)
        self.stopping = True
        self._more.set()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds / 2):
                while self._engine is not None and self.sender.lease.phase is LeasePhase.HOLDING:  # noqa: ASYNC110 - see above
                    await asyncio.sleep(LOOK_SECONDS)
                if self._engine is not None:
                    await self.login.give_up(self._engine)
        self.sender.dispatch.stop()

    async def _work(self, engine: Engine) -> None:
        self.clock.forget()
        self._engine = engine
        try:
            await self._make_what_is_absent(engine)
            beat = self._options.subjects.hub_beat(self._name)
            await together(
                keep_beating(engine, beat, self.clock, on_beat=self._on_beat, says=self.slices.to_octets()),
                self.login.keep(engine),
                self.share.keep(engine),
                self._follow(engine),
                self._send(engine),
                self._keep_snapshots(engine),
            )
        finally:
            self._engine = None

    def _on_beat(self, sequence: int) -> None:
        """Every message is stored behind all that were read before it was sent. Raises `StreamLostError`."""
        if sequence <= self._read_before_beat:
            _log.error("the club's engine lost its stream, or the end of it: this hub ends, and is to be started again")
            raise StreamLostError
        self._read_before_beat = self.follower.order.sequence
        self._say_untaken()
        self._more.set()

    def _say_untaken(self) -> None:
        """Slices that no hub takes are said once, and so is that all are taken again."""
        hubs, now_ms = self.follower.hubs, self.follower.order.stamp_ms
        if not hubs.are_known(now_ms):
            return
        was, self._untaken = self._untaken, hubs.untaken(now_ms)
        if self._untaken is not None and self._untaken != was:
            _log.warning(
                "no hub takes some of the club's frames: they are not sent up; start the hubs that take them",
                untaken=str(self._untaken),
            )
        elif was is not None and self._untaken is None:
            _log.info("all of the club's frames are taken by a hub again")

    async def _make_what_is_absent(self, engine: Engine) -> None:
        while True:
            try:
                made = await engine.make_what_is_absent(len(self._options.engine.servers))
            except (EngineUnansweredError, RefusedError) as error:  # no quorum yet, or another hub makes them just now
                _log.debug("the engine is not ready", why=str(error))
                await asyncio.sleep(1.0)
            else:
                if made:
                    _log.info("made in the club's engine", names=made)
                return

    async def _follow(self, engine: Engine) -> None:
        answer_time = AnswerTime()
        while True:
            try:
                if not self._knows:
                    await self._start(engine)
                reading = read_stream(engine, self.follower.order.sequence + 1, self.slices, answer_time)
                async with contextlib.aclosing(reading) as batches:
                    async for batch in batches:
                        self._take_in(batch)
            except GapError as error:
                _log.warning("the hub lost its place in the stream and begins from a snapshot", why=str(error))
                self._knows = False
            except (EngineUnansweredError, RefusedError):
                _log.debug("the stream says nothing any more and is read again", behind=self.follower.order.sequence)
                await asyncio.sleep(AFTER_TROUBLE_SECONDS)

    def _take_in(self, batch: Sequence[StreamMessage]) -> None:
        followed = self.follower.take(batch, self._run)
        self.clock.saw(self.follower.order.stamp_ms, steady_ms())
        if followed:
            self.sender.dispatch.put(self._listeners.judged(followed))
            self._more.set()

    async def _start(self, engine: Engine) -> None:
        """Know what the other hubs know: from a snapshot and what is behind it, or from where a policy begins."""
        self.starts += 1
        self._read_before_beat = 0
        first, last = await engine.bounds()
        octets = await engine.snapshot(self.slices.name(NAME))
        if octets is not None:
            try:
                snapshot = await in_own_thread(read_snapshot, octets)
                if first - 1 <= snapshot.sequence <= last:
                    self.follower.resume(snapshot)
                    self._knows = True
                    return
            except SnapshotError as error:
                _log.warning("the club's snapshot cannot be used", why=str(error))
        await self._begin(engine, first)
        self._knows = True

    async def _begin(self, engine: Engine, first: int) -> None:
        """Without a snapshot all is known where a policy begins in the stream; where none does, tell one."""
        slices, entry = self.slices, self._own()
        try:
            _, octets = await engine.last_under(self._options.subjects.policy)
            last = read_entry(octets)
        except (AbsentError, PolicyEntryError):
            last = None
        if last is None or not last.begins_for(slices):
            if last is not None and last.judge == entry.judge and not slices.are_all:
                entry = last  # the other hubs' policy stays
            with contextlib.suppress(OvertakenError):  # another hub told one just now
                await _tell_policy(engine, PolicyEntry(entry.judge, begins=True, texts=entry.texts, slices=slices))
        self.follower.begin(first)

    async def _send(self, engine: Engine) -> None:
        ask = Ask(engine, self.slices.name(LEASE))
        try:
            while True:
                await self._step(ask)
        finally:  # a write that was cut off with its connection may yet be carried out
            if self.sender.lease.pending is not None:
                self.sender.unanswered()

    async def _step(self, ask: Ask) -> None:
        now = self._now()
        if now.able:
            self._able_ms = now.monotonic_ms
        gives_up = self.stopping or now.monotonic_ms - self._able_ms > max(UNABLE_MS, self._options.lease_ms)
        request = (self.sender.give_up(now) if gives_up else None) or self.sender.next(now)
        if isinstance(request, Wait):
            await self._wait(request)
        elif isinstance(request, LeaseWrite):
            await self._write(ask, request)
        else:
            key = await ask.look()
            if key is None:
                _log.debug("the engine does not say who holds the lease")
                self.sender.unanswered()
            else:
                self._saw(*key)

    async def _wait(self, wait: Wait) -> None:
        self._more.clear()
        longest = LOOK_SECONDS if self.holds and self.sender.dispatch.waiting else LOOK_MS / 1000
        await happens_within(self._more, min(longest, max(0.0, (wait.until_ms - steady_ms()) / 1000)))

    async def _write(self, ask: Ask, request: LeaseWrite) -> None:
        lease = self.sender.lease
        held = lease.phase is LeasePhase.HOLDING
        unchanged_ms = 0 if lease.last_key is None else int(steady_ms() - lease.last_key.since_ms)
        try:
            revision = await ask.write(request, takes=not held)
        except OvertakenError:
            self.sender.refused()
            return
        if revision is None:
            _log.debug("the engine did not answer a write of the lease", holds=held)
            self.sender.unanswered()
            return
        self.sender.wrote(revision, self._now())
        if self.sender.dispatch.given_out and self.network is not None:
            lines = [due.line for due in self.sender.to_write(self._now())]
            self.sender.sent(self.network.send_now(lines) if lines else 0)
        if not held and self.sender.lease.phase is LeasePhase.HOLDING:
            record = request.record
            _log.info(
                "this hub sends for the club now",
                epoch=record.epoch,
                after=record.handed_over,
                lease_unchanged_ms=unchanged_ms,
            )
        elif held and self.sender.lease.phase is LeasePhase.STANDBY:
            _log.warning("this hub leaves the lease to others", able=self.able)

    def _saw(self, revision: int, record: LeaseRecord | None) -> None:
        held = self.sender.lease.phase is LeasePhase.HOLDING
        self.sender.looked(revision, record, self._now())
        if held and self.sender.lease.phase is LeasePhase.STANDBY:
            _log.warning("this hub sends for the club no more", holder=self.holder or "nobody")

    async def _keep_snapshots(self, engine: Engine) -> None:
        """The holder keeps one from time to time; where nobody holds the lease, whoever is up with the stream."""
        while True:
            await asyncio.sleep(SNAPSHOT_SECONDS)
            if self.holds or not self.holder:
                with contextlib.suppress(EngineUnansweredError, RefusedError):
                    await self.keep_snapshot(engine)

    async def keep_snapshot(self, engine: Engine) -> None:
        """Keep what the judge knows now. Raises as `Engine.publish` does."""
        snapshot = self.follower.snapshot()
        if snapshot is not None:
            await engine.keep_snapshot(self.slices.name(NAME), await in_own_thread(snapshot.to_octets))
            self.snapshots += 1

    def _now(self) -> SenderMoment:
        monotonic_ms = steady_ms()
        network = self.network
        return SenderMoment(
            monotonic_ms=monotonic_ms,
            latest_ms=self.clock.latest(monotonic_ms),
            able=self.able,
            writable=network is not None and network.writable,
            read=self.follower.order.sequence,
        )


async def _tell_policy(engine: Engine, entry: PolicyEntry) -> None:
    try:
        last, _ = await engine.last_under(engine.subjects.policy)
    except AbsentError:
        last = 0
    await engine.publish(engine.subjects.policy, entry.to_octets(), after=last)
