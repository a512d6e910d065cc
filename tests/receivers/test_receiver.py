"""What every receiver says of itself, and how it hands on."""

from collections.abc import Iterable

from gateway.frames.frame import Damaged, Frame, damaged
from gateway.groundwork.part import State
from gateway.receivers.address import parse
from gateway.receivers.receiver import Receiver, ReceiverPhase
from tests.answers import figure, figure_names
from tests.receivers.listening import Clock, Ear, frame

NOON_MS = 1_780_747_200_000
"""What the wall clock of `Clock` shows at its start."""


class Told(Receiver):
    """A receiver that hears what a test says to it."""

    async def listen(self) -> None:
        """Hear nothing."""

    def enter(self, phase: ReceiverPhase) -> None:
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


def test_its_figures_count_frames_and_the_damaged_among_them_from_the_start() -> None:
    clock = Clock()
    receiver = told(clock, Ear())
    assert {each.value for each in receiver.figures()} == {0}
    assert "last_frame_age_seconds" not in figure_names(receiver)
    clock.seconds = 2
    receiver.hand_on([(0, frame("one")), (0, damaged("cut", b"x"))])
    clock.seconds = 5
    assert (figure(receiver, "frames"), figure(receiver, "damaged")) == (2, 1)
    assert figure(receiver, "last_frame_age_seconds") == 3


def test_a_receiver_that_never_gave_a_frame_waits_and_the_first_good_one_makes_it_ok() -> None:
    clock = Clock()
    receiver = told(clock, Ear())
    assert receiver.part().state is State.WAITING
    receiver.enter(ReceiverPhase.CONNECTING)
    assert receiver.part().state is State.WAITING
    receiver.enter(ReceiverPhase.LISTENING)
    clock.seconds = 120
    assert (receiver.part().state, receiver.part().why) == (State.WAITING, "nothing came in 2 min")
    receiver.counts.octets += 812
    receiver.hand_on([(0, damaged("cut", b"x"))])
    part = receiver.part()
    assert (part.state, part.why) == (State.WAITING, "812 octets came in 2 min and no good frame; 1 were damaged")
    assert part.do == "does the decoder serve kiss+tcp://127.0.0.1:7581?"
    receiver.hand_on([(0, frame("one"))])
    part = receiver.part()
    assert (part.state, part.why, part.do) == (State.OK, "", "")
    assert part.since_ms == NOON_MS + 120_000


def test_a_connection_that_is_lost_is_down_and_ok_again_once_it_is_back() -> None:
    receiver = told(Clock(), Ear())
    receiver.enter(ReceiverPhase.LISTENING)
    receiver.hand_on([(0, frame("one"))])
    receiver.enter(ReceiverPhase.WAITING)
    receiver.reason = "the other end closed the connection"
    assert receiver.part().state is State.DOWN
    receiver.enter(ReceiverPhase.LISTENING)
    assert receiver.part().state is State.OK


def test_asking_changes_nothing() -> None:
    receiver = told(Clock(), Ear())
    receiver.enter(ReceiverPhase.LISTENING)
    assert [receiver.part(), *receiver.figures()] == [receiver.part(), *receiver.figures()]


def test_since_when_it_does_not_listen_is_not_forgotten_while_it_tries_again() -> None:
    clock = Clock()
    receiver = told(clock, Ear())
    since = []
    for seconds, phase in enumerate(
        map(ReceiverPhase, ["connecting", "listening", "waiting", "connecting", "waiting"])
    ):
        clock.seconds = seconds
        receiver.enter(phase)
        since.append(receiver.part().since_ms - NOON_MS)
    assert since == [0, 1000, 2000, 2000, 2000]
