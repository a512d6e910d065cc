"""Tries mutants: each in a copy of the tree, in a process of its own, with the tests that come by the place it changes.

A first run of all tests notes how long each takes and which functions it calls. A mutant is then tried with those that
call the function it stands in, the quickest first, until one fails. Tests that take longer than a few seconds are left
out, and property tests try fewer examples: what only they would find shows as a survivor, to be looked at.

Starting an interpreter and loading pytest takes longer than most trials: this process has loaded what the tests need
from elsewhere, and forks for every trial. It has loaded nothing of the tree itself. What runs away in time or memory is
ended.
"""

import importlib.metadata
import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
import traceback
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from types import FrameType
from typing import Any

import hypothesis
import pytest

from tests.bench.mutants import Mutant

MAXIMUM_MEMORY = 2 * 1024**3
"""Octets of address space of one trial."""

SLOWER = 3.0
"""So many times as much of the processor as at first may the tests take, and some seconds more."""

MORE_SECONDS = 10
WAITING = 20.0
"""So many times that much may pass while they run: the machine has other work."""

EXAMPLES = 30
"""Of a property test that does not ask for another number."""

LOOK_SECONDS = 0.02


class End(StrEnum):
    """How a trial ended."""

    KILLED = "killed"
    KILLED_BY_TIME = "killed by time"
    SURVIVED = "survived"
    NOT_TRIED = "not tried"


@dataclass(frozen=True, slots=True)
class Place:
    """A mutant and the module that it changes, a path from the top of the tree."""

    module: str
    mutant: Mutant


@dataclass
class Baseline:
    """The tests of the unchanged tree: how long each takes, and the functions of the modules that it calls."""

    seconds: dict[str, float] = field(default_factory=dict)
    calls: dict[str, dict[str, list[int]]] = field(default_factory=dict)
    """By test, then by module, the first lines of the functions that were called."""

    def asked_about(self, place: Place) -> list[str]:
        """The tests that come by a mutant, the quickest first: all that come by its module where that is not known."""
        by_module = {test: called[place.module] for test, called in self.calls.items() if place.module in called}
        lines = place.mutant.function
        near = [test for test, called in by_module.items() if lines is None or any(one in lines for one in called)]
        return sorted(near or by_module or self.seconds, key=self.seconds.__getitem__)


def load_what_tests_need() -> None:
    """Load pytest's plugins and the libraries, so that a fork finds them loaded; nothing of the tree."""
    for plugin in importlib.metadata.entry_points(group="pytest11"):
        plugin.load()
    for name in ("geographiclib.geodesic", "hypothesis.strategies", "pydantic", "structlog", "yaml"):
        __import__(name)


class Trials:
    """The tree's copies, one for each process at work."""

    def __init__(self, tree: Path, folder: Path, tests: Sequence[str], cores: int) -> None:
        """`folder` is empty, and whoever made it deletes it. `tests` are paths from the top of the tree."""
        self._tests = tests
        self._copies = [folder / f"copy{number}" for number in range(cores)]
        self._report = folder / "baseline.json"
        listed = subprocess.run(["git", "ls-files", "-z"], cwd=tree, check=True, capture_output=True).stdout.decode()
        for file in filter(None, listed.split("\0")):
            to = self._copies[0] / file
            to.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(tree / file, to)

    def baseline(self, modules: Sequence[str], slowest: float) -> Baseline:
        """Run all tests once, each for `slowest` seconds at most. Raises `RuntimeError` where they fail as it is."""
        first, *others = self._copies
        watch = _Watch(first, modules, slowest, self._report)
        process = _fork(first, self._tests, watch)
        try:
            status = os.waitpid(process, 0)[1]
        except KeyboardInterrupt:
            os.killpg(process, signal.SIGKILL)
            raise
        if os.waitstatus_to_exitcode(status) != 0:
            raise RuntimeError(f"the tests fail before anything is changed:\n{watch.output.read_text()[-2000:]}")
        for copy in others:  # with what Python compiled of it
            shutil.copytree(first, copy)
        return Baseline(**json.loads(self._report.read_text()))

    def run(self, places: Iterable[Place], baseline: Baseline, until: float) -> Iterator[tuple[Place, End]]:
        """Try each; what has not begun `until` then, on the monotonic clock, is not tried."""
        free, running, waiting = list(self._copies), list[_Trial](), iter(places)
        place = next(waiting, None)
        try:
            while place is not None or running:
                if place is not None and (free or time.monotonic() >= until):
                    if time.monotonic() < until:
                        running.append(_Trial.begin(place, free.pop(), baseline))
                    else:
                        yield place, End.NOT_TRIED
                    place = next(waiting, None)
                    continue
                for trial, end in [(trial, end) for trial in running if (end := trial.end()) is not None]:
                    running.remove(trial)
                    free.append(trial.copy)
                    yield trial.place, end
                time.sleep(LOOK_SECONDS)
        finally:
            for trial in running:
                os.killpg(trial.process, signal.SIGKILL)


@dataclass(frozen=True, slots=True)
class _Trial:
    place: Place
    copy: Path
    right: bytes
    """The module as it was."""

    process: int
    deadline: float

    @classmethod
    def begin(cls, place: Place, copy: Path, baseline: Baseline) -> "_Trial":
        tests = baseline.asked_about(place)
        seconds = int(SLOWER * sum(baseline.seconds[test] for test in tests)) + MORE_SECONDS
        module = copy / place.module
        right = module.read_bytes()
        module.write_text(place.mutant.source, "utf-8")
        return cls(place, copy, right, _fork(copy, tests, seconds=seconds), time.monotonic() + WAITING * seconds)

    def end(self) -> End | None:
        """How it ended, with the module put right again; None where it goes on."""
        done, status = os.waitpid(self.process, os.WNOHANG)
        if not done and time.monotonic() < self.deadline:
            return None
        if not done:
            os.killpg(self.process, signal.SIGKILL)  # and what it started itself
            os.waitpid(self.process, 0)
        (self.copy / self.place.module).write_bytes(self.right)
        code = os.waitstatus_to_exitcode(status)
        if not done or code in {-signal.SIGXCPU, -signal.SIGKILL}:
            return End.KILLED_BY_TIME
        return End.SURVIVED if code == pytest.ExitCode.OK else End.KILLED


class _Watch:
    """A plugin of pytest that notes what each test calls, and how long it takes."""

    def __init__(self, copy: Path, modules: Sequence[str], slowest: float, report: Path) -> None:
        self._slowest = slowest
        self._modules = {str(copy / module): module for module in modules}
        self.output = report.with_suffix(".txt")
        """What the tests print."""

        self._report = report
        self._seconds: dict[str, float] = {}
        self._calls: dict[str, dict[str, set[int]]] = {}

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:  # noqa: ANN401 - as pytest has it
        """Look at every call while a test runs."""
        called: dict[str, set[int]] = defaultdict(set)
        start = time.process_time()

        def trace(frame: FrameType, _event: str, _value: object) -> None:
            module = self._modules.get(frame.f_code.co_filename)
            if module is not None:
                called[module].add(frame.f_code.co_firstlineno)
                if time.process_time() - start > self._slowest:
                    pytest.skip("it takes too long")

        sys.settrace(trace)
        try:
            return (yield)
        finally:
            sys.settrace(None)
            seconds = time.process_time() - start
            if seconds <= self._slowest:
                self._seconds[item.nodeid], self._calls[item.nodeid] = seconds, called

    def pytest_sessionfinish(self) -> None:
        """Write it down."""
        calls = {test: {module: sorted(lines) for module, lines in of.items()} for test, of in self._calls.items()}
        self._report.write_text(json.dumps({"seconds": self._seconds, "calls": calls}))


class _Hasty:
    """A plugin of pytest that lets a failing property test fail at once, and not look for its simplest example."""

    @pytest.hookimpl(trylast=True)
    def pytest_configure(self) -> None:
        phases = [hypothesis.Phase.explicit, hypothesis.Phase.generate]
        hypothesis.settings.register_profile(
            "hasty", hypothesis.settings(), phases=phases, database=None, max_examples=EXAMPLES
        )
        hypothesis.settings.load_profile("hasty")


def _fork(copy: Path, tests: Sequence[str], watch: _Watch | None = None, seconds: int = resource.RLIM_INFINITY) -> int:
    """Run tests in a copy of the tree, in a process of its own that takes no more than `seconds` of the processor.

    Gives back its number.
    """
    process = os.fork()
    if process:
        return process
    os.setpgid(0, 0)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    resource.setrlimit(resource.RLIMIT_AS, (MAXIMUM_MEMORY, MAXIMUM_MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, resource.RLIM_INFINITY))
    status = int(pytest.ExitCode.INTERNAL_ERROR)
    try:
        status = _run_here(copy, tests, watch)
    except BaseException:  # noqa: BLE001 - this process is a copy, and must not go on with what the other one does
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)


def _run_here(copy: Path, tests: Sequence[str], watch: _Watch | None) -> int:
    output = os.open(os.devnull if watch is None else watch.output, os.O_RDWR | os.O_CREAT | os.O_TRUNC)
    for descriptor in range(3):
        os.dup2(output, descriptor)
    tree = str(Path.cwd())
    sys.path = [str(copy), *(one for one in sys.path if one not in {"", tree})]
    for name in [one for one in sys.modules if one.partition(".")[0] in {"demo", "docker", "gateway", "tests"}]:
        del sys.modules[name]
    sys.dont_write_bytecode = watch is None  # else what was compiled of one mutant could be taken for another
    os.chdir(copy)
    options = ["-q", "--assert=plain", "-p", "no:cacheprovider", "-m", "not needs", *([] if watch else ["-x"])]
    return int(pytest.main([*options, *tests], plugins=[_Hasty(), *([watch] if watch else [])]))
