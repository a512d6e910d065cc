"""What the judges of a capture's runs remembered when each began: a replay goes on from there, as the gateway did."""

from collections.abc import Mapping
from typing import Any

from gateway.frames.capture import BEGAN_WITH
from gateway.frames.plain import PlainFormError, PlainObject
from gateway.groundwork.bounded import BoundedMapping
from gateway.replay.order import MAXIMUM_OPEN_RUNS

MAXIMUM_PIECES = 1200
"""Of one run: somewhat more than the fullest memory of a judge has."""


class Beginnings:
    """By run, for the latest runs that were read: pieces as `judge.memory` dumps them."""

    def __init__(self) -> None:
        self._pieces = BoundedMapping[str, list[PlainObject]](2 * MAXIMUM_OPEN_RUNS)

    def of(self, run: str) -> list[PlainObject] | None:
        """The pieces of a run; None where the capture does not say with what it began."""
        return self._pieces.get(run)

    def take(self, plain: Mapping[str, Any]) -> None:
        """Take in a line that says with what a run began. Raises `PlainFormError`."""
        match plain:
            case {"run": str(run), "began_with": dict(piece)}:
                pieces = self._pieces.renew(run)
                if pieces is None:
                    pieces = self._pieces[run] = []
                if len(pieces) < MAXIMUM_PIECES:
                    pieces.append(piece)
            case _:
                raise PlainFormError(f"{BEGAN_WITH}: an object belongs here, and a text at run")
