"""The health of the post as one plain object: which part is alive, since when, why not and what to do. Pure."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from gateway.frames.plain import PlainObject, rfc3339
from gateway.groundwork.part import SEVERITY, Figure, Part, State, counter, counters, gauge
from gateway.judge.verdict import Decision, Reason

HEALTH_SECONDS = 10.0
"""How often it is told, whatever happens. Who misses it twice knows that nobody is there."""


@dataclass(frozen=True, slots=True)
class Counts:
    """What became of every frame of this run."""

    heard: int
    forward: int
    keep_by_reason: Mapping[Reason, int]
    outcomes: Mapping[str, int] | None = None
    """What became of the frames judged `forward`, by outcome; None where the post only listens."""

    waiting: int = 0
    """Frames judged `forward` that wait in the uplink."""

    emergencies: int = 0
    """Whatever became of them; copies that are duplicates are not counted."""

    @property
    def keep(self) -> int:
        """How many frames were kept at home."""
        return sum(self.keep_by_reason.values())

    @property
    def adds_up(self) -> bool:
        """Whether heard = keep + forward, and forward = outcomes + waiting where there is an uplink."""
        forwarded = self.forward if self.outcomes is None else sum(self.outcomes.values()) + self.waiting
        return self.heard == self.keep + self.forward and self.forward == forwarded

    def figures(self) -> Iterator[Figure]:
        """The same as figures, with every reason, also while it is 0."""
        judged = {Decision.FORWARD: self.forward, Decision.KEEP: self.keep}
        kept_by_reason = {reason: self.keep_by_reason.get(reason, 0) for reason in Reason}
        yield counter("frames_heard", self.heard, "Frames heard, by all receivers.")
        yield from counters("frames_judged", "verdict", judged, "Frames by verdict; they add up to heard.")
        yield from counters("frames_kept", "reason", kept_by_reason, "Frames kept at home, by reason.")
        if self.outcomes is not None:
            help_text = "What became of the frames judged forward; with those waiting they add up."
            yield from counters("forward_outcomes", "outcome", self.outcomes, help_text)
            yield gauge("forward_waiting", self.waiting, "Frames judged forward that wait in the uplink.")
        yield counter("emergencies_heard", self.emergencies, "Emergencies heard. Not a distress watch.")

    def to_object(self) -> PlainObject:
        """The plain form: reasons and outcomes that occurred."""
        plain: PlainObject = {
            "heard": self.heard,
            "forward": self.forward,
            "keep": self.keep,
            "keep_by_reason": {
                reason: self.keep_by_reason[reason] for reason in Reason if self.keep_by_reason.get(reason)
            },
            "emergencies": self.emergencies,
        }
        if self.outcomes is not None:
            plain["outcomes"] = dict(self.outcomes)
            plain["waiting"] = self.waiting
        return plain


@dataclass(frozen=True, slots=True)
class Health:
    """The whole post at one moment."""

    run: str
    time_ms: int
    parts: Sequence[Part]
    counts: Counts
    figures: Mapping[Part, Sequence[Figure]] = field(default_factory=dict)
    watched: Mapping[str, PlainObject] = field(default_factory=dict)
    """What is watched of the post as a whole, by name: how busy it is, how far it hears."""

    @property
    def state(self) -> State:
        """That of the worst part."""
        return max((part.state for part in self.parts), key=SEVERITY.__getitem__, default=State.OK)

    def to_object(self) -> PlainObject:
        """The plain object that is published."""
        parts = [_part_object(part, self.figures.get(part, ())) for part in self.parts]
        return {
            "run": self.run,
            "time": rfc3339(self.time_ms),
            "state": self.state,
            "parts": parts,
            "counts": self.counts.to_object(),
            **self.watched,
            "shed": {part["name"]: part["figures"]["shed"] for part in parts if "shed" in part.get("figures", {})},
        }


def _part_object(part: Part, figures: Sequence[Figure]) -> PlainObject:
    """The plain form of a part; `why` and `do` only where there is something to say."""
    plain: PlainObject = {"kind": part.kind, "name": part.name, "state": part.state, "since": rfc3339(part.since_ms)}
    if part.why:
        plain["why"] = part.why
    if part.do:
        plain["do"] = part.do
    if figures:
        plain["figures"] = figures_object(figures)
    return plain


def figures_object(figures: Sequence[Figure]) -> PlainObject:
    """Figures by name; those that a label tells apart by the value of the label, within their name."""
    plain: PlainObject = {}
    for figure in figures:
        if figure.labels:
            (label,) = figure.labels.values()
            plain.setdefault(figure.name, {})[label] = figure.value
        else:
            plain[figure.name] = figure.value
    return plain
