"""Every decision of the uplink about a line, in every order in which things can happen: see `crossing_world.py`."""

import os
from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from tests.uplink.crossing_world import EVENTS, World, every_sequence
from tests.uplink.posting import PASSCODE

IS_NIGHT = os.environ.get("STILE_EXAMPLES") == "nightly"
LONGEST, DRAWN, STEPS = (7, 5000, 100) if IS_NIGHT else (6, 40, 50)
"""Seven events take a minute, and so do five thousand long sequences: by night alone."""


@pytest.mark.parametrize(
    ("passcode", "longest"), [(PASSCODE, LONGEST), (None, LONGEST - 1)], ids=["to send", "to receive only"]
)
def test_nothing_goes_twice_or_late_and_sums_add_up_in_every_sequence_of_events(
    passcode: int | None, longest: int
) -> None:
    assert every_sequence(longest, passcode) > 1000


class AnyOrder(RuleBasedStateMachine):
    """Long sequences, drawn by chance."""

    def __init__(self) -> None:
        super().__init__()
        self.world = World()

    @invariant()
    def all_holds(self) -> None:
        self.world.check()


for event in EVENTS:

    def _happen(self: AnyOrder, event: Callable[[World], bool] = event) -> None:
        event(self.world)

    setattr(AnyOrder, event.__name__, rule()(_happen))


def test_nothing_goes_twice_or_late_in_long_sequences_drawn_by_chance() -> None:
    slow_is_fine = [HealthCheck.too_slow]  # the computer may have other things to do
    chosen = settings(max_examples=DRAWN, stateful_step_count=STEPS, suppress_health_check=slow_is_fine)
    run_state_machine_as_test(AnyOrder, settings=chosen)


def test_a_verified_connection_takes_what_is_fresh_and_nothing_goes_again_over_the_next() -> None:
    world = World()
    for each in (World.offer, World.connect, World.greet, World.verify, World.offer, World.reset, World.offer):
        assert each(world)
    assert [connection.unconfirmed for connection in world.past] == [2]
    for each in (World.connect, World.greet, World.verify):
        assert each(world)
    world.check()
    assert [octets.count(b"\n") for octets in world.wires[1].written] == [1, 1]  # the login, and the third line
