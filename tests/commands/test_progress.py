"""The bar on a terminal, on a clock that the test moves."""

import io

import pytest

from gateway.commands.progress import ITEMS_BETWEEN, shown


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


class Clock:
    """Moves on by a second whenever it is asked."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def __call__(self) -> float:
        self.seconds += 1
        return self.seconds


def test_where_there_is_no_terminal_it_is_silent() -> None:
    out = io.StringIO()
    assert list(shown(range(5000), out, lambda: 0.5, "replaying")) == list(range(5000))
    assert out.getvalue() == ""


def test_on_a_terminal_it_says_how_far_the_work_is_and_clears_its_line() -> None:
    terminal = Terminal()
    done = 0.0

    def part_done() -> float:
        return done

    for number in shown(range(4 * ITEMS_BETWEEN), terminal, part_done, "replaying", clock=Clock()):
        done = number / (4 * ITEMS_BETWEEN)
    bars = terminal.getvalue().split("\r\x1b[K")
    assert bars[0] == bars[-1] == ""
    assert bars[1] == "replaying [#######.......................]  25%  1,024 frames"
    assert len(bars) == 2 + 4


def test_of_what_nobody_knows_the_length_it_says_how_much_was_done() -> None:
    terminal = Terminal()
    list(shown(range(ITEMS_BETWEEN), terminal, lambda: None, "replaying", clock=Clock()))
    assert "replaying: 1,024 frames" in terminal.getvalue()


def test_it_is_not_drawn_more_often_than_anyone_can_see() -> None:
    terminal = Terminal()
    list(shown(range(100 * ITEMS_BETWEEN), terminal, lambda: 1.0, "replaying", clock=lambda: 0.0))
    assert terminal.getvalue().count("replaying") == 1


def test_the_line_is_cleared_when_the_work_fails() -> None:
    terminal = Terminal()
    with pytest.raises(ZeroDivisionError):
        list(shown((1 // number for number in (1, 0)), terminal, lambda: None, "replaying"))
    assert terminal.getvalue().endswith("\r\x1b[K")
