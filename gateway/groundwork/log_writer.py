"""Writes the lines of the log from a thread of its own, so that nothing that becomes of the log can stop the gateway.

The reader of a pipe goes away, a disk is full or hangs, somebody presses Ctrl-S: whoever logs neither waits nor hears
of it. Lines wait in a queue with a bound. What finds no room, or cannot be written, is counted, and the count is the
first line that gets through again.
"""

import os
import select
import threading
from collections import deque
from collections.abc import Callable, Sequence

from gateway.groundwork.part import Figure, Part, PartKind, State, counter, gauge

MAXIMUM_WAITING = 1 << 20
"""Octets that wait to be written: some 5,000 lines. Past it the oldest go, for the last words say what happened."""

LARGEST_WRITE = 4096
"""Octets of one write. A pipe takes as many whole or not at all (POSIX, PIPE_BUF), so no line is torn by another's."""


class LogWriter:
    """A file for `structlog.WriteLogger`: `write` returns at once, whatever becomes of the line."""

    def __init__(self, descriptor: int, now_ms: Callable[[], int], loss: Callable[[int], str]) -> None:
        """`now_ms`: Unix milliseconds. `loss`: the line, its end included, that says how many lines were lost."""
        self._descriptor = descriptor
        self._now_ms = now_ms
        self._loss = loss
        self._lines: deque[bytes] = deque()
        self._waiting_octets = 0
        self._changed = threading.Condition()
        self._thread: threading.Thread | None = None
        self._is_writing = False
        self._is_closing = False
        self._written = 0
        self._lost = 0
        self._lost_unsaid = 0
        self._state = State.WAITING
        self._why = ""
        self._since_ms = now_ms()

    def start(self) -> None:
        """Write from now on. Where the system gives no thread, lines wait, and the part says so."""
        thread = threading.Thread(target=self._run, name="log", daemon=True)
        try:
            thread.start()
        except RuntimeError:
            self._enter(State.DOWN, "the system gives no thread to write the log with")
        else:
            self._thread = thread

    def write(self, text: str) -> None:
        """Take a line, its end included. Any thread may call it."""
        line = text.encode("utf-8", "backslashreplace")
        with self._changed:
            self._lines.append(line)
            self._waiting_octets += len(line)
            while self._waiting_octets > MAXIMUM_WAITING:
                self._waiting_octets -= len(self._lines.popleft())
                self._lost += 1
                self._lost_unsaid += 1
            self._changed.notify_all()

    def flush(self) -> None:
        """Nothing: lines are written as soon as that can be."""

    def close(self, seconds: float) -> None:
        """Wait until every line is written, no longer than `seconds`; the thread ends when it can."""
        with self._changed:
            self._is_closing = True
            self._changed.notify_all()
            if self._thread is not None:
                self._changed.wait_for(lambda: not (self._lines or self._is_writing), seconds)

    def part(self) -> Part:
        """How the log is."""
        remedy = "see who reads the log, and whether its disk has room" if self._state is State.DOWN else ""
        return Part(PartKind.LOG, PartKind.LOG, self._state, self._since_ms, self._why, remedy)

    def figures(self) -> Sequence[Figure]:
        """How many lines were written, wait, and were lost."""
        return (
            counter("log_lines", self._written, "Lines of the log that were written."),
            counter("log_lines_lost", self._lost, "Lines of the log that could not be written."),
            gauge("log_lines_waiting", len(self._lines), "Lines of the log that wait to be written."),
        )

    def _run(self) -> None:
        while lines := self._take():
            unsaid = self._lost_unsaid
            if unsaid:
                lines.insert(0, self._loss(unsaid).encode())
            why = _try_to_write(self._descriptor, b"".join(lines))
            count = len(lines) - bool(unsaid)
            with self._changed:
                self._is_writing = False
                if why:
                    self._lost += count
                    self._lost_unsaid += count
                else:
                    self._written += count
                    self._lost_unsaid -= unsaid
                self._enter(State.DOWN if why else State.OK, why)
                self._changed.notify_all()

    def _take(self) -> list[bytes]:
        """The lines of the next write; none once no more are to come."""
        with self._changed:
            self._changed.wait_for(lambda: self._lines or self._is_closing)
            lines: list[bytes] = []
            octets = 0
            while self._lines and (not lines or octets + len(self._lines[0]) <= LARGEST_WRITE):
                lines.append(self._lines.popleft())
                octets += len(lines[-1])
            self._waiting_octets -= octets
            self._is_writing = bool(lines)
            return lines

    def _enter(self, state: State, why: str = "") -> None:
        if (state, why) != (self._state, self._why):
            self._state, self._why, self._since_ms = state, why, self._now_ms()


def _try_to_write(descriptor: int, octets: bytes) -> str:
    """Write all of it, however long that takes; gives back why it could not be, and nothing where it could."""
    try:
        while octets:
            try:
                octets = octets[os.write(descriptor, octets) :]
            except BlockingIOError:  # another program that shares the pipe made it so: wait here all the same
                select.select((), (descriptor,), ())
    except OSError as error:
        return f"the log cannot be written: {os.strerror(error.errno or 0)}"
    return ""
