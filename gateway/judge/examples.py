"""The examples in a policy: a policy that does not do what it says of itself is refused when it is loaded."""

from dataclasses import replace

from gateway.documents import DocumentError, Problem
from gateway.frames import tnc2
from gateway.frames.frame import Damaged, Frame
from gateway.frames.heard import Heard, Moment
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.conditions import Post
from gateway.judge.judge import Judge
from gateway.judge.policy import Example
from gateway.judge.source import Entry, PolicySource
from gateway.judge.verdict import Judged, Reason


def check_examples(source: PolicySource, post: Post) -> None:
    """Judge every example, each with empty memory. Raises `DocumentError` that names those that came out otherwise."""
    policy = source.compiled(post)
    problems = [
        problem
        for example, entry in zip(source.policy.examples, source.examples, strict=True)
        for problem in _problems(policy, example, entry)
    ]
    if problems:
        raise DocumentError(problems)


def judge_example(policy: CompiledPolicy, example: Example) -> Judged:
    """What the policy says of an example, with nothing heard before it but what the example says."""
    judge = Judge(policy)
    earlier = sorted(example.after, key=lambda frame: -frame.before)
    longest_ms = earlier[0].before if earlier else 0
    for sequence, before in enumerate(earlier, 1):
        moment = Moment(longest_ms - before.before, example.at - before.before)
        judge.judge(_heard(sequence, _frame(before.frame), before.receiver or example.receiver, moment))
    frame = _frame(example.frame)
    if isinstance(frame, Frame):
        frame = replace(frame, control=example.control, pid=example.pid)
    return judge.judge(_heard(len(earlier) + 1, frame, example.receiver, Moment(longest_ms, example.at)))


def _problems(policy: CompiledPolicy, example: Example, entry: Entry) -> list[Problem]:
    for before in example.after:
        if isinstance(frame := _frame(before.frame), Damaged):
            return [entry.problem(f"a frame before it cannot be read: {frame.because}")]
    judged = judge_example(policy, example)
    frame = judged.heard.frame
    if isinstance(frame, Damaged) and example.reason is not Reason.DAMAGED:
        return [entry.problem(f"the frame cannot be read: {frame.because}")]
    verdict = judged.verdict
    expectation = {"expect": example.expect, "reason": example.reason, "rule": example.rule}
    outcome = {"expect": verdict.decision, "reason": verdict.reason, "rule": verdict.rule}
    wrong = [name for name, value in expectation.items() if value is not None and value != outcome[name]]
    if not wrong:
        return []
    expected = ", ".join(str(value) for value in expectation.values() if value is not None)
    came = ", ".join(str(value) for value in outcome.values() if value is not None)
    return [entry.problem(f"the example expects {expected}, but the policy says {came}")]


def _frame(line: str) -> Frame | Damaged:
    return tnc2.read(line.encode("utf-8"))


def _heard(sequence: int, frame: Frame | Damaged, receiver: str, moment: Moment) -> Heard:
    return Heard("example", sequence, moment, receiver, 0, frame)
