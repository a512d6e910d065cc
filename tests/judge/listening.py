"""Short ways for tests to judge lines: a judge with a policy as text, and frames heard at stated times."""

from collections.abc import Callable

from gateway.frames import tnc2
from gateway.frames.frame import Damaged, Frame
from gateway.frames.heard import Heard, Moment
from gateway.judge.conditions import Post
from gateway.judge.judge import Judge
from gateway.judge.source import PolicySource, PolicyText, read_policy
from gateway.judge.verdict import Judged

POST = Post("QX1GAT-10", 58.6, -3.9167)
NOON_MS = 1_780_747_200_000
"""2026-06-06T12:00:00Z, a Saturday."""


def no_includes(name: str, _including: str) -> PolicyText:
    raise FileNotFoundError(2, "No such file", name)


def source_of(text: str, fetch: Callable[[str, str], PolicyText] = no_includes) -> PolicySource:
    """A policy from the text after its version and name."""
    return read_policy(PolicyText("policy.yaml", f"version: 1\nname: test\n{text}"), fetch)


def judge_of(text: str = "") -> Judge:
    return Judge(source_of(text).compiled(POST))


class Listening:
    """Listens with one judge; frames are heard at the second that is said."""

    def __init__(self, policy: str = "", *, source: PolicySource | None = None) -> None:
        self.judge = judge_of(policy) if source is None else Judge(source.compiled(POST))
        self._sequence = 0

    def heard(
        self, line: bytes | Frame | Damaged, at: float = 0, receiver: str = "vhf", time_ms: int | None = None
    ) -> Heard:
        """The next frame that the receiver hands on; nobody has judged it yet."""
        self._sequence += 1
        frame = tnc2.read(line) if isinstance(line, bytes) else line
        elapsed_ms = round(at * 1000)
        moment = Moment(elapsed_ms, NOON_MS + elapsed_ms if time_ms is None else time_ms)
        return Heard("test", self._sequence, moment, receiver, 0, frame)

    def hear(
        self, line: bytes | Frame | Damaged, at: float = 0, receiver: str = "vhf", time_ms: int | None = None
    ) -> Judged:
        return self.judge.judge(self.heard(line, at, receiver, time_ms))

    def reasons(self, *lines: bytes, at: float = 0) -> list[str]:
        return [str(self.hear(line, at).verdict.reason) for line in lines]
