"""The gateway as a whole: builds every part from the station file, joins them, reloads, drains and stops.

A frame goes one way: a receiver delivers what one read brought, the judge gives its verdicts, the uplink is offered
what is to be forwarded, and then, whatever became of that, every sink is offered everything. All of it happens within
one call of `Service._deliver`, which never waits; only sockets are waited for, each by a task of its own.
"""

import asyncio
import contextlib
import signal
from collections import Counter
from collections.abc import AsyncIterator, Sequence
from pathlib import Path
from typing import Protocol

import structlog

from gateway import checking, policy_files
from gateway.bus.bus import Bus
from gateway.bus.options import BusOptions, Tls
from gateway.documents import DocumentError
from gateway.feed.alert import emergency_alert
from gateway.feed.health import Counts, Health
from gateway.feed.heard_object import heard_object
from gateway.feed.reader import ReportReader
from gateway.frames.heard import Heard, Run
from gateway.frames.network_line import network_line, route
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.judge import Judge
from gateway.judge.source import PolicySource
from gateway.judge.verdict import Judged, Reason, Verdict
from gateway.policy_watch import changed_files
from gateway.post_health import PolicyState, policy_part, receiver_part, uplink_part
from gateway.receivers.kinds import open_receiver
from gateway.settings import BusSettings, StationFile
from gateway.uplink.client import Uplink
from gateway.uplink.outbox import Departure, Outcome
from gateway.uplink.state import Phase, UplinkOptions, UplinkState

STOP_SECONDS = 3.0
"""How long a stop may take: half of it to send what waits, half to publish what waits."""

HEALTH_SECONDS = 10.0
"""How often the health of the post is looked at and published; a change of the uplink is published at once."""

_log = structlog.get_logger("stile")


class Sink(Protocol):
    """One that is told of everything, and never makes anyone wait."""

    def offer_heard(self, judged: Judged) -> None:
        """A frame was heard and judged."""

    def offer_forwarded(self, judged: Judged, line: bytes, sent_at_ms: int) -> None:
        """The line of a frame was sent, at a Unix time in milliseconds."""


class Service:
    """One gateway, from its station file."""

    def __init__(self, station: StationFile, source: PolicySource, *, sinks: Sequence[Sink] = ()) -> None:
        """`sinks` are told besides the bus of the station file. Raises `ValueError` where a part cannot be made so."""
        settings = station.settings
        self.frames = Run()
        self._station = station
        self._reader = ReportReader(settings.post)
        self._judge = Judge(source.compiled(settings.post))
        self._policy = PolicyState(self._judge.policy.label, self.frames.now().time_ms)
        self._added = route(settings.station.callsign)
        self._verdicts: Counter[Verdict] = Counter()
        self._emergencies = 0
        self._reload_wanted = asyncio.Event()
        self._watch_again = asyncio.Event()
        self._policy_files = source.files
        self._receivers = [
            open_receiver(receiver.name, receiver.address, self.frames, self._deliver, allow=receiver.allow)
            for receiver in settings.receivers
        ]
        self._uplink = self._make_uplink()
        self._bus = self._make_bus(settings.bus) if settings.bus else None
        self._sinks: list[Sink] = [*sinks, *([self._bus] if self._bus else [])]

    async def run(self, stop: asyncio.Event) -> None:
        """Work until `stop` is set, then drain within `STOP_SECONDS` and return."""
        async with self._broker(), asyncio.TaskGroup() as tasks:
            keepers = []
            if self._uplink is not None:
                keepers.append(tasks.create_task(self._uplink.run(), name="uplink"))
            if self._bus is not None:
                keepers.append(tasks.create_task(self._bus.run(), name="bus"))
            keepers.append(tasks.create_task(self._tell_health(), name="health"))
            keepers.append(tasks.create_task(self._reload_when_wanted(), name="reload"))
            keepers.append(tasks.create_task(self._watch_files(), name="watch files"))
            listeners = [tasks.create_task(receiver.listen(), name=receiver.name) for receiver in self._receivers]
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
        parts = [receiver_part(receiver, self._wall) for receiver in self._receivers]
        outcomes = None
        waiting = 0
        if self._uplink is not None:
            uplink = self._uplink.state()
            parts.append(uplink_part(uplink, self._wall))
            outcomes = {outcome.value: count for outcome, count in uplink.outcomes.items()}
            waiting = uplink.waiting
        if self._bus is not None:
            parts.append(self._bus.part())
        parts.append(policy_part(self._policy))
        kept: Counter[Reason] = Counter()
        for verdict, count in self._verdicts.items():
            if verdict.reason is not None:
                kept[verdict.reason] += count
        heard = self._verdicts.total()
        return Health(
            run=self.frames.identity,
            time_ms=self.frames.now().time_ms,
            parts=parts,
            counts=Counts(heard, heard - kept.total(), kept, outcomes, waiting, self._emergencies),
            shed={"bus": self._bus.state().shed} if self._bus else {},
        )

    def _deliver(self, batch: Sequence[Heard]) -> None:
        """The way of every frame. A receiver calls it with what one read brought."""
        judge = self._judge.judge
        judged_batch = [judge(heard) for heard in batch]
        if self._uplink is not None:
            added = self._added
            departures = [
                Departure(network_line(judged.innermost, added), judged.heard.moment.elapsed_ms, judged)
                for judged in judged_batch
                if judged.innermost is not None and judged.verdict.reason is None
            ]
            if departures:
                self._uplink.offer(departures)
        self._verdicts.update([judged.verdict for judged in judged_batch])
        for judged in judged_batch:
            if judged.emergency:
                self._raise_emergency(judged)
            for sink in self._sinks:
                sink.offer_heard(judged)

    def _on_outcome(self, outcome: Outcome, departures: Sequence[Departure]) -> None:
        if outcome is not Outcome.SENT or not self._sinks:
            return
        sent_at_ms = self.frames.now().time_ms
        for departure in departures:
            if isinstance(departure.ticket, Judged):
                for sink in self._sinks:
                    sink.offer_forwarded(departure.ticket, departure.line, sent_at_ms)

    def _raise_emergency(self, judged: Judged) -> None:
        """Copies are shown like any frame, but raise no second alert."""
        if judged.innermost is None or judged.verdict.reason is Reason.DUPLICATE:
            return
        self._emergencies += 1
        _log.warning("emergency heard; this is not a distress watch", source=judged.innermost.source)
        if self._bus is not None:
            self._bus.offer_alert(emergency_alert(judged, heard_object(judged, self._reader(judged))))

    def _wall(self, elapsed_ms: int) -> int:
        now = self.frames.now()
        return now.time_ms - now.elapsed_ms + elapsed_ms

    async def _tell_health(self) -> None:
        while True:
            self._publish_health()
            await asyncio.sleep(HEALTH_SECONDS)

    def _publish_health(self) -> None:
        if self._bus is not None:
            self._bus.offer_health(self.health().to_object())

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
        settings = self._station.settings
        source = policy_files.load(settings.policy, settings.post, beside=self._station.folder)
        return source, source.compiled(settings.post)

    def _take_policy(self, source: PolicySource, policy: CompiledPolicy) -> None:
        now = self.frames.now()
        self._judge.replace(policy, now.elapsed_ms)
        self._policy = PolicyState(policy.label, now.time_ms)
        if self._policy_files != source.files:
            self._policy_files = source.files
            self._watch_again.set()
        _log.info("policy reloaded", policy=policy.label)

    async def _watch_files(self) -> None:
        station = self._station.path
        async for changed in changed_files(lambda: [station, *map(Path, self._policy_files)], self._watch_again):
            if station in changed:
                _log.warning("the station file has changed: restart to use it", file=str(self._station.path))
            if changed != {station}:
                self.reload()

    async def _drain(self) -> None:
        if self._uplink is not None:
            await self._uplink.drain(STOP_SECONDS / 2)
        if self._bus is not None:
            self._publish_health()
            await self._bus.drain(STOP_SECONDS / 2)

    @contextlib.asynccontextmanager
    async def _broker(self) -> AsyncIterator[None]:
        """The broker in the process, where the station file asks for one."""
        bus = self._station.settings.bus
        if bus is None or not bus.embedded:
            yield
            return
        from gateway.bus.embedded import EmbeddedBroker  # noqa: PLC0415 - it needs the extra `broker`

        async with EmbeddedBroker(bus.address[1]) as broker:
            _log.info("broker started", address=f"mqtt://127.0.0.1:{broker.port}")
            yield

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

    def _make_bus(self, bus: BusSettings) -> Bus:
        host, port = bus.address
        folder = self._station.folder
        tls = (
            Tls(*(folder / path if path else None for path in (bus.ca, bus.certificate, bus.key))) if bus.tls else None
        )
        password = self._station.bus_password
        options = BusOptions(
            host=host,
            port=port,
            callsign=self._station.settings.station.callsign,
            base=bus.base,
            tls=tls,
            username=bus.username,
            password=password.get_secret_value() if password else None,
            stations_limit=bus.stations.limit,
            stations_forget_ms=bus.stations.forget,
        )
        return Bus(options, self.frames.now, read_report=self._reader)


async def run(station: StationFile, *, sinks: Sequence[Sink] = ()) -> None:
    """Run a gateway until SIGTERM or SIGINT; SIGHUP reloads the policy. Raises `DocumentError`."""
    refused = checking.passcode_problem(station)
    if refused is not None:
        raise DocumentError([refused])
    source = policy_files.load(station.settings.policy, station.settings.post, beside=station.folder)
    service = Service(station, source, sinks=sinks)
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    loop.add_signal_handler(signal.SIGHUP, service.reload)
    await service.run(stop)
