"""The policy in force: what the judge judges by, read again when its files change or when that is asked for."""

import asyncio
from collections.abc import Callable, Sequence
from pathlib import Path

import structlog

from gateway.frames.heard import Run
from gateway.groundwork.kept_tasks import kept_tasks
from gateway.groundwork.own_thread import in_own_thread
from gateway.groundwork.part import Figure, Part, PartKind, State, counter
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.judge import Judge
from gateway.judge.source import PolicySource
from gateway.running.faults import Doing, Faults
from gateway.running.policy_watch import changed_files
from gateway.settings import DocumentError, StationFile, policy_files

LONG_READING_SECONDS = 5
"""What takes longer to read is shown."""

LONGEST_READING_SECONDS = 60.0
"""A disk that has not answered by then hangs; the largest policy takes a few seconds."""

WATCH_AGAIN_SECONDS = 5.0
"""After a fault of the watch over files."""

_log = structlog.get_logger("stile")


class PolicyInForce:
    """Keeps a judge supplied with the policy of a station file. It answers for the policy: see `part.Answers`.

    A policy that cannot be used is refused: the one before it stays, and that is said.
    """

    def __init__(  # noqa: PLR0913 - two of them are who hears of it
        self,
        station: StationFile,
        source: PolicySource,
        run: Run,
        faults: Faults,
        *,
        on_reading: Callable[[], None] = lambda: None,
        on_change: Callable[[], None] = lambda: None,
    ) -> None:
        """`on_reading` hears that one is about to be read again, `on_change` that it was, taken or refused."""
        self.source = source
        self.judge = Judge(source.compiled(station.settings.post))
        self.refused = ""
        """Why a newer one cannot be used; empty where there is none."""

        self._station = station
        self._run = run
        self._faults = faults
        self._on_reading = on_reading
        self._on_change = on_change
        self._since_ms = run.now().time_ms
        self._reloads = self._refusals = 0
        self._reading_since_ms: int | None = None
        """Since when a new one is being read, in elapsed milliseconds; None where none is."""

        self._wanted = asyncio.Event()
        self._watch_again = asyncio.Event()

    @property
    def label(self) -> str:
        """Name and digest, `receive-only@3fa9c1`."""
        return self.judge.policy.label

    def part(self) -> Part:
        """Whether the policy in force is the one that its files hold."""
        now_ms, reading_since_ms = self._run.now().elapsed_ms, self._reading_since_ms
        state, why, do = State.DEGRADED, f"{self.label} is in force", ""
        if reading_since_ms is not None and now_ms - reading_since_ms >= LONG_READING_SECONDS * 1000:
            why = f"{self.label} stays in force: a new one is being read for {(now_ms - reading_since_ms) // 1000} s"
            do = "see whether its disk hangs"
        elif self.refused:
            why = f"{self.label} stays in force, for the new one is refused: {self.refused}"
            do = "mend it and reload"
        else:
            state = State.OK
        return Part(PartKind.POLICY, PartKind.POLICY, state, self._since_ms, why, do)

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
        async with kept_tasks() as tasks:
            tasks.keep(self._watch_files(), "policy: files")
            while True:
                await self._wanted.wait()
                self._wanted.clear()
                await self._read_again()

    async def _read_again(self) -> None:
        self._on_reading()
        try:
            # A long list takes its time to read: frames are judged by the old policy meanwhile.
            self._reading_since_ms = self._run.now().elapsed_ms
            async with asyncio.timeout(LONGEST_READING_SECONDS):
                source, policy = await in_own_thread(self._read)
        except DocumentError as error:
            self._refuse(str(error.problems[0]))
        except TimeoutError:
            self._refuse(f"it could not be read within {LONGEST_READING_SECONDS:g} s")
        except OSError as error:
            self._refuse(f"it cannot be read now: {error.strerror}")
        else:
            self.judge.replace(policy, self._run.now().elapsed_ms)
            if self.source.files != source.files:
                self._watch_again.set()
            self.source = source
            self.refused = ""
            self._reloads += 1
            _log.info("policy reloaded", policy=self.label)
        finally:
            self._reading_since_ms = None
        self._since_ms = self._run.now().time_ms
        self._on_change()

    def _refuse(self, problem: str) -> None:
        self.refused = problem
        self._refusals += 1
        _log.error("the new policy is refused, the old one stays", policy=self.label, problem=problem)

    def _read(self) -> tuple[PolicySource, CompiledPolicy]:
        source = policy_files.load_for(self._station)
        return source, source.compiled(self._station.settings.post)

    async def _watch_files(self) -> None:
        while True:
            with self._faults.contained(Doing.WATCHING_FILES):
                await self._reload_when_changed()
            await asyncio.sleep(WATCH_AGAIN_SECONDS)

    async def _reload_when_changed(self) -> None:
        station = self._station.path
        async for changed in changed_files(lambda: [station, *map(Path, self.source.files)], self._watch_again):
            if station in changed:
                _log.warning("the station file has changed: restart to use it", file=str(station))
            if changed != {station}:
                self.reload()
