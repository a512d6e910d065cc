"""Captures in every form, told apart by what they hold, and every kind of damage in them."""

import gzip
import io
import json
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gateway.feed.heard_object import encode, heard_object
from gateway.frames.frame import damaged
from gateway.frames.heard import Heard
from gateway.journal.batch import Batch, Row
from gateway.journal.runs import RunRecord
from gateway.journal.store import Store
from gateway.judge.verdict import Decision, Verdict
from gateway.replay.captures import STANDARD_INPUT, Captures
from gateway.replay.record import MAXIMUM_NAMED
from tests.options import journal_options
from tests.replay.recording import LiveGateway, read_back, written

if sys.version_info >= (3, 14):
    from compression import zstd
else:
    from backports import zstd

MOORED = b"QA1BCD-9>APRS,QD1AA*,WIDE2-1:!5836.00N/00355.00W>moored"
AWKWARD = b'QB2CDE>APRS:>\x00\xff caf\xe9 {"}  '
RELAYED = b"QD2GAT>APZ001,QD1RPT*:}QB2BCD-7>APRS,QD1AA*:>on the water"
TCPIP = b"QA1BCD-9>APRS,TCPIP*:>from the internet"


@pytest.fixture
def live() -> LiveGateway:
    gateway = LiveGateway()
    for line in (MOORED, AWKWARD, RELAYED, TCPIP, MOORED):
        gateway.hear(line)
        gateway.wait(1)
    gateway.hear(damaged("a test damaged it", b"\x00\xff"), "hf", 3)
    return gateway


def heard_of(live: LiveGateway) -> list[Heard]:
    return [judged.heard for judged in live.judged]


@pytest.mark.parametrize("compressed", [bytes, gzip.compress, zstd.compress], ids=["plain", "gzip", "zstd"])
def test_heard_objects_are_read_with_their_verdicts(
    tmp_path: Path, live: LiveGateway, compressed: Callable[[bytes], bytes]
) -> None:
    capture = tmp_path / "no name tells"
    capture.write_bytes(compressed(b"\n".join(live.lines())))
    found, captures = read_back(capture)
    assert [record.heard for record in found] == heard_of(live)
    assert [record.recorded for record in found] == [judged.verdict for judged in live.judged]
    assert captures.reading.lines == 6
    assert captures.reading.damaged == 0


def test_a_bus_recording_may_have_the_topic_before_each_object(tmp_path: Path, live: LiveGateway) -> None:
    mine = [b"stile/QX1GAT-10/heard " + line for line in live.lines()]
    others = [
        b"stile/QX1GAT-10/status online",
        b'stile/QX1GAT-10/health {"state":"ok"}',
        b"stile/QX1GAT-10/lines " + MOORED,
        b"stile/QX1GAT-10/stations/heard " + live.lines()[0],
        b"stile/QX1GAT-10/stations/QA1BCD-9 ",
    ]
    found, captures = read_back(written(tmp_path / "recording", [*others, *mine]))
    assert [record.heard for record in found] == heard_of(live)
    assert captures.reading.other_topics == len(others)
    assert captures.reading.damaged == 0


def test_time_stamped_lines_are_read_as_frames(tmp_path: Path) -> None:
    lines = [b"2026-06-06T12:00:00Z vhf " + MOORED, b"1780747201.5 " + AWKWARD, b"1780747202 no frame"]
    found, captures = read_back(written(tmp_path / "lines", lines))
    assert [(each.heard.receiver, each.heard.moment.elapsed_ms, each.recorded) for each in found] == [
        ("vhf", 0, None),
        ("capture", 1500, None),
        ("capture", 2000, None),
    ]
    assert captures.reading.damaged == 0


def test_the_journal_is_read_in_the_order_of_its_runs(tmp_path: Path) -> None:
    path = tmp_path / "stile.db"
    live = LiveGateway()
    for _ in range(2):
        for line in (MOORED, AWKWARD, MOORED):
            live.hear(line)
        live.restart()
    for run in ("run-1", "run-2"):
        store = Store(journal_options(path), RunRecord(run, 0, "QX1GAT-10", "test@000000"))
        mine = [judged for judged in live.judged if judged.heard.run == run]
        rows = [
            Row(judged.heard.sequence, judged.heard.moment.time_ms, None, None, encode(heard_object(judged)))
            for judged in mine
        ]
        store.write(Batch(rows=rows, settles=True))
        store.close()
    found, captures = read_back(path)
    assert [record.heard for record in found] == heard_of(live)
    assert [record.recorded for record in found] == [judged.verdict for judged in live.judged]
    assert captures.reading.unreadable == []

    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE heard SET object = '{}' WHERE id = (SELECT min(id) FROM heard)")
    connection.close()
    found, captures = read_back(path)
    assert [record.heard for record in found] == heard_of(live)[1:]
    assert str(captures.reading.damaged_lines[0]) == f"{path}:1: run: text belongs here"


def test_a_database_that_is_no_journal_is_refused_and_the_next_capture_is_read(
    tmp_path: Path, live: LiveGateway
) -> None:
    other = tmp_path / "other.db"
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE something (else_ INTEGER)")
    connection.close()
    found, captures = read_back(other, written(tmp_path / "capture", live.lines()))
    assert len(found) == 6
    assert len(captures.reading.unreadable) == 1
    assert str(other) in captures.reading.unreadable[0]


def test_captures_are_read_one_after_the_other_and_lines_of_all_kinds_may_be_mixed(
    tmp_path: Path, live: LiveGateway
) -> None:
    first, *others = live.lines()
    one = written(tmp_path / "one", [first, b"1780747200 " + MOORED, b""])
    two = tmp_path / "two"
    two.write_bytes(gzip.compress(b"\r\n".join([*others, b"1780747260 " + AWKWARD])))
    found, captures = read_back(one, two)
    runs = [record.heard.run for record in found]
    assert runs == ["run-1", "timed-lines", *["run-1"] * 5, "timed-lines"]
    assert found[-1].heard.moment.elapsed_ms == 60_000
    assert captures.reading.damaged == 0


def test_standard_input_is_read_to_its_end(live: LiveGateway) -> None:
    program = (
        "from pathlib import Path\n"
        "from gateway.replay.captures import Captures\n"
        "captures = Captures([Path('-')])\n"
        "print(sum(1 for _ in captures), captures.part_read())\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program],
        input=gzip.compress(b"\n".join(live.lines())),
        capture_output=True,
        check=True,
        cwd=Path(__file__).parents[2],
    )
    assert ran.stdout == b"6 None\n"


NO_OBJECTS = [
    (b"QA1BCD-9>APRS:>no time", "neither a heard object nor a line with its time before it"),
    (b"{", "no JSON"),
    (b"{}", "run: text belongs here"),
    (b"stile/heard [1]", "JSON, but no object"),
    (b"stile/heard {", "no JSON"),
    (b"2026-13-06T12:00:00Z " + MOORED, "its time is on no calendar or clock"),
    (b"x" * 70_000, "the line is longer than 65536 octets"),
    (b"\xff\xfe\x00", "neither a heard object nor a line with its time before it"),
    (b'{"run":"r","sequence":1,"elapsed_ms":0,"time":"<script>"}', "no heard object: a field says what it cannot"),
    (b'{"run":"r","sequence":-1,"elapsed_ms":0,"time":"2026-06-06T12:00:00Z"}', "sequence: a whole number"),
    (b"[" * 60_000, "neither a heard object nor a line with its time before it"),
    (b"{" * 60_000, "no JSON"),
]


@pytest.mark.parametrize(("line", "because"), NO_OBJECTS)
def test_a_damaged_line_is_counted_and_named_and_the_next_is_read(
    tmp_path: Path, live: LiveGateway, line: bytes, because: str
) -> None:
    first, *others = live.lines()
    capture = written(tmp_path / "capture", [first, b"", line, *others])
    found, captures = read_back(capture)
    reading = captures.reading
    assert [record.heard for record in found] == heard_of(live)
    assert reading.damaged == 1
    assert (reading.damaged_lines[0].capture, reading.damaged_lines[0].line) == (str(capture), 3)
    assert reading.damaged_lines[0].because.startswith(because)
    assert str(reading.damaged_lines[0]).startswith(f"{capture}:3: ")
    assert "<script>" not in json.dumps(reading.to_object())


def test_no_more_than_some_damaged_lines_are_named_and_all_are_counted(tmp_path: Path) -> None:
    _, captures = read_back(written(tmp_path / "capture", [b"nothing"] * 1000))
    assert captures.reading.damaged == captures.reading.lines == 1000
    assert len(captures.reading.damaged_lines) == MAXIMUM_NAMED
    assert captures.reading.damaged_because.total() == 1000


def test_a_capture_that_is_still_being_written_is_read_as_far_as_it_goes(tmp_path: Path, live: LiveGateway) -> None:
    whole = gzip.compress(b"\n".join(live.lines() * 200))
    capture = tmp_path / "cut.gz"
    capture.write_bytes(whole[: len(whole) // 2])
    found, captures = read_back(capture)
    assert found
    assert captures.reading.without_end == [str(capture)]
    assert captures.reading.unreadable == []


def test_damaged_compression_is_said_and_the_next_capture_is_read(tmp_path: Path, live: LiveGateway) -> None:
    whole = bytearray(gzip.compress(b"\n".join(live.lines() * 200)))
    whole[len(whole) // 2] ^= 0xFF
    broken = tmp_path / "broken.gz"
    broken.write_bytes(whole)
    found, captures = read_back(broken, written(tmp_path / "capture", live.lines()))
    assert [record.heard for record in found][-6:] == heard_of(live)
    assert len(captures.reading.unreadable) + len(captures.reading.without_end) == 1


def test_what_is_not_there_or_no_file_is_said(tmp_path: Path, live: LiveGateway) -> None:
    found, captures = read_back(tmp_path / "absent", tmp_path, written(tmp_path / "capture", live.lines()))
    assert len(found) == 6
    absent, folder = captures.reading.unreadable
    assert absent == f"{tmp_path / 'absent'}: No such file or directory"
    assert folder == f"{tmp_path}: it is a folder; name the files in it"


def test_a_verdict_in_words_of_a_later_version_is_left_out(tmp_path: Path, live: LiveGateway) -> None:
    plain = json.loads(live.lines()[0])
    wordings: list[dict[str, object]] = [
        {"verdict": "perhaps"},
        {"verdict": "keep", "reason": "some-new-reason"},
        {"verdict": ["keep"]},
        {"policy": 3},
        {"rule": {}},
    ]
    lines = [json.dumps({**plain, **wording}).encode() for wording in wordings]
    found, captures = read_back(written(tmp_path / "capture", [*lines, json.dumps(plain).encode()]))
    assert [record.recorded for record in found[:-1]] == [None] * len(wordings)
    assert found[-1].recorded == Verdict(Decision.FORWARD, plain["policy"])
    assert captures.reading.damaged == 0


def test_how_much_was_read_goes_from_nothing_to_all(tmp_path: Path, live: LiveGateway) -> None:
    paths = [written(tmp_path / name, live.lines() * 300) for name in ("one", "two")]
    captures = Captures(paths)
    parts = [captures.part_read(), *(captures.part_read() for _ in captures)]
    told = [part for part in parts if part is not None]
    assert len(told) == len(parts)
    assert told == sorted(told)
    assert (told[0], told[-1], captures.part_read()) == (0.0, 1.0, 1.0)


def test_of_standard_input_nobody_knows_how_much_was_read() -> None:
    assert Captures([STANDARD_INPUT]).part_read() is None


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(st.lists(st.binary(max_size=120), max_size=20))
def test_any_bytes_at_all_are_read_or_counted(tmp_path: Path, pieces: list[bytes]) -> None:
    capture = tmp_path / "any"
    capture.write_bytes(b"\n".join(pieces) + b'\n{"run":1}\n1780747200 ' + MOORED)
    captures = Captures([capture])
    found = list(captures)
    reading = captures.reading
    assert found or reading.unreadable or reading.without_end
    assert len(found) + reading.damaged + reading.other_topics == reading.lines


def test_a_small_memory_reads_a_large_capture(tmp_path: Path) -> None:
    """A line that expands a thousandfold takes no more than its bound."""
    capture = tmp_path / "bomb.gz"
    buffer = io.BytesIO()
    with gzip.GzipFile(fileobj=buffer, mode="wb") as file:
        for _ in range(64):
            file.write(b"{" * 1_000_000)
    capture.write_bytes(buffer.getvalue())
    found, captures = read_back(capture)
    assert found == []
    assert captures.reading.damaged == 1
