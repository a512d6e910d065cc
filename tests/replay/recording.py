"""Captures made by hand, and captures of a gateway that lives in the test, with what its judge decided."""

from collections.abc import Iterable, Iterator
from pathlib import Path

from gateway.feed.heard_object import encode, heard_object
from gateway.frames import tnc2
from gateway.frames.frame import Damaged, Frame
from gateway.frames.heard import Heard, Moment
from gateway.judge.judge import Judge
from gateway.judge.source import PolicySource
from gateway.judge.verdict import Judged
from gateway.replay.beginnings import Beginnings
from gateway.replay.captures import Captures
from gateway.replay.contender import Contender
from gateway.replay.record import Record
from gateway.replay.replay import Replay, Replayed
from tests.judge.listening import NOON_MS, POST, source_of
from tests.remembering import budgets_of, restore_budgets


def heard(
    line: bytes | Frame | Damaged, at: float = 0, *, sequence: int = 1, run: str = "first", receiver: str = "vhf"
) -> Heard:
    """A frame heard at the second that is said, after the start of its run and after noon."""
    frame = tnc2.read(line) if isinstance(line, bytes) else line
    milliseconds = round(at * 1000)
    return Heard(run, sequence, Moment(milliseconds, NOON_MS + milliseconds), receiver, 0, frame)


def records(*lines: tuple[float, bytes], run: str = "first") -> list[Record]:
    """One run: each line with the second at which it was heard."""
    return [Record(heard(line, at, sequence=number, run=run)) for number, (at, line) in enumerate(lines, 1)]


class LiveGateway:
    """Judges as the service does, through restarts and reloads, and keeps what the bus would have published."""

    def __init__(self, policy: str | PolicySource = "") -> None:
        self.judged: list[Judged] = []
        self.source = policy if isinstance(policy, PolicySource) else source_of(policy)
        self._judge = Judge(self.source.compiled(POST))
        self._run = 1
        self._sequence = 0
        self._started_ms = 0
        self._now_ms = 0

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self._now_ms += round(seconds * 1000)

    def hear(self, line: bytes | Frame | Damaged, receiver: str = "vhf", port: int = 0) -> Judged:
        """A frame comes now."""
        self._sequence += 1
        frame = tnc2.read(line) if isinstance(line, bytes) else line
        moment = Moment(self._now_ms - self._started_ms, NOON_MS + self._now_ms)
        heard = Heard(f"run-{self._run}", self._sequence, moment, receiver, port, frame)
        judged = self._judge.judge(heard)
        self.judged.append(judged)
        return judged

    def restart(self, policy: str | None = None) -> None:
        """Stop and start, with another policy or the same; budgets are kept, as the journal keeps them."""
        if policy is not None:
            self.source = source_of(policy)
        budgets = budgets_of(self._judge)
        self._judge = Judge(self.source.compiled(POST))
        restore_budgets(self._judge, budgets)
        self._run += 1
        self._sequence = 0
        self._started_ms = self._now_ms

    def reload(self, policy: str) -> None:
        """Another policy from now on."""
        self.source = source_of(policy)
        self._judge.replace(self.source.compiled(POST), self._now_ms - self._started_ms)

    def lines(self) -> list[bytes]:
        """What was published, one object a line."""
        return [encode(heard_object(judged)) for judged in self.judged]


def written(path: Path, lines: Iterable[bytes]) -> Path:
    """A file of such lines."""
    path.write_bytes(b"".join(line + b"\n" for line in lines))
    return path


def read_back(*paths: Path) -> tuple[list[Record], Captures]:
    """All that the captures hold."""
    captures = Captures(paths)
    return list(captures), captures


def begun_anew(runs: int = 3) -> Beginnings:
    """What a capture says of runs that began with an empty memory."""
    beginnings = Beginnings()
    for number in range(1, runs + 1):
        beginnings.take({"run": f"run-{number}", "began_with": {}})
    return beginnings


def replayed(
    of: Iterable[Record],
    policy: str | PolicySource = "",
    against: str | PolicySource | None = None,
    beginnings: Beginnings | None = None,
) -> tuple[Replay, list[Replayed]]:
    """The records judged by one policy or two, all gone through."""
    other = None if against is None else _contender("against", against, beginnings)
    replay = Replay(of, _contender("policy", policy, beginnings), other)
    return replay, list(replay)


def verdicts(frames: Iterable[Replayed]) -> Iterator[tuple[str, int, str, str | None]]:
    """What was decided of each frame, without the name of who decided."""
    for frame in frames:
        verdict = frame.judged.verdict
        yield frame.record.heard.run, frame.record.heard.sequence, verdict.reason or "forward", verdict.rule


def _contender(name: str, policy: str | PolicySource, beginnings: Beginnings | None) -> Contender:
    source = policy if isinstance(policy, PolicySource) else source_of(policy)
    return Contender(name, source.compiled(POST), beginnings)
