"""What advice would do: the capture judged again by the policy with the lines in it, beside the policy as it is."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from gateway.documents import DocumentError
from gateway.frames.network_line import network_line, route
from gateway.frames.plain import PlainObject
from gateway.judge.conditions import Post
from gateway.judge.examples import check_examples
from gateway.judge.source import PolicySource
from gateway.judge.verdict import Decision
from gateway.replay.advisers import Advice
from gateway.replay.amendment import amended
from gateway.replay.beginnings import Beginnings
from gateway.replay.bounded import BoundedCounter
from gateway.replay.contender import RunJudge
from gateway.replay.order import Order, in_order
from gateway.replay.record import Record

NAMED_OTHERS = 5
"""How many of the other stations that are hit are named."""


@dataclass
class Effect:
    """What changes with the lines of one piece of advice."""

    advice: Advice
    saved: int = 0
    """Frames that no longer go up."""

    saved_octets: int = 0
    gained: int = 0
    """Frames that go up only with it."""

    gained_octets: int = 0
    others: BoundedCounter[str] = field(default_factory=BoundedCounter)
    """Frames that no longer go up, of each station at which it was not aimed."""

    examples: tuple[str, ...] = ()
    """The policy's own examples that expect otherwise: to be changed with it."""

    def to_object(self) -> PlainObject:
        """The plain form."""
        advice = self.advice
        return {
            "fault": advice.fault,
            "about": advice.about or None,
            "finding": advice.finding,
            "figures": dict(advice.figures),
            "lines": advice.lines,
            "effect": {
                "saved": {"frames": self.saved, "octets": self.saved_octets},
                "gained": {"frames": self.gained, "octets": self.gained_octets},
                "other_stations": len(self.others),
                "frames_of_others": self.others.total(),
                "others": dict(self.others.greatest(NAMED_OTHERS)),
            },
            "examples_that_expect_otherwise": list(self.examples),
        }


def try_out(
    records: Iterable[Record],
    source: PolicySource,
    post: Post,
    advice: Iterable[Advice],
    beginnings: Beginnings | None = None,
) -> list[Effect]:
    """The effect of each piece of advice alone, in one going through the records, which fills `beginnings`."""
    as_it_is = RunJudge(source.compiled(post), beginnings)
    trials: list[tuple[Effect, RunJudge]] = []
    for piece in advice:
        changed = amended(source, piece.lines)
        trials.append(
            (Effect(piece, examples=_broken_examples(changed, post)), RunJudge(changed.compiled(post), beginnings))
        )
    added = route(post.callsign)
    for record in in_order(records, Order()) if trials else ():
        judged = as_it_is.judge(record.heard)
        for effect, judge in trials:
            decision = judge.judge(record.heard).verdict.decision
            if decision is judged.verdict.decision or judged.innermost is None:
                continue
            octets = len(network_line(judged.innermost, added))
            if decision is Decision.FORWARD:
                effect.gained += 1
                effect.gained_octets += octets
                continue
            effect.saved += 1
            effect.saved_octets += octets
            if judged.innermost.source not in effect.advice.aimed_at:
                effect.others.add(judged.innermost.source)
    return [effect for effect, _ in trials]


def _broken_examples(source: PolicySource, post: Post) -> tuple[str, ...]:
    try:
        check_examples(source, post)
    except DocumentError as error:
        return tuple(map(str, error.problems))
    return ()
