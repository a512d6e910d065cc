"""The order and the clocks of a run."""

from gateway.frames.frame import Frame
from gateway.frames.header import Header
from gateway.frames.heard import Moment, Run

FRAME = Frame(Header("QA1BCD", "APRS"), b"x")


def test_frames_are_numbered_from_one_over_all_receivers_without_a_gap() -> None:
    run = Run()
    heard = [run.hear(run.now(), receiver, 0, FRAME) for receiver in ("vhf", "hf", "vhf")]
    assert [each.sequence for each in heard] == [1, 2, 3]
    assert run.heard == 3


def test_elapsed_time_counts_from_the_start_of_the_run_and_wall_time_does_not() -> None:
    monotonic = iter([1000.0, 1002.5])
    run = Run("first", monotonic=lambda: next(monotonic), wall=lambda: 1_780_747_200.25)
    assert run.now() == Moment(elapsed_ms=2500, time_ms=1_780_747_200_250)


def test_every_start_has_an_identity_of_its_own() -> None:
    assert len({Run().identity for _ in range(100)}) == 100


def test_a_frame_carries_its_run_receiver_and_port() -> None:
    run = Run("first")
    heard = run.hear(Moment(1, 2), "hf", 12, FRAME)
    assert (heard.run, heard.receiver, heard.port, heard.moment) == ("first", "hf", 12, Moment(1, 2))
