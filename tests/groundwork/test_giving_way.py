import asyncio

import pytest

from gateway.groundwork import giving_way
from gateway.groundwork.giving_way import SLICE_SECONDS, Rests, Round


@pytest.mark.parametrize(
    ("took", "busy", "rest"), [(0.01, False, 0.04), (0.01, True, 0.2), (0.001, False, 0.02), (1.0, True, 0.5)]
)
def test_a_rest_is_in_proportion_to_what_the_round_took_within_its_bounds(
    took: float, rest: float, *, busy: bool
) -> None:
    rests = Rests(usual=4.0, while_busy=20.0, shortest=0.02, longest=0.5)
    assert rests.after(took, busy=busy) == pytest.approx(rest)


class Clock:
    def __init__(self) -> None:
        self.seconds = 0.0

    def __call__(self) -> float:
        return self.seconds


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """The time that passes, and all of it the processor's."""
    clock = Clock()
    monkeypatch.setattr(giving_way, "perf_counter", clock)
    monkeypatch.setattr(giving_way, "thread_time", clock)
    return clock


async def test_others_have_their_turn_after_a_slice_and_not_before(clock: Clock) -> None:
    others = 0

    async def work_on() -> None:
        nonlocal others
        while True:
            others += 1
            clock.seconds += 1.0
            await asyncio.sleep(0)

    working = asyncio.create_task(work_on())
    one = Round()
    clock.seconds += SLICE_SECONDS * 0.9
    await one.give_way()
    assert others == 0
    clock.seconds += SLICE_SECONDS * 0.2
    await one.give_way()
    assert others == 1
    clock.seconds += SLICE_SECONDS * 0.5
    await one.give_way()
    assert others == 1
    assert one.took == pytest.approx(SLICE_SECONDS * 1.6), "what the others took is not counted"
    working.cancel()
