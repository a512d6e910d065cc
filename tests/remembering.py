"""Short ways for tests of memories that outlive a restart, and any JSON that a spoiled journal may hold."""

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from hypothesis import strategies as st

from gateway.feed.heard_object import HeardPayload, encode
from gateway.groundwork.remembered import Past, Remembered
from gateway.judge.judge import Judge
from gateway.judge.memory import JudgeMemory

any_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text(max_size=5), inner, max_size=5),
    max_leaves=20,
)


def dumped(memory: Remembered[HeardPayload]) -> list[dict[str, Any]]:
    """The pieces of a dump, as the journal gives them back."""
    return [json.loads(encode(piece)) for piece in memory.dump() if piece]


def restore(
    memory: Remembered[HeardPayload],
    pieces: Iterable[Mapping[str, Any]],
    shift_ms: int = 0,
    frames: Sequence[HeardPayload | None] = (),
) -> None:
    """Give back what was dumped."""
    for piece in pieces:
        memory.restore(piece, Past(shift_ms, frames))


def budgets_of(judge: Judge) -> dict[str, dict[str, Any]]:
    """What is used of each budget, as it is dumped."""
    budgets: dict[str, dict[str, Any]] = {}
    for piece in dumped(JudgeMemory(judge)):
        for name, state in piece.get("budgets", {}).items():
            budgets.setdefault(name, {"period": state["period"], "used": {}})["used"].update(state["used"])
    return budgets


def restore_budgets(judge: Judge, budgets: object) -> None:
    """Give back what `budgets_of` gave."""
    JudgeMemory(judge).restore({"budgets": budgets}, Past(0))
