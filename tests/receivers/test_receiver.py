"""What every receiver says of itself, and how it hands on."""

from collections.abc import Iterable

from gateway.frames.frame import Damaged, Frame, damaged
from gateway.receivers.address import parse
from gateway.receivers.receiver import Counts, Phase, Receiver
from tests.receivers.listening import Clock, Ear, frame


class Told(Receiver):
    """A receiver that hears what a test says to it."""

    async def listen(self) -> None:
        """Hear nothing."""

    def enter(self, phase: Phase) -> None:
        self._enter(phase)

    def hand_on(self, frames: Iterable[tuple[int, Frame | Damaged]]) -> None:
        self._hand_on(frames)


def told(clock: Clock, ear: Ear) -> Told:
    return Told("vhf", parse("kiss+tcp://127.0.0.1:7581"), clock.run(), ear)


def test_frames_of_one_read_have_one_moment_and_follow_one_another_in_the_run() -> None:
    clock, ear = Clock(), Ear()
    receiver = told(clock, ear)
    clock.seconds = 1.5
    receiver.hand_on([(0, frame("one")), (12, frame("two"))])
    first, second = ear.heard
    assert len(ear.deliveries) == 1
    assert first.moment is second.moment
    assert first.moment.elapsed_ms == 1500
    assert (first.run, first.receiver, first.sequence, second.sequence) == ("test", "vhf", 1, 2)
    assert (first.port, second.port) == (0, 12)


def test_a_read_without_a_frame_is_not_delivered() -> None:
    ear = Ear()
    told(Clock(), ear).hand_on([])
    assert ear.deliveries == []


def test_the_state_counts_frames_and_the_damaged_among_them() -> None:
    clock = Clock()
    receiver = told(clock, Ear())
    assert receiver.state().last_heard_ms is None
    clock.seconds = 2
    receiver.hand_on([(0, frame("one")), (0, damaged("cut", b"x"))])
    state = receiver.state()
    assert (state.counts.frames, state.counts.damaged, state.last_heard_ms) == (2, 1, 2000)


def test_a_state_does_not_change_afterwards() -> None:
    receiver = told(Clock(), Ear())
    before = receiver.state()
    receiver.hand_on([(0, frame("one"))])
    receiver.enter(Phase.LISTENING)
    assert before.counts == Counts()
    assert before.phase is Phase.STARTING


def test_since_when_it_does_not_listen_is_not_forgotten_while_it_tries_again() -> None:
    clock = Clock()
    receiver = told(clock, Ear())
    since = []
    for seconds, phase in enumerate(
        [Phase.CONNECTING, Phase.LISTENING, Phase.WAITING, Phase.CONNECTING, Phase.WAITING]
    ):
        clock.seconds = seconds
        receiver.enter(phase)
        since.append(receiver.state().since_ms)
    assert since == [0, 1000, 2000, 2000, 2000]
