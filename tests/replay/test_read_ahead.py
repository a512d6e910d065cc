"""Captures read by a process of their own: the same frames, beginnings and account of the reading."""

import gzip
import multiprocessing
import os
import signal
from pathlib import Path

import pytest

from gateway.frames.frame import Frame, damaged
from gateway.frames.plain import PlainObject
from gateway.journal.capture import began_with
from gateway.replay import read_ahead
from gateway.replay.captures import STANDARD_INPUT, Captures
from gateway.replay.read_ahead import ReadAhead, opened
from gateway.replay.record import Record
from tests.replay.recording import LiveGateway, replayed, verdicts, written

MOORED = b"QA1BCD-9>APRS,QD1AA*,WIDE2-1:!5836.00N/00355.00W>moored"
MIXED_FLAGS = b"QB2CDE>APRS,QD1AA*,QD2BB,QD3CC*:>\x00\xff caf\xe9"
RELAYED = b"QD2GAT>APZ001,QD1RPT*:}QB2BCD-7>APRS,QD1AA*:>on the water"
POLICY = "rates: [{name: one-station, per: source, allow: 1 per hour}]"


@pytest.fixture
def captures(tmp_path: Path) -> list[Path]:
    """Every kind of line, more of them than go at once, and a file that is not there."""
    live = LiveGateway(POLICY)
    for number in range(read_ahead.BATCH):
        for line in (MOORED, MIXED_FLAGS, RELAYED):
            live.hear(line + b" %d" % number)
            live.wait(1)
        if number % 100 == 0:
            live.restart()
    live.hear(damaged("a test damaged it", b"\x00\xff"), "hf", 3)
    connected = live.hear(MOORED).heard.frame
    assert isinstance(connected, Frame)
    live.hear(Frame(connected.header, b"", 0x2F, None))
    lines = live.lines()
    lines[1:1] = [b"1780747200 vhf " + MOORED, b"no frame", b"stile/QX1GAT-10/status online"]
    for run in range(2, 7):
        lines.insert(run * 250, began_with(f"run-{run}", b'{"budgets":[]}'))
    lines.append(lines[-1][:-1] + b',"place":{"latitude":58.1,"longitude":-3.0}}')
    compressed = tmp_path / "two"
    compressed.write_bytes(gzip.compress(b"\n".join(lines[1000:]))[:-9])
    return [written(tmp_path / "one", lines[:1000]), tmp_path / "three", compressed]


def with_beginnings(captures: Captures | ReadAhead) -> list[tuple[Record, bool]]:
    """The frames, each with whether it is known with what its run began: looked up before the next is read."""
    return [(record, captures.beginnings.of(record.heard.run) is not None) for record in captures]


def judged_by(captures: Captures | ReadAhead) -> tuple[list[tuple[str, int, str, str | None]], PlainObject]:
    """The verdicts of a policy, and what is told of the replay."""
    replay, frames = replayed(captures, POLICY, "", captures.beginnings)
    return list(verdicts(frames)), replay.to_object(top=100)


def test_what_is_read_ahead_is_what_would_be_read_here(captures: list[Path]) -> None:
    here, ahead = Captures(captures), ReadAhead(captures)
    assert with_beginnings(ahead) == with_beginnings(here)
    assert ahead.reading.to_object() == here.reading.to_object()
    assert ahead.reading.lines > 2 * read_ahead.BATCH
    assert ahead.reading.damaged
    assert ahead.reading.unreadable
    assert ahead.reading.without_end


def test_every_verdict_is_the_same(captures: list[Path]) -> None:
    assert judged_by(ReadAhead(captures)) == judged_by(Captures(captures))


def test_small_captures_and_standard_input_are_read_here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(read_ahead, "_cores", lambda: 2)
    small, large = tmp_path / "small", tmp_path / "large"
    small.write_bytes(b"\n" * 100)
    os.truncate(small, 100)
    large.touch()
    os.truncate(large, read_ahead.WORTH_OCTETS)
    assert isinstance(opened([small]), Captures)
    assert isinstance(opened([large, STANDARD_INPUT]), Captures)
    assert isinstance(opened([small, large]), ReadAhead)
    monkeypatch.setattr(read_ahead, "_cores", lambda: 1)
    assert isinstance(opened([small, large]), Captures)


def test_it_is_said_where_the_other_process_comes_to_grief(
    captures: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(read_ahead, "read_into", _die)
    ahead = ReadAhead(captures)
    assert list(ahead) == []
    assert ahead.reading.unreadable == ["the process that reads the captures ended before their end"]


def test_whoever_stops_early_leaves_no_process(captures: list[Path]) -> None:
    frames = iter(ReadAhead(captures))
    next(frames)
    frames.close()  # type: ignore[attr-defined] # it is a generator
    assert not multiprocessing.active_children()


def _die(*_: object) -> None:
    os.kill(os.getpid(), signal.SIGKILL)
