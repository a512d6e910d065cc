"""The policy in force: what the judge judges by, read again when its files change or when that is asked for."""

import asyncio
from collections.abc import Callable, Sequence
from pathlib import Path

import structlog

from gateway import policy_files
from gateway.documents import DocumentError
from gateway.frames.heard import Run
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.judge import Judge
from gateway.judge.source import PolicySource
from gateway.part import Figure, Part, PartKind, State, counter
from gateway.policy_watch import changed_files
from gateway.settings import StationFile

_log = structlog.get_logger("stile")


class PolicyInForce:
    """Keeps a judge supplied with the policy of a station file. It answers for the policy: see `part.Answers`.

    A policy that cannot be used is refused: the one before it stays, and that is said.
    """

    def __init__(
        self, station: StationFile, source: PolicySource, run: Run, *, on_change: Callable[[], None] | None = None
    ) -> None:
        """`on_change` hears of every policy that was read again, taken or refused."""
        self.source = source
        self.judge = Judge(source.compiled(station.settings.post))
        self.refused = ""
        """Why a newer one cannot be used; empty where there is none."""

        self._station = station
        self._run = run
        self._on_change = on_change
        self._since_ms = run.now().time_ms
        self._reloads = self._refusals = 0
        self._wanted = asyncio.Event()
        self._watch_again = asyncio.Event()

    @property
    def label(self) -> str:
        """Name and digest, `receive-only@3fa9c1`."""
        return self.judge.policy.label

    def part(self) -> Part:
        """Whether the policy in force is the one that its files hold."""
        if not self.refused:
            return Part(PartKind.POLICY, PartKind.POLICY, State.OK, self._since_ms)
        why = f"{self.label} stays in force, for the new one is refused: {self.refused}"
        return Part(PartKind.POLICY, PartKind.POLICY, State.DEGRADED, self._since_ms, why, "mend it and reload")

    def figures(self) -> Sequence[Figure]:
        """How often it was read again."""
        return [
            counter("policy_reloads", self._reloads, "How often a new policy came into force in this run."),
            counter("policy_refusals", self._refusals, "How often a new policy was refused."),
        ]

    def reload(self) -> None:
        """Read it again, soon."""
        self._wanted.set()

    async def run(self) -> None:
        """Read it again whenever that is wanted, for ever."""
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._watch_files())
            while True:
                await self._wanted.wait()
                self._wanted.clear()
                await self._read_again()

    async def _read_again(self) -> None:
        try:
            # A long list takes its time to read: frames are judged by the old policy meanwhile.
            source, policy = await asyncio.to_thread(self._read)
        except DocumentError as error:
            self.refused = str(error.problems[0])
            self._refusals += 1
            _log.error("the new policy is refused, the old one stays", policy=self.label, problem=self.refused)
        else:
            self.judge.replace(policy, self._run.now().elapsed_ms)
            if self.source.files != source.files:
                self._watch_again.set()
            self.source = source
            self.refused = ""
            self._reloads += 1
            _log.info("policy reloaded", policy=self.label)
        self._since_ms = self._run.now().time_ms
        if self._on_change is not None:
            self._on_change()

    def _read(self) -> tuple[PolicySource, CompiledPolicy]:
        source = policy_files.load_for(self._station)
        return source, source.compiled(self._station.settings.post)

    async def _watch_files(self) -> None:
        station = self._station.path
        async for changed in changed_files(lambda: [station, *map(Path, self.source.files)], self._watch_again):
            if station in changed:
                _log.warning("the station file has changed: restart to use it", file=str(station))
            if changed != {station}:
                self.reload()
