"""Captures read by a process of their own, ahead of the judge: one core reads while another judges.

The process hands over, batch by batch, what `Captures` gives: the same frames and beginnings in the same order, so that
every verdict is the same. It stops when the pipe between them is full; so memory is bounded.
"""

import multiprocessing
import os
import signal
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from multiprocessing.connection import Connection
from pathlib import Path
from typing import NamedTuple

from gateway.frames.frame import Damaged, Frame
from gateway.frames.header import header_of
from gateway.frames.heard import Heard, Moment, Place
from gateway.frames.plain import PlainObject
from gateway.judge.verdict import Verdict
from gateway.replay.beginnings import Beginnings
from gateway.replay.captures import STANDARD_INPUT, Captures, size_of
from gateway.replay.record import Reading, Record

BATCH = 512
"""How many frames and beginnings are handed over at once."""

WORTH_OCTETS = 8 * 1024 * 1024
"""Captures smaller than this are read before another process has loaded what it needs: some 20,000 frames."""

_LEAVE_SECONDS = 5.0

PlainRecord = tuple[str, int, int, int, str, int, str | Damaged, bytes, int, int | None, Place | None, Verdict | None]
"""A record as few plain values, a header as its text: objects of classes cost more to hand over than to read."""

_Item = PlainRecord | PlainObject
"""A frame, or a line that says with what a run began."""


class _HandedOver(NamedTuple):
    items: list[_Item]
    part_read: float | None
    reading: Reading | None
    """With the last one: how the reading went."""


class ReadAhead:
    """The frames of some captures, one capture after the other: as `Captures`, but read by another process."""

    def __init__(self, paths: Sequence[Path]) -> None:
        self.reading = Reading()
        """Filled when all was gone through."""

        self.beginnings = Beginnings()
        """With what the runs began whose frames are being read."""

        self._paths = paths
        self._part_read: float | None = None

    def part_read(self) -> float | None:
        """How much has been read, from 0 to 1; None where that cannot be told."""
        return self._part_read

    def __iter__(self) -> Iterator[Record]:
        context = multiprocessing.get_context("spawn")
        receiving, sending = context.Pipe(duplex=False)
        reader = context.Process(target=read_into, args=(self._paths, sending), name="reader", daemon=True)
        reader.start()
        sending.close()
        try:
            for batch in _batches(receiving):
                self._part_read = batch.part_read
                for item in batch.items:
                    if item.__class__ is dict:
                        self.beginnings.take(item)
                    else:
                        yield _record(item)  # type: ignore[arg-type] # it is no dict
                self.reading = batch.reading or self.reading
        except EOFError:
            self.reading.unreadable.append("the process that reads the captures ended before their end")
        finally:
            receiving.close()
            reader.join(_LEAVE_SECONDS)
            if reader.is_alive():
                reader.kill()
                reader.join()


def opened(paths: Sequence[Path]) -> Captures | ReadAhead:
    """The captures, read by a process of their own where that pays and another core is there for it."""
    sizes = [None if path == STANDARD_INPUT else size_of(path) for path in paths]
    is_worth_it = None not in sizes and sum(size or 0 for size in sizes) >= WORTH_OCTETS
    return ReadAhead(paths) if is_worth_it and _cores() > 1 else Captures(paths)


def read_into(paths: Sequence[Path], sending: Connection) -> None:
    """Read the captures and hand over what they hold: the other process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever began it ends it, by closing the pipe
    items: list[_Item] = []
    captures = Captures(paths, on_beginning=items.append)
    with suppress(BrokenPipeError), sending:
        for record in captures:
            items.append(_plain(record))
            if len(items) >= BATCH:
                sending.send(_HandedOver(items, captures.part_read(), None))
                items.clear()
        sending.send(_HandedOver(items, captures.part_read(), captures.reading))


def _batches(receiving: Connection) -> Iterable[_HandedOver]:
    """Raises `EOFError` where the other process ends before it has said how it went."""
    while True:
        batch: _HandedOver = receiving.recv()
        yield batch
        if batch.reading is not None:
            return


def _plain(record: Record) -> PlainRecord:
    heard = record.heard
    moment, frame = heard.moment, heard.frame
    place_in_run = (heard.run, heard.sequence, moment.elapsed_ms, moment.time_ms, heard.receiver, heard.port)
    if isinstance(frame, Damaged):
        return *place_in_run, frame, b"", 0, None, heard.place, record.recorded
    frame_values = (frame.header.text, frame.information, frame.control, frame.pid)
    return *place_in_run, *frame_values, heard.place, record.recorded


def _record(plain: PlainRecord) -> Record:
    run, sequence, elapsed_ms, time_ms, receiver, port, header, information, control, pid, place, recorded = plain
    frame = header if isinstance(header, Damaged) else Frame(header_of(header), information, control, pid)
    return Record(Heard(run, sequence, Moment(elapsed_ms, time_ms), receiver, port, frame, place), recorded)


def _cores() -> int:
    with suppress(AttributeError):  # where the system does not say which cores a process may use
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
