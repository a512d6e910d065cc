"""The writer of the log, on real pipes and files: it never waits, never raises, and says what was lost."""

import os
import re
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gateway.groundwork import log_writer
from gateway.groundwork.log_writer import LogWriter
from gateway.groundwork.part import State

WAIT_SECONDS = 10


def loss(count: int) -> str:
    return f"lost {count}\n"


def lines_lost(writer: LogWriter) -> float:
    return next(figure.value for figure in writer.figures() if figure.name == "log_lines_lost")


@pytest.fixture
def pipe() -> Iterator[tuple[int, int]]:
    reading, writing = os.pipe()
    yield reading, writing
    for descriptor in (reading, writing):
        try:
            os.close(descriptor)
        except OSError:  # the test closed it
            continue


def read_until(reading: int, end: bytes) -> bytes:
    text = b""
    while not text.endswith(end):
        piece = os.read(reading, 65536)
        assert piece, text
        text += piece
    return text


def test_lines_are_written_in_their_order_and_the_end_waits_for_the_last(tmp_path: Path) -> None:
    descriptor = os.open(tmp_path / "log", os.O_WRONLY | os.O_CREAT, 0o600)
    writer = LogWriter(descriptor, lambda: 0, loss)
    writer.start()
    for number in range(1000):
        writer.write(f"{number}\n")
    writer.close(WAIT_SECONDS)
    os.close(descriptor)
    assert (tmp_path / "log").read_text() == "".join(f"{number}\n" for number in range(1000))
    assert writer.part().state is State.OK


def test_a_pipe_that_nobody_empties_keeps_nobody_waiting_and_the_last_words_arrive(
    pipe: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(log_writer, "MAXIMUM_WAITING", 10_000)
    reading, writing = pipe
    writer = LogWriter(writing, lambda: 0, loss)
    writer.start()
    for number in range(30_000):  # a pipe of Linux holds 64 KiB
        writer.write(f"line {number}\n")
    assert lines_lost(writer) > 0
    writer.close(0.01)
    text = read_until(reading, b"line 29999\n").decode()
    assert lines_lost(writer) == sum(map(int, re.findall(r"lost (\d+)", text)))
    assert lines_lost(writer) + text.count("line ") == 30_000


def test_a_reader_that_went_away_is_told_in_health_and_what_was_lost_is_the_first_line_of_the_next(
    tmp_path: Path,
) -> None:
    path = tmp_path / "fifo"
    os.mkfifo(path)
    reading = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    writing = os.open(path, os.O_WRONLY)
    os.close(reading)
    writer = LogWriter(writing, lambda: 7, loss)
    writer.start()
    writer.write("first\n")
    writer.write("second\n")
    wait_until(lambda: lines_lost(writer) == 2)
    part = writer.part()
    assert (part.state, part.why) == (State.DOWN, "the log cannot be written: Broken pipe")
    assert part.do
    reading = os.open(path, os.O_RDONLY)
    writer.write("third\n")
    assert read_until(reading, b"third\n") == b"lost 2\nthird\n"
    writer.close(WAIT_SECONDS)
    assert (writer.part().state, lines_lost(writer)) == (State.OK, 2)
    os.close(reading)
    os.close(writing)


def test_a_full_disk_is_no_error_of_whoever_logs() -> None:
    with Path("/dev/full").open("wb") as full:
        writer = LogWriter(full.fileno(), lambda: 0, loss)
        writer.start()
        writer.write("one\n")
        writer.close(WAIT_SECONDS)
    assert (writer.part().why, lines_lost(writer)) == ("the log cannot be written: No space left on device", 1)


def test_a_pipe_that_another_program_made_not_wait_is_waited_for_by_the_thread_alone(pipe: tuple[int, int]) -> None:
    reading, writing = pipe
    os.set_blocking(writing, False)
    writer = LogWriter(writing, lambda: 0, loss)
    writer.start()
    for number in range(20_000):
        writer.write(f"line {number}\n")
    text = read_until(reading, b"line 19999\n")
    assert (text.count(b"\n"), lines_lost(writer)) == (20_000, 0)


def test_where_there_is_no_thread_to_be_had_that_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    def no_thread(_: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    monkeypatch.setattr(threading.Thread, "start", no_thread)
    writer = LogWriter(2, lambda: 0, loss)
    writer.start()
    writer.write("nowhere\n")
    writer.close(WAIT_SECONDS)
    assert writer.part().state is State.DOWN


def wait_until(holds: Callable[[], bool]) -> None:
    turns = threading.Event()
    for _ in range(1000):
        if holds():
            return
        turns.wait(0.01)
    pytest.fail("it never came to hold")
