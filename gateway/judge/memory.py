"""What the judge must know again after a restart: the window of duplicates, and what is used of its budgets.

It begins each run in a capture, too, so that a replay starts from where the gateway did.
"""

import base64
import binascii
from collections.abc import Iterator, Mapping
from typing import Any, Protocol

from gateway.groundwork.remembered import Past, in_pieces
from gateway.judge.judge import Judge
from gateway.judge.verdict import Judged

KEYS_OF_A_PIECE = 64
"""Of the window of duplicates: with the longest keys that makes 45 kB, which fits into one line of a capture."""


class WithVerdict(Protocol):
    """Whatever tells of one judged frame."""

    @property
    def judged(self) -> Judged:
        """The frame, with its verdict."""


class JudgeMemory:
    """The memory of one judge, as `remembered.Remembered` has it."""

    name = "judge"
    version = 1
    every_ms = 1_800_000

    def __init__(self, judge: Judge) -> None:
        self._judge = judge

    @property
    def revision(self) -> int:
        """Every frame that goes up changes the window."""
        return self._judge.recent.remembered

    def dump(self) -> Iterator[dict[str, Any]]:
        """Budgets, then the window of duplicates: both as they are when the first piece is taken."""
        limits = self._judge.limits
        budgets = {f"{limit.name}/{limit.per}": limit.budget.state() for limit in limits if limit.budget is not None}
        duplicates = self._judge.recent.entries()
        window_ms, newest_ms = self._judge.recent.window_ms, self._judge.recent.newest_ms
        for name, state in budgets.items():
            for used in in_pieces(state["used"].items()):
                yield {"budgets": {name: {"period": state["period"], "used": dict(used)}}}
        for entries in in_pieces(duplicates, KEYS_OF_A_PIECE):
            lasting = [entry for entry in entries if newest_ms - entry[1] < window_ms]
            duplicates_piece = [[base64.b64encode(key).decode("ascii"), at_ms] for key, at_ms in lasting]
            yield {"duplicates": duplicates_piece} if lasting else {}

    def restore(self, piece: Mapping[str, Any], past: Past[WithVerdict]) -> None:
        """What belongs to no budget of the policy is left out, and so is what left the window long ago."""
        budgets, duplicates = piece.get("budgets"), piece.get("duplicates")
        if isinstance(budgets, Mapping):
            for limit in self._judge.limits:
                used = budgets.get(f"{limit.name}/{limit.per}")
                if limit.budget is not None and isinstance(used, Mapping):
                    limit.budget.restore(used)
        for entry in duplicates if isinstance(duplicates, list) else ():
            match entry:
                case [str(encoded), int(at_ms)]:
                    self._restore_duplicate(encoded, min(at_ms + past.shift_ms, 0))

    def recall(self, heard: WithVerdict) -> None:
        """It was judged so before the restart."""
        self._judge.recall(heard.judged)

    def _restore_duplicate(self, encoded: str, at_ms: int) -> None:
        recent = self._judge.recent
        try:
            key = base64.b64decode(encoded, validate=True)
        except (ValueError, binascii.Error):
            return
        if -at_ms < recent.window_ms:
            recent.remember(key, at_ms)
