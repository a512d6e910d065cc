"""What `stile explain` tells of a frame: each question asked of it, the answer, what decided, and what it reports."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from gateway import reports, settings
from gateway.commands.pasted import PastedFrames
from gateway.commands.usage import AskedWronglyError
from gateway.feed.heard_object import heard_object
from gateway.feed.reader import ReportReader
from gateway.frames.frame import Damaged
from gateway.frames.network_line import LINE_END, network_line, route
from gateway.frames.plain import PlainObject
from gateway.groundwork.printable import printable
from gateway.judge.conditions import Post
from gateway.judge.explanation import Explanation, explain
from gateway.judge.judge import Judge
from gateway.replay.comparison import in_words
from gateway.settings import policy_files

LONGEST_LINE = 64 * 1024
"""Octets read of a line from standard input: no frame is as long, and no heard object."""

NO_STATION = Post("QX1GAT-10")
"""Where no station file is given: as long as a callsign can be, so that what fits with it fits with any."""


@dataclass(frozen=True, slots=True)
class ExplainedFrame:
    """An explanation with all that is shown of it."""

    explanation: Explanation
    post: Post

    @property
    def readable(self) -> bool:
        """Whether the line was a frame at all."""
        return not isinstance(self.explanation.judged.heard.frame, Damaged)

    def to_object(self) -> PlainObject:
        """The heard object with `steps`."""
        judged = self.explanation.judged
        steps = [step.to_object() for step in self.explanation.steps]
        return {**heard_object(judged, ReportReader(self.post)(judged)), "steps": steps}

    def in_words(self) -> str:
        """For a terminal: the verdict, then the way to it, then what it reports. Text from the air is escaped."""
        judged = self.explanation.judged
        lines = [f"{in_words(judged.verdict)}  ({judged.verdict.policy})"]
        if judged.innermost is not None and judged.forward:
            line = network_line(judged.innermost, route(self.post.callsign)).removesuffix(LINE_END)
            lines.append(f"goes up as: {printable(line.decode('utf-8', 'backslashreplace'))}")
        steps = self.explanation.steps
        widest = max(len(step.step) for step in steps)
        lines += [
            "",
            *(
                f"{'→' if step.decided else ' '} {step.step:{widest}}  {step.asked} {printable(step.answer)}"
                for step in steps
            ),
        ]
        if judged.innermost is not None:
            report = reports.read(judged.innermost.destination, judged.information)
            lines += ["", *(f"  {label}: {text}" for label, text in reports.describe(report))]
        return "\n".join(lines)


def lines_of(stream: BinaryIO) -> Iterator[bytes]:
    """The lines of a stream without their ends, empty ones left out; of one too long the first part."""
    while line := stream.readline(LONGEST_LINE):
        is_cut = not line.endswith(b"\n")
        if line.strip():
            yield line.rstrip(b"\r\n")
        while is_cut and (rest := stream.readline(LONGEST_LINE)):
            is_cut = not rest.endswith(b"\n")


class Explaining:
    """Explains frames one after the other, each with those before it in mind."""

    def __init__(self, policy: str | None, station: Path | None, receiver: str) -> None:
        """`policy`: the one of the station file where none is named. `receiver` heard what names none.

        Raises `DocumentError` where a file cannot be used, `AskedWronglyError` where neither is named.
        """
        text = settings.load_text(station) if station else None
        self._post = text.settings.post if text else NO_STATION
        if policy is not None:
            source = policy_files.load(policy, self._post, beside=Path())
        elif text is not None:
            source = policy_files.load(text.settings.policy, self._post, beside=text.folder)
        else:
            raise AskedWronglyError("name a policy, --policy P, or the station file that names one, --station S")
        self._judge = Judge(source.compiled(self._post))
        self._pasted = PastedFrames(receiver)

    def explain(self, line: bytes) -> ExplainedFrame:
        """The frame in a line without its end."""
        return ExplainedFrame(explain(self._judge, self._pasted.read(line)), self._post)
