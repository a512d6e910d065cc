"""The gateway as a whole: builds every part from the station file, joins them, drains and stops.

A frame goes one way: a receiver delivers what one read brought, the judge gives its verdicts, the uplink is offered
what is to be forwarded, and then, whatever became of that, the house is told of everything. All of it happens within
one call of `Service._deliver`, which never waits; only sockets are waited for, each by a task of its own.
"""

import asyncio
import contextlib
import signal
from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

import structlog

from gateway.club.trouble import LoginTakenError
from gateway.feed.health import HEALTH_SECONDS, Counts, Health, figures_object
from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.sink import Sink
from gateway.feed.stations import Stations
from gateway.frames.heard import Heard, Run
from gateway.frames.network_line import line_of, route
from gateway.frames.pulse import BEAT_SECONDS
from gateway.groundwork.kept_tasks import KeptTasks, kept_tasks
from gateway.groundwork.part import Answers
from gateway.judge.memory import JudgeMemory
from gateway.judge.source import PolicySource
from gateway.judge.verdict import Judged, Reason
from gateway.receivers.address import Scheme
from gateway.receivers.kinds import open_receiver
from gateway.running.collector import collect_now_and_then, spare_the_collector
from gateway.running.faults import Doing, Faults
from gateway.running.house import House
from gateway.running.lock import LOGIN_TAKEN, LockHeldError, files_of, held
from gateway.running.loop_faults import LoopFaults
from gateway.running.notify import ServiceManager
from gateway.running.policy_in_force import PolicyInForce
from gateway.running.sinks import Asked, Sinks, broker
from gateway.settings import DocumentError, Settings, StationFile, policy_files
from gateway.uplink.client import Uplink
from gateway.uplink.outbox import Outcome
from gateway.uplink.state import UplinkPhase, UplinkState
from gateway.watches.watches import Watches

if TYPE_CHECKING:
    from gateway.club.follower import Followed
    from gateway.groundwork.remembered import Remembered
    from gateway.running.clubhouse import Clubhouse

STOP_SECONDS = 3.0
"""How long a stop may take: half of it to send what waits, half to publish what waits."""

SHOW_LIFE_SECONDS = 30.0
"""How often the service manager is told what the gateway does, three times in this, where it asks for no more."""

JUDGED_BY = {"post": "post", "hub": "club"}
"""In a club every frame says whose verdict it carries: a post's own is not the one by which the club sends."""

FIRST_HEALTH_SECONDS = 1.0
"""How soon after the start it is looked at again: by then what can listen and connect has done so."""

RECENT_FRAMES = 1000
"""So many of the frames that were heard last before a restart can be looked back at."""

_log = structlog.get_logger("stile")


class Service:
    """One gateway, from its station file."""

    def __init__(
        self,
        station: StationFile,
        source: PolicySource,
        *,
        sinks: Sequence[Sink] = (),
        parts: Sequence[Answers] = (),
        manager: ServiceManager | None = None,
    ) -> None:
        """`sinks` are told besides those of the station file, and `parts` asked besides them."""
        settings = station.settings
        self.frames = Run()
        self._station = station
        self._added = route(settings.station.callsign)
        self._reasons: Counter[Reason | None] = Counter()
        """How many frames were kept for which reason; None: forwarded."""

        self._starting = True
        self._judged_by = "" if settings.club is None else JUDGED_BY[settings.club.role]
        self._tasks: KeptTasks | None = None
        self._manager = manager or ServiceManager({})
        self._faults = Faults(self.frames.now)
        self._policy = PolicyInForce(
            station, source, self.frames, self._faults, on_reading=self._manager.reloading, on_change=self._on_policy
        )
        self._house = _make_house(settings, self.frames, self._faults)
        asked = Asked(self.health, self._policy_source, lambda: self._policy.refused, self._waits_for)
        self.sinks = Sinks(station, self.frames, self._house, asked, policy=self._policy.label)
        self._house.add([*sinks, *self.sinks.made])
        self._receivers = [
            open_receiver(receiver.name, receiver.address, self.frames, self._deliver, allow=receiver.allow)
            for receiver in settings.receivers
        ]
        self._uplink = self._make_uplink()
        self.club = self._make_club()
        self._hub = None if self.club is None else self.club.hub
        self._others: tuple[Answers, ...] = (
            *(() if self.club is None else [self.club.answers]),
            *self.sinks.made,
            self._policy,
            *self._house.watches.answers,
            self._faults,
            self.frames.pulse,
            *parts,
        )
        """Who answers for a part, beside receivers and uplink."""

    async def run(self, stop: asyncio.Event) -> None:
        """Work until `stop` is set, then drain within `STOP_SECONDS` and return. Raises `DocumentError`."""
        await self._recollect()
        engine = contextlib.nullcontext() if self.club is None else self.club.engine(self._station)
        async with engine, broker(self._station), kept_tasks() as tasks:
            self._tasks = tasks
            self._house.start(tasks)
            if self.club is not None:
                self.club.start(tasks, self._uplink, hears=bool(self._receivers))
            if self._uplink is not None and self._hub is None:
                tasks.keep(self._uplink.run(), name="uplink")
            tasks.keep(self._look_after(), name="health")
            tasks.keep(self._policy.run(), name="policy")
            tasks.keep(self._show_life(), name="signs of life")
            tasks.keep(self._beat(), name="pulse")
            tasks.keep(collect_now_and_then(), name="collector")
            listeners = [
                tasks.keep(receiver.listen(), name=receiver.name, may_return=True) for receiver in self._receivers
            ]
            self._starting = False
            self._manager.ready()
            _log.info("started", run=self.frames.identity, policy=self._policy.label, receivers=len(listeners))
            await stop.wait()
            self._manager.stopping()
            tasks.release()
            for listener in listeners:
                listener.cancel()
            await asyncio.gather(*listeners, return_exceptions=True)
            await self._drain()
        self._sum_up()

    def reload(self) -> None:
        """Read the policy again, soon. A bad one is refused: the old one stays, and that is said."""
        self._policy.reload()

    def health(self) -> Health:
        """How every part is now, and what became of every frame. Asking changes nothing."""
        now, watches = self.frames.now(), self._house.watches
        answers = {watches.with_hearing(receiver.part(), now): receiver.figures() for receiver in self._receivers}
        others = self._others if self._uplink is None else (self._uplink, *self._others)
        answers |= {each.part(): each.figures() for each in others}
        return Health(
            run=self.frames.identity,
            time_ms=now.time_ms,
            parts=[*answers],
            counts=self._counts(),
            figures=answers,
            watched=watches.watched(now, self._house.stations) | ({} if self.club is None else self.club.watched()),
        )

    def _counts(self) -> Counts:
        """What became of every frame."""
        outcomes, waiting = None, 0
        if self._hub is not None:
            outcomes, waiting = self._hub.outcomes, self._hub.waiting
        elif self._uplink is not None:
            uplink = self._uplink.state()
            outcomes = {outcome.value: count for outcome, count in uplink.outcomes.items()}
            waiting = uplink.waiting
        kept_by_reason = {reason: count for reason, count in self._reasons.items() if reason is not None}
        emergencies = self._house.watches.emergencies.heard
        return Counts(self._reasons.total(), self._reasons[None], kept_by_reason, outcomes, waiting, emergencies)

    def _deliver(self, batch: Sequence[Heard]) -> None:
        """The way of every frame. A receiver calls it with what one read brought."""
        if self.club is not None:
            self.club.post.offer(batch)
            if self._hub is not None:
                return  # it comes back from the stream, in its place among all others
        judge = self._policy.judge.judge
        frames: list[HeardPayload] = []
        for heard in batch:
            try:
                frames.append(self._payload(judge(heard)))
            except Exception as error:  # noqa: BLE001 - one frame of which we know too little must not end the others
                self._faults.contain(Doing.JUDGING, error, frames=1)
        if not frames:
            return
        self._reasons.update([frame.judged.verdict.reason for frame in frames])
        sent: Sequence[HeardPayload] = ()
        if self._uplink is not None:
            sent = self._uplink.offer([frame for frame in frames if frame.line])
        self._house.hear(frames)
        if sent:
            self._house.forwarded(sent)

    def _hear_the_club(self, followed: "Sequence[Followed]") -> Sequence[HeardPayload]:
        """Frames of the club, judged in the order of the stream: the house is told. Sending them is the hub's."""
        frames = [self._payload(one.judged) for one in followed]
        self._reasons.update([frame.judged.verdict.reason for frame in frames])
        self._house.hear(frames)
        return frames

    def _payload(self, judged: Judged) -> HeardPayload:
        """The frame as everybody gets it, with its line where it should go up."""
        line, frame = b"", judged.innermost
        if judged.verdict.reason is None and frame is not None:
            line = line_of(frame.header, judged.information, self._added)
        return HeardPayload(judged, self._house.reader, line, judged_by=self._judged_by)

    def _on_outcome(self, outcome: Outcome, frames: Sequence[HeardPayload]) -> None:
        if outcome is Outcome.SENT:
            self._house.forwarded(frames)

    async def _look_after(self) -> None:
        """What is due from time to time: the house lets time pass, and health is told."""
        pause = FIRST_HEALTH_SECONDS
        while True:
            with self._faults.contained(Doing.MEMORY):
                self._house.tick([receiver.name for receiver in self._receivers if receiver.is_listening])
            self._publish_health()
            self._faults.tick()
            await asyncio.sleep(pause)
            pause = HEALTH_SECONDS

    def _publish_health(self) -> None:
        with self._faults.contained(Doing.HEALTH):
            self._house.tell_health(self.health())

    async def _beat(self) -> None:
        """Notice when everything stood still."""
        while True:
            standstill = self.frames.pulse.beat(self.frames.now())
            if standstill is not None:
                _log.warning("the gateway stood still", seconds=round(standstill.seconds, 1))
            await asyncio.sleep(BEAT_SECONDS)

    async def _show_life(self) -> None:
        """Tell the service manager again and again that the gateway turns, for as long as frames come to a verdict."""
        heard = judged = 0
        is_stuck = False
        while True:
            heard_before, judged_before = heard, judged
            heard, judged = self.frames.heard, self._reasons.total()
            is_stuck = judged == judged_before and (is_stuck or heard > heard_before)
            if not is_stuck:
                self._manager.alive(f"heard {judged}, of which {self._reasons[None]} to be forwarded")
            await asyncio.sleep((self._manager.watchdog_seconds or SHOW_LIFE_SECONDS) / 3)

    def _policy_source(self) -> PolicySource:
        """The policy by which it is decided what goes up."""
        club_policy = None if self._hub is None else self._hub.policy
        return club_policy or self._policy.source

    def _waits_for(self) -> list[str]:
        return ["its parts to be started"] if self._starting else []

    async def _recollect(self) -> None:
        """Know again what was known before the restart. Raises `DocumentError` where the journal is none of ours."""
        journal = self.sinks.journal
        if journal is None:
            return
        from gateway.journal.trouble import JournalRefusedError  # noqa: PLC0415 - loaded with the journal alone

        memories: list[Remembered[HeardPayload]] = [*self._house.memories()]
        if self._hub is None:  # what that judge knows, the engine keeps
            memories.insert(0, JudgeMemory(self._policy.judge))
        try:
            recent = await journal.recollect(memories, self._house.reader, recent=RECENT_FRAMES)
        except JournalRefusedError as error:
            raise DocumentError([self._station.document.problem(("journal", "path"), str(error))]) from None
        self._house.watches.recollect(recent)
        if self.sinks.web is not None:
            self.sinks.web.recollect(recent)
        for recorder in (journal, self.sinks.captures):
            if recorder is not None:
                recorder.offer_beginning(JudgeMemory(self._policy.judge).dump())
        self._note_policy()

    def _note_policy(self) -> None:
        """The journal keeps the texts, so that every verdict can be traced to the words that made it."""
        if self.sinks.journal is not None:
            texts = [(text.file, text.text) for text in self._policy.source.texts]
            self.sinks.journal.offer_policy(self._policy.label, texts)

    def _on_policy(self) -> None:
        if self._hub is not None and self._tasks is not None and not self._policy.refused:
            self._tasks.keep(self._hub.tell_policy(), name="telling the policy", may_return=True)
        if not self._policy.refused:
            self._note_policy()
        self._publish_health()
        self._manager.ready()

    def _on_uplink_change(self, state: UplinkState) -> None:
        if state.phase is not UplinkPhase.CONNECTING:
            self._publish_health()

    async def _drain(self) -> None:
        if self.club is not None:
            await self.club.drain(STOP_SECONDS / 3)
        if self._uplink is not None:
            await self._uplink.drain(STOP_SECONDS / (2 if self._hub is None else 3))
        self._publish_health()
        await self._house.drain(STOP_SECONDS / 2)

    def _sum_up(self) -> None:
        """The closing summary: what became of every frame, and what every part has counted."""
        health = self.health()
        for part in health.parts:
            if figures := figures_object(health.figures[part]):
                _log.info("counted", part=part.name, **figures)
        _log.info("stopped", **health.counts.to_object())
        if not health.counts.adds_up:
            _log.error("these counts do not add up, which is a fault of the program: please report it")

    def _make_club(self) -> "Clubhouse | None":
        options = self._station.club
        if options is None:
            return None
        from gateway.club.hub_member import HubHost  # noqa: PLC0415 - it needs an extra
        from gateway.running.clubhouse import Clubhouse  # noqa: PLC0415 - as above

        host = HubHost(
            source=lambda: self._policy.source,
            hear=self._hear_the_club,
            forwarded=self._house.forwarded,
            fault=lambda fault: self._faults.contain(Doing.JUDGING, fault, frames=1),
        )
        return Clubhouse(options, self.frames, host)

    def _make_uplink(self) -> Uplink[HeardPayload] | None:
        options = self._station.uplink
        if options is None:
            return None
        return Uplink(options, self.frames, on_outcome=self._on_outcome, on_change=self._on_uplink_change)


def _make_house(settings: Settings, run: Run, faults: Faults) -> House:
    """What the feed remembers and the watches, with nobody to tell yet."""
    limits = settings.bus.stations if settings.bus else None
    listed = settings.bus.discovery.callsigns if settings.bus and settings.bus.discovery else ()
    stations = Stations(limits.limit, limits.forget, listed) if limits else Stations()
    reader = ReportReader(settings.post)
    on_air = [receiver.name for receiver in settings.receivers if receiver.address.scheme is not Scheme.FILE]
    return House(run, reader, stations, Watches(settings.alerts, on_air, settings.post, reader, run.now()), faults)


async def run(station: StationFile, *, sinks: Sequence[Sink] = (), parts: Sequence[Answers] = ()) -> None:
    """Run a gateway until SIGTERM or SIGINT; SIGHUP reloads the policy. See `Service` for `sinks` and `parts`.

    Raises `DocumentError`, and `LockHeldError` where another gateway runs with the same station file, journal or login.
    """
    source = policy_files.load_for(station)
    with held(files_of(station)):
        service = Service(station, source, sinks=sinks, parts=parts, manager=ServiceManager())
        stop = asyncio.Event()
        loop = asyncio.get_running_loop()
        loop.set_exception_handler(LoopFaults())
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, stop.set)
        loop.add_signal_handler(signal.SIGHUP, service.reload)
        spare_the_collector()
        try:
            await service.run(stop)
        except* LoginTakenError:
            raise LockHeldError(LOGIN_TAKEN) from None
