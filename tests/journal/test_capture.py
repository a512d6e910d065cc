"""Captures: readable up to any cut, bounded in every direction, kind to what else lies in the folder."""

import contextlib
import errno
import gzip
import io
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gateway.feed.heard_object import HeardPayload
from gateway.frames.capture import BadLine, CaptureLine, read_heard
from gateway.frames.heard import Moment
from gateway.groundwork.duration import DAY_MS
from gateway.groundwork.expanding import CompressionError
from gateway.journal.capture import CaptureKeeper, CaptureWriter
from gateway.journal.options import MEGABYTE, CaptureOptions, DiskPace
from gateway.journal.reading import read_lines
from gateway.journal.trouble import JournalError
from tests.journal.keeping import RUN, Clock, batch_of, frames, full_disk, running, until_written
from tests.judged_frames import NOON_MS, Post

LINES = st.lists(st.lists(st.binary(min_size=1, max_size=40).filter(lambda line: b"\n" not in line), min_size=1))


class Fixture:
    def __init__(self, folder: Path, *, file_octets: int = 16 * MEGABYTE, octets: int = 1000 * MEGABYTE) -> None:
        self.now_ms = NOON_MS
        self.folder = folder
        options = CaptureOptions(folder, file_octets=file_octets, octets=octets)
        self.writer = CaptureWriter(options, RUN, lambda: self.now_ms)

    def files(self) -> list[Path]:
        return files_in(self.folder)


def files_in(folder: Path) -> list[Path]:
    return sorted(folder.iterdir())


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "captures"


def read(octets: bytes) -> list[bytes]:
    """The lines in a capture, as far as it goes."""
    lines: list[bytes] = []
    with contextlib.suppress(CompressionError):
        for line in read_lines(io.BytesIO(octets)):
            assert isinstance(line, CaptureLine)
            lines.append(line.octets)
    return lines


async def test_what_is_heard_is_captured_as_it_is_published(folder: Path) -> None:
    captures = CaptureKeeper(CaptureOptions(folder, pace=DiskPace(gather=0)), Clock().run())
    judged = frames(20)
    async with running(captures):
        for each in judged:
            captures.offer([HeardPayload(each)])
    [path] = files_in(folder)
    assert path.name == f"heard-20260606T120000Z-{RUN}-000001.jsonl.gz"
    assert [read_heard(line) for line in gzip.decompress(path.read_bytes()).splitlines()] == [
        each.heard for each in judged
    ]


def test_no_file_is_made_before_something_is_heard(folder: Path) -> None:
    fixture = Fixture(folder)
    fixture.writer.write(batch_of())
    fixture.writer.tidy(Moment(0, NOON_MS))
    fixture.writer.close()
    assert list(folder.iterdir()) == []


def test_cut_off_anywhere_a_capture_holds_every_line_that_was_written_before(folder: Path) -> None:
    fixture = Fixture(folder)
    lengths = [0]
    for number in range(30):
        fixture.writer.append([b"line %d a" % number, b"line %d b" % number])
        lengths.append(fixture.files()[0].stat().st_size)
    fixture.writer.close()
    octets = fixture.files()[0].read_bytes()
    lines = read(octets)
    assert len(lines) == 60
    for length in range(4, len(octets)):
        whole = sum(each <= length for each in lengths) - 1
        got = read(octets[:length])
        assert got == lines[: len(got)]
        assert len(got) >= 2 * whole


@given(LINES, st.data())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_lines_come_back_and_any_damage_is_passed_over(
    tmp_path: Path, parts: list[list[bytes]], data: st.DataObject
) -> None:
    for path in tmp_path.iterdir():
        path.unlink()
    fixture = Fixture(tmp_path)
    for part in parts:
        fixture.writer.append(part)
    fixture.writer.close()
    octets = b"".join(path.read_bytes() for path in fixture.files())
    lines = [line for part in parts for line in part]
    assert gzip.decompress(octets).splitlines() == b"\n".join(lines).splitlines()
    spoiled = bytearray(octets)
    for place in data.draw(st.lists(st.integers(0, max(len(octets) - 1, 0)), max_size=3)):
        spoiled[place : place + 1] = data.draw(st.binary(max_size=2))
    with contextlib.suppress(CompressionError):
        assert all(isinstance(line, CaptureLine | BadLine) for line in read_lines(io.BytesIO(bytes(spoiled))))


def test_a_file_that_is_large_enough_is_ended_and_another_one_begun(folder: Path) -> None:
    fixture = Fixture(folder, file_octets=2000)
    for number in range(200):
        fixture.writer.append([os.urandom(40).hex().encode() + b" %d" % number])
    fixture.writer.close()
    files = fixture.files()
    assert len(files) > 3
    assert all(2000 <= path.stat().st_size < 2200 for path in files[:-1])
    together = b"".join(gzip.decompress(path.read_bytes()) for path in files)
    assert [int(line.split()[1]) for line in together.splitlines()] == list(range(200))


@pytest.mark.parametrize("later_ms", [DAY_MS, -DAY_MS], ids=["a day later", "the clock set back by a day"])
def test_a_file_that_is_old_enough_is_ended(folder: Path, later_ms: int) -> None:
    fixture = Fixture(folder)
    fixture.writer.append([b"one"])
    assert fixture.writer.tidy(Moment(0, NOON_MS + DAY_MS - 1)) is False
    fixture.writer.append([b"two"])
    fixture.now_ms += later_ms
    fixture.writer.tidy(Moment(0, fixture.now_ms))
    assert [gzip.decompress(path.read_bytes()) for path in fixture.files()] == [b"one\ntwo\n"]
    fixture.writer.append([b"three"])
    fixture.writer.close()
    contents = {gzip.decompress(path.read_bytes()) for path in fixture.files()}
    assert contents == {b"one\ntwo\n", b"three\n"}


def test_all_files_together_are_bounded_and_the_oldest_go_first(folder: Path) -> None:
    fixture = Fixture(folder, file_octets=2000, octets=10_000)
    for number in range(1000):
        fixture.now_ms += 1000
        fixture.writer.append([os.urandom(40).hex().encode() + b" %d" % number])
        assert sum(path.stat().st_size for path in fixture.files()) < 10_500
    fixture.writer.close()
    together = b"".join(gzip.decompress(path.read_bytes()) for path in fixture.files())
    numbers = [int(line.split()[1]) for line in together.splitlines()]
    assert numbers == list(range(numbers[0], 1000))
    assert len(numbers) > 60


def test_captures_of_earlier_runs_count_and_other_files_are_left_alone(folder: Path) -> None:
    folder.mkdir()
    earlier = folder / "heard-20260101T000000Z-0123456789ab-000001.jsonl.gz"
    others = [folder / name for name in ("heard.jsonl.gz", "photo.jpg", "heard-20260101T000000Z-x-1.jsonl.gz.bak")]
    for path in (earlier, *others):
        path.write_bytes(b"x" * 9000)
    fixture = Fixture(folder, file_octets=2000, octets=10_000)
    fixture.writer.append([b"one"])
    fixture.writer.close()
    assert not earlier.exists()
    assert all(path.exists() for path in others)


def test_a_new_start_never_writes_to_a_file_that_is_there(folder: Path) -> None:
    for _ in range(2):
        fixture = Fixture(folder)
        with contextlib.suppress(JournalError):  # the very same run in the very same second
            fixture.writer.append([b"one"])
        fixture.writer.close()
    assert [gzip.decompress(path.read_bytes()) for path in fixture.files()] == [b"one\n"]


def test_a_full_disk_leaves_whole_lines_and_the_batch_is_written_once_there_is_room(folder: Path) -> None:
    fixture = Fixture(folder)
    first = [os.urandom(40).hex().encode() for _ in range(100)]
    second = [os.urandom(40).hex().encode() for _ in range(1000)]
    fixture.writer.append(first)
    with full_disk(20_000):
        for _ in range(3):
            with pytest.raises(JournalError, match="there is no room left") as error:
                fixture.writer.append(second)
            assert error.value.trouble.do == f"make room on the disk of {folder}"
    assert [read(path.read_bytes()) for path in fixture.files()] == [first]
    fixture.writer.append(second)
    fixture.writer.close()
    lines = [line for path in fixture.files() for line in read(path.read_bytes())]
    assert sorted(lines) == sorted(first + second)


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "captures").write_bytes(b"a file")
    with pytest.raises(JournalError) as error:
        Fixture(tmp_path / "captures").writer.append([b"one"])
    assert str(error.value).startswith(f"{tmp_path / 'captures'} cannot be used: {os.strerror(errno.EEXIST)}")


async def test_the_first_capture_of_a_run_begins_with_what_the_judge_remembered(folder: Path) -> None:
    run = Clock().run()
    captures = CaptureKeeper(CaptureOptions(folder, file_octets=1, octets=10**9, pace=DiskPace(gather=0)), run)
    captures.offer_beginning([{"budgets": {"plan": 1}}, {"duplicates": []}])
    post = Post(RUN)
    async with running(captures):
        for count in (1, 2):
            captures.offer([HeardPayload(judged) for judged in frames(count, post)])
            await until_written(captures, 2 * count - 1)
    lines = [gzip.decompress(path.read_bytes()).splitlines() for path in files_in(folder)]
    assert lines[0][:2] == [
        b'{"run":"%b","began_with":{"budgets":{"plan":1}}}' % RUN.encode(),
        b'{"run":"%b","began_with":{"duplicates":[]}}' % RUN.encode(),
    ]
    assert [len(of_file) for of_file in lines] == [3, 2]


async def test_a_run_that_hears_nothing_leaves_no_capture_though_its_judge_remembered_something(folder: Path) -> None:
    captures = CaptureKeeper(CaptureOptions(folder, pace=DiskPace(gather=0)), Clock().run())
    captures.offer_beginning([{"budgets": {}}])
    async with running(captures):
        pass
    assert files_in(folder) == []


def test_nothing_of_a_capture_waits_to_be_worked_in(tmp_path: Path) -> None:
    batch = batch_of(frames(2), may_wait=True)
    writer = CaptureWriter(CaptureOptions(tmp_path), RUN, lambda: NOON_MS)
    writer.write(batch)
    writer.close()
    assert not batch.may_wait
