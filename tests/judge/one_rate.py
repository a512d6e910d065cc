"""A judge with one rate, called slow, and frames no two of which are alike."""

import itertools

from gateway.judge.verdict import Reason
from tests.judge.listening import Listening

_NUMBERS = itertools.count()


def listening(rate: str) -> Listening:
    return Listening(f"rates: [{{name: slow, {rate}}}]")


def hear(post: Listening, at: float, source: str = "QA1BCD", receiver: str = "vhf", information: str = "") -> bool:
    """A frame like no other; whether it is forwarded."""
    line = f"{source}>APRS:{information or '>'}{next(_NUMBERS):08d}"
    judged = post.hear(line.encode(), at, receiver)
    assert judged.verdict.reason in {None, Reason.OVER_RATE}
    assert judged.verdict.rule == (None if judged.forward else "slow")
    return judged.forward
