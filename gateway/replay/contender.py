"""A policy in a replay: a judge that asks it, with a memory for each run as the gateway had, and what came of it."""

from collections import Counter
from dataclasses import dataclass, field

from gateway.frames.heard import Heard
from gateway.frames.network_line import LINE_END, route
from gateway.frames.plain import PlainObject, rfc3339
from gateway.groundwork.bounded import BoundedMapping
from gateway.groundwork.duration import MINUTE_MS
from gateway.groundwork.remembered import Past
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.judge import Judge
from gateway.judge.memory import JudgeMemory
from gateway.judge.verdict import Decision, Judged, Reason, Verdict
from gateway.replay.beginnings import Beginnings
from gateway.replay.bounded import BoundedCounter
from gateway.replay.order import MAXIMUM_OPEN_RUNS


class RunJudge:
    """Judges by one policy. Each run begins with what its gateway remembered then, as far as the capture says so.

    Where it does not, a run begins with an empty memory, but goes on with the budgets of the one before it.
    """

    def __init__(self, policy: CompiledPolicy, beginnings: Beginnings | None = None) -> None:
        """`beginnings` is filled while the frames are read; None: the capture does not say."""
        self.policy = policy
        self.beginnings = beginnings or Beginnings()
        self._runs = BoundedMapping[str, Judge](MAXIMUM_OPEN_RUNS)
        self._run: str | None = None
        self._judge = Judge(policy)

    def judge(self, heard: Heard) -> Judged:
        """The verdict on `heard`."""
        if heard.run != self._run:
            self._enter(heard.run)
        return self._judge.judge(heard)

    def _enter(self, run: str) -> None:
        self._run = run
        judge = self._runs.renew(run)
        if judge is None:
            judge = self._runs[run] = Judge(self.policy)
            pieces = self.beginnings.of(run)
            if pieces is None:
                pieces = [{"budgets": piece.get("budgets")} for piece in JudgeMemory(self._judge).dump()]
            for piece in pieces:
                JudgeMemory(judge).restore(piece, Past(0))
        self._judge = judge


@dataclass
class BusiestMinute:
    """The minute of the day and date in which most network lines came together."""

    began_ms: int = 0
    lines: int = 0
    octets: int = 0
    _now: int = -1
    _lines: int = 0
    _octets: int = 0

    def add(self, time_ms: int, octets: int) -> None:
        """One more line. Times go forwards, but for a clock that is set back: that begins a minute anew."""
        minute = time_ms // MINUTE_MS
        if minute != self._now:
            self._now, self._lines, self._octets = minute, 0, 0
        self._lines += 1
        self._octets += octets
        if self._lines > self.lines:
            self.began_ms, self.lines, self.octets = minute * MINUTE_MS, self._lines, self._octets

    def to_object(self) -> PlainObject | None:
        """The plain form; None where there was no line."""
        if not self.lines:
            return None
        return {"began": rfc3339(self.began_ms), "lines": self.lines, "octets": self.octets}


@dataclass
class Tally:
    """What a policy made of the frames."""

    verdicts: Counter[Verdict] = field(default_factory=Counter)
    octets: int = 0
    """Of the network lines, CR LF included."""

    emergencies: int = 0
    """Whatever became of them; copies that are duplicates are not counted."""

    busiest: BusiestMinute = field(default_factory=BusiestMinute)
    stations: BoundedCounter[str] = field(default_factory=BoundedCounter)
    """Octets that each station forwarded."""

    @property
    def heard(self) -> int:
        """All frames."""
        return self.verdicts.total()

    @property
    def forward(self) -> int:
        """How many should go up."""
        return sum(count for verdict, count in self.verdicts.items() if verdict.decision is Decision.FORWARD)

    def kept_by_reason(self) -> Counter[Reason]:
        """How many are kept, for each reason, in the order of the reasons."""
        kept: Counter[Reason] = Counter()
        for verdict, count in self.verdicts.items():
            if verdict.reason is not None:
                kept[verdict.reason] += count
        return Counter({reason: kept[reason] for reason in Reason if kept[reason]})

    def kept_by_entry(self) -> Counter[tuple[Reason, str]]:
        """How many are kept by each rule and rate, by its name."""
        kept: Counter[tuple[Reason, str]] = Counter()
        for verdict, count in self.verdicts.items():
            if verdict.reason is not None and verdict.rule is not None:
                kept[verdict.reason, verdict.rule] += count
        return Counter(dict(sorted(kept.items(), key=lambda item: (-item[1], item[0]))))


class Contender:
    """One policy at work on a capture."""

    def __init__(self, name: str, policy: CompiledPolicy, beginnings: Beginnings | None = None) -> None:
        """See `RunJudge`."""
        self.name = name
        self.label = policy.label
        self.tally = Tally()
        self._judge = RunJudge(policy, beginnings)
        self._added_octets = len(route(policy.post.callsign)) + len(LINE_END)
        """What a network line has beside its header and its information."""

    def knows_beginning(self, run: str) -> bool:
        """Whether the capture says what the judge remembered when the run began."""
        return self._judge.beginnings.of(run) is not None

    def judge(self, heard: Heard) -> Judged:
        """The verdict on `heard`, counted."""
        judged = self._judge.judge(heard)
        tally = self.tally
        tally.verdicts[judged.verdict] += 1
        tally.emergencies += judged.counts_as_emergency
        if judged.verdict.reason is None and judged.innermost is not None:
            octets = self.octets_of(judged)
            tally.octets += octets
            tally.busiest.add(heard.moment.time_ms, octets)
            tally.stations.add(judged.innermost.header.source, octets)
        return judged

    def octets_of(self, judged: Judged) -> int:
        """Octets of the frame's network line; 0 where it is damaged."""
        frame = judged.innermost
        return 0 if frame is None else len(frame.header.network) + self._added_octets + len(judged.information)

    def to_object(self) -> PlainObject:
        """The plain form."""
        tally = self.tally
        kept_by_reason = tally.kept_by_reason()
        return {
            "policy": self.label,
            "asked_for": self.name,
            "heard": tally.heard,
            "forward": tally.forward,
            "keep": kept_by_reason.total(),
            "keep_by_reason": {reason.value: count for reason, count in kept_by_reason.items()},
            "keep_by_rule": _by_name(tally, Reason.RULE),
            "keep_by_rate": _by_name(tally, Reason.OVER_RATE),
            "emergencies": tally.emergencies,
            "octets": tally.octets,
            "stations": len(tally.stations),
            "busiest_minute": tally.busiest.to_object(),
        }


def _by_name(tally: Tally, reason: Reason) -> PlainObject:
    return {name: count for (kind, name), count in tally.kept_by_entry().items() if kind is reason}
