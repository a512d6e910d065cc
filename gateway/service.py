"""The gateway as a whole: builds every part from the station file, joins them, reloads, drains and stops.

A frame goes one way: a receiver delivers what one read brought, the judge gives its verdicts, the uplink is offered
what is to be forwarded, and then, whatever became of that, every sink is offered everything. All of it happens within
one call of `Service._deliver`, which never waits; only sockets are waited for, each by a task of its own.
"""

import asyncio
import gc
import signal
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import structlog

from gateway import policy_files
from gateway.documents import DocumentError, Problem
from gateway.feed.health import Counts, Health
from gateway.feed.heard_object import HeardPayload
from gateway.frames.heard import Heard, Run
from gateway.frames.network_line import network_line, route
from gateway.house import Asked, House, Sink
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.judge import Judge
from gateway.judge.memory import JudgeMemory
from gateway.judge.source import PolicySource
from gateway.policy_watch import changed_files
from gateway.post_health import PolicyState, policy_part, uplink_part
from gateway.receivers.kinds import open_receiver
from gateway.settings import StationFile
from gateway.uplink.client import Uplink
from gateway.uplink.outbox import Departure, Outcome
from gateway.uplink.state import Phase, UplinkOptions, UplinkState
from gateway.watches.emergencies import Emergencies

if TYPE_CHECKING:
    from gateway.journal.journal import Journal
    from gateway.judge.verdict import Reason
    from gateway.remembered import Remembered
    from gateway.web.sources import PublishedPolicy

STOP_SECONDS = 3.0
"""How long a stop may take: half of it to send what waits, half to publish what waits."""

HEALTH_SECONDS = 10.0
"""How often the health of the post is looked at and published; a change of the uplink is published at once."""

FIRST_HEALTH_SECONDS = 1.0
"""How soon after the start it is looked at again: by then what can listen and connect has done so."""

_log = structlog.get_logger("stile")


class Service:
    """One gateway, from its station file."""

    def __init__(self, station: StationFile, source: PolicySource, *, sinks: Sequence[Sink] = ()) -> None:
        """`sinks` are told besides those of the station file. Raises `ValueError` where a part cannot be made so."""
        settings = station.settings
        self.frames = Run()
        self._station = station
        self._judge = Judge(source.compiled(settings.post))
        self._policy = PolicyState(self._judge.policy.label, self.frames.now().time_ms)
        self._added = route(settings.station.callsign)
        self._reasons: Counter[Reason | None] = Counter()
        """How many frames were kept for which reason; None: forwarded."""

        self._emergencies = Emergencies(self._added)
        self._reload_wanted = asyncio.Event()
        self._watch_again = asyncio.Event()
        self._source = source
        self._starting = True
        self._delivering = False
        self._sent: list[Departure] = []
        asked = Asked(self.health, self._published_policy, self._waits_for)
        self.house = House(station, self.frames, asked, policy=self._policy.label, sinks=sinks)
        self._receivers = [
            open_receiver(receiver.name, receiver.address, self.frames, self._deliver, allow=receiver.allow)
            for receiver in settings.receivers
        ]
        self._uplink = self._make_uplink()

    async def run(self, stop: asyncio.Event) -> None:
        """Work until `stop` is set, then drain within `STOP_SECONDS` and return."""
        await self._recollect()
        async with self.house.broker(), asyncio.TaskGroup() as tasks:
            keepers = self.house.start(tasks)
            if self._uplink is not None:
                keepers.append(tasks.create_task(self._uplink.run(), name="uplink"))
            keepers.append(tasks.create_task(self._look_after(), name="health"))
            keepers.append(tasks.create_task(self._reload_when_wanted(), name="reload"))
            keepers.append(tasks.create_task(self._watch_files(), name="watch files"))
            listeners = [tasks.create_task(receiver.listen(), name=receiver.name) for receiver in self._receivers]
            self._starting = False
            _log.info("started", run=self.frames.identity, policy=self._policy.label, receivers=len(listeners))
            await stop.wait()
            for listener in listeners:
                listener.cancel()
            await asyncio.gather(*listeners, return_exceptions=True)
            await self._drain()
            for keeper in keepers:
                keeper.cancel()
        _log.info("stopped", **self.health().counts.to_object())

    def reload(self) -> None:
        """Read the policy again, soon. A bad one is refused: the old one stays, and that is said."""
        self._reload_wanted.set()

    @property
    def policy_label(self) -> str:
        """Name and digest of the policy in force."""
        return self._judge.policy.label

    def health(self) -> Health:
        """How every part is now, and what became of every frame."""
        parts = [receiver.part() for receiver in self._receivers]
        outcomes = None
        waiting = 0
        if self._uplink is not None:
            uplink = self._uplink.state()
            parts.append(uplink_part(uplink, self._wall))
            outcomes = {outcome.value: count for outcome, count in uplink.outcomes.items()}
            waiting = uplink.waiting
        parts += self.house.parts()
        parts.append(policy_part(self._policy))
        now = self.frames.now()
        kept = {reason: count for reason, count in self._reasons.items() if reason is not None}
        return Health(
            run=self.frames.identity,
            time_ms=now.time_ms,
            parts=self.house.watches.parts(parts, now),
            counts=Counts(self._reasons.total(), self._reasons[None], kept, outcomes, waiting, self._emergencies.heard),
            past_rates=self._emergencies.past_rates(),
            shed=self.house.shed(),
            activity=self.house.watches.activity(now, self.house.stations),
            reach=self.house.watches.reach(now),
        )

    def _deliver(self, batch: Sequence[Heard]) -> None:
        """The way of every frame. A receiver calls it with what one read brought."""
        judge = self._judge.judge
        judged_batch = [judge(heard) for heard in batch]
        self._reasons.update([judged.verdict.reason for judged in judged_batch])
        payloads = [self.house.payload(judged) for judged in judged_batch]
        self._delivering = True  # what is sent at once is told after what was heard
        if self._uplink is not None:
            self._offer_uplink(self._uplink, payloads)
        for judged in judged_batch:
            self._emergencies.hear(judged)
        self.house.tell(payloads)
        self._delivering = False
        self._tell_sent()

    def _offer_uplink(self, uplink: Uplink, payloads: Sequence[HeardPayload]) -> None:
        added = self._added
        departures = [
            Departure(network_line(judged.innermost, added), judged.heard.moment.elapsed_ms, payload)
            for payload in payloads
            if (judged := payload.judged).verdict.reason is None and judged.innermost is not None
        ]
        if departures:
            uplink.offer(departures)

    def _on_outcome(self, outcome: Outcome, departures: Sequence[Departure]) -> None:
        if outcome is Outcome.SENT:
            self._sent.extend(departures)
            if not self._delivering:
                self._tell_sent()

    def _tell_sent(self) -> None:
        if self._sent:
            self.house.tell_sent(self._sent, self.frames.now().time_ms)
            self._sent.clear()

    def _wall(self, elapsed_ms: int) -> int:
        now = self.frames.now()
        return now.time_ms - now.elapsed_ms + elapsed_ms

    async def _look_after(self) -> None:
        """What is due from time to time: health is told, stations are forgotten."""
        pause = FIRST_HEALTH_SECONDS
        while True:
            self._publish_health()
            self.house.tick()
            await asyncio.sleep(pause)
            pause = HEALTH_SECONDS

    def _publish_health(self) -> None:
        self.house.tell_health(self.health())

    def _published_policy(self) -> "PublishedPolicy":
        from gateway.web.sources import PolicyFile, PublishedPolicy  # noqa: PLC0415 - asked by the web alone

        files = [PolicyFile(text.file, text.text) for text in self._source.texts]
        return PublishedPolicy(self._policy.label, files, self._policy.refused)

    def _waits_for(self) -> list[str]:
        return ["its parts to be started"] if self._starting else []

    async def _recollect(self) -> None:
        """Know again what was known before the restart. Raises `DocumentError` where the journal is none of ours."""
        if self.house.journal is None:
            return
        from gateway.journal.trouble import JournalRefusedError  # noqa: PLC0415 - loaded with the journal alone

        memories: list[Remembered[HeardPayload]] = [JudgeMemory(self._judge), *self.house.memories()]
        try:
            await self.house.journal.recollect(memories, self.house.reader)
        except JournalRefusedError as error:
            raise DocumentError([self._station.document.problem(("journal", "path"), str(error))]) from None
        self._note_policy(self.house.journal)

    def _note_policy(self, journal: "Journal") -> None:
        """The journal keeps the texts, so that every verdict can be traced to the words that made it."""
        journal.offer_policy(self._policy.label, [(text.file, text.text) for text in self._source.texts])

    def _on_uplink_change(self, state: UplinkState) -> None:
        if state.phase is not Phase.CONNECTING:
            self._publish_health()

    async def _reload_when_wanted(self) -> None:
        while True:
            await self._reload_wanted.wait()
            self._reload_wanted.clear()
            try:
                # A long list takes its time to read: frames are judged by the old policy meanwhile.
                source, policy = await asyncio.to_thread(self._read_policy)
            except DocumentError as error:
                problem = str(error.problems[0])
                self._policy = PolicyState(self._policy.label, self.frames.now().time_ms, problem)
                _log.error("the new policy is refused, the old one stays", policy=self._policy.label, problem=problem)
            else:
                self._take_policy(source, policy)
            self._publish_health()

    def _read_policy(self) -> tuple[PolicySource, CompiledPolicy]:
        source = policy_files.load_for(self._station)
        return source, source.compiled(self._station.settings.post)

    def _take_policy(self, source: PolicySource, policy: CompiledPolicy) -> None:
        now = self.frames.now()
        self._judge.replace(policy, now.elapsed_ms)
        self._policy = PolicyState(policy.label, now.time_ms)
        if self._source.files != source.files:
            self._watch_again.set()
        self._source = source
        if self.house.journal is not None:
            self._note_policy(self.house.journal)
        _log.info("policy reloaded", policy=policy.label)

    async def _watch_files(self) -> None:
        station = self._station.path
        async for changed in changed_files(lambda: [station, *map(Path, self._source.files)], self._watch_again):
            if station in changed:
                _log.warning("the station file has changed: restart to use it", file=str(self._station.path))
            if changed != {station}:
                self.reload()

    async def _drain(self) -> None:
        if self._uplink is not None:
            await self._uplink.drain(STOP_SECONDS / 2)
        self._publish_health()
        await self.house.drain(STOP_SECONDS / 2)

    def _make_uplink(self) -> Uplink | None:
        uplink = self._station.settings.uplink
        if uplink is None:
            return None
        options = UplinkOptions(
            servers=uplink.addresses,
            callsign=self._station.settings.station.callsign,
            passcode=self._station.passcode_number,
            filter=uplink.filter,
            freshness_ms=uplink.freshness,
            silence_ms=uplink.silence,
        )
        return Uplink(
            options,
            clock=lambda: self.frames.now().elapsed_ms,
            on_outcome=self._on_outcome,
            on_change=self._on_uplink_change,
        )


def spare_the_collector() -> None:
    """What was loaded stays loaded, and what a frame leaves behind has no cycles: look for garbage seldom."""
    gc.freeze()
    gc.set_threshold(20_000, 20, 50)


async def run(station: StationFile, *, sinks: Sequence[Sink] = ()) -> None:
    """Run a gateway until SIGTERM or SIGINT; SIGHUP reloads the policy. Raises `DocumentError`."""
    refused = station.passcode_problem()
    if refused is not None:
        raise DocumentError([refused])
    source = policy_files.load_for(station)
    try:
        service = Service(station, source, sinks=sinks)
    except ValueError as error:  # a part cannot be made so: the message says why
        raise DocumentError([Problem(str(station.path), 1, "", str(error))]) from None
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    loop.add_signal_handler(signal.SIGHUP, service.reload)
    spare_the_collector()
    await service.run(stop)
