"""What `stile explain` tells of one frame: each question asked of it, the answer, what decided, and what it reports."""

from dataclasses import dataclass
from pathlib import Path

from gateway import reports, settings
from gateway.feed.heard_object import heard_object
from gateway.feed.reader import ReportReader
from gateway.frames import tnc2
from gateway.frames.frame import Damaged
from gateway.frames.heard import Run
from gateway.frames.network_line import LINE_END, network_line, route
from gateway.frames.plain import PlainObject
from gateway.groundwork.printable import printable
from gateway.judge.conditions import Post
from gateway.judge.explanation import Explanation, explain
from gateway.judge.judge import Judge
from gateway.settings import policy_files

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
        """For a terminal. Text from the air is escaped."""
        judged = self.explanation.judged
        steps = self.explanation.steps
        widest = max(len(step.step) for step in steps)
        lines = [
            f"{'→' if step.decided else ' '} {step.step:{widest}}  {step.asked} {printable(step.answer)}"
            for step in steps
        ]
        verdict = judged.verdict
        because = ", ".join(str(part) for part in (verdict.reason, verdict.rule) if part)
        lines += ["", f"{verdict.decision}{': ' + because if because else ''}  ({verdict.policy})"]
        if judged.innermost is None:
            return "\n".join(lines)
        if judged.forward:
            line = network_line(judged.innermost, route(self.post.callsign)).removesuffix(LINE_END)
            lines.append(f"goes up as: {printable(line.decode('utf-8', 'backslashreplace'))}")
        report = reports.read(judged.innermost.destination, judged.information)
        lines.append("")
        lines.extend(f"  {label}: {text}" for label, text in reports.describe(report))
        return "\n".join(lines)


def explain_line(line: bytes, *, policy: str, station: Path | None, receiver: str) -> ExplainedFrame:
    """Judge one TNC-2 line with empty memory. Raises `DocumentError` where a file cannot be used."""
    post = settings.load_text(station).settings.post if station else NO_STATION
    judge = Judge(policy_files.load(policy, post, beside=Path()).compiled(post))
    run = Run()
    return ExplainedFrame(explain(judge, run.hear(run.now(), receiver, 0, tnc2.read(line))), post)
