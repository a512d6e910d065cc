"""Captures, played at the pace at which they were heard."""

import asyncio
import gzip
import json
from pathlib import Path
from typing import Any

import pytest

from gateway.frames.capture import MAXIMUM_LINE_OCTETS
from gateway.frames.frame import Damaged
from gateway.receivers.address import AddressError, parse
from gateway.receivers.file import LONGEST_PAUSE_MS, CaptureReceiver
from gateway.receivers.receiver import ReceiverPhase
from tests.receivers.listening import Clock, Ear, frame


def line(elapsed_ms: int, text: str, *, run: str = "then", time: str = "2026-05-01T00:00:00.000Z", **more: Any) -> str:  # noqa: ANN401 - whatever a line may hold
    plain = {
        "run": run,
        "sequence": 1,
        "elapsed_ms": elapsed_ms,
        "time": time,
        "receiver": "other",
        "source": "QA1BCD-9",
        "destination": "APRS",
        "path": [],
        "information": text,
        "verdict": "forward",
    }
    return json.dumps(plain | more) + "\n"


async def play(path: Path, *lines: str, compressed: bool = False) -> tuple[CaptureReceiver, Ear, Clock]:
    content = "".join(lines).encode()
    await asyncio.to_thread(path.write_bytes, gzip.compress(content) if compressed else content)
    return await play_file(path)


async def play_file(path: Path) -> tuple[CaptureReceiver, Ear, Clock]:
    clock, ear = Clock(), Ear()
    receiver = CaptureReceiver("replayed", parse(f"file://{path}"), clock.run(), ear, sleep=clock.sleep)
    await receiver.listen()
    return receiver, ear, clock


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "capture.jsonl"


@pytest.mark.parametrize("compressed", [False, True], ids=["plain", "gzip"])
async def test_frames_are_heard_at_their_own_pace_and_stamped_now(path: Path, compressed: bool) -> None:
    _, ear, clock = await play(path, line(5000, "one"), line(5250, "two"), line(9000, "three"), compressed=compressed)
    assert ear.frames == [frame("one"), frame("two"), frame("three")]
    assert [each.moment.elapsed_ms for each in ear.heard] == [0, 250, 4000]
    assert [each.moment.time_ms - 1_780_747_200_000 for each in ear.heard] == [0, 250, 4000]
    assert clock.slept == [0.25, 3.75]


async def test_frames_are_this_receivers_in_this_run_on_the_ports_of_the_capture(path: Path) -> None:
    _, ear, _ = await play(path, line(0, "one", port=12), line(0, "two"))
    assert [(each.receiver, each.run, each.sequence, each.port) for each in ear.heard] == [
        ("replayed", "test", 1, 12),
        ("replayed", "test", 2, 0),
    ]


async def test_frames_of_one_moment_are_handed_on_together(path: Path) -> None:
    _, ear, _ = await play(path, *[line(0, str(number)) for number in range(600)])
    assert [len(delivery) for delivery in ear.deliveries] == [256, 256, 88]


async def test_from_one_run_to_the_next_the_time_of_day_tells_the_pause(path: Path) -> None:
    _, ear, _ = await play(
        path,
        line(9000, "one", time="2026-05-01T00:00:09.000Z"),
        line(100, "two", run="later", time="2026-05-01T00:01:09.000Z"),
        line(300, "three", run="later", time="2026-05-01T00:00:00.000Z"),
    )
    assert [each.moment.elapsed_ms for each in ear.heard] == [0, 60_000, 60_200]


async def test_a_clock_that_was_set_back_makes_no_pause_and_one_that_was_wrong_by_years_a_bounded_one(
    path: Path,
) -> None:
    _, ear, _ = await play(
        path,
        line(0, "one", time="1970-01-01T00:00:00.000Z"),
        line(0, "two", run="second", time="2026-05-01T00:00:00.000Z"),
        line(0, "three", run="third", time="2026-04-01T00:00:00.000Z"),
    )
    assert [each.moment.elapsed_ms for each in ear.heard] == [0, LONGEST_PAUSE_MS, LONGEST_PAUSE_MS]


async def test_a_frame_that_was_damaged_is_damaged_still(path: Path) -> None:
    receiver, ear, _ = await play(path, line(0, "", damage="a KISS escape is broken", octets_base64="2w=="))
    assert ear.frames == [Damaged("a KISS escape is broken", b"\xdb")]
    assert receiver.counts.damaged == 1


async def test_lines_that_cannot_be_read_are_counted_and_passed_over(path: Path) -> None:
    bad = [
        "no json\n",
        "[]\n",
        "7\n",
        '{"run": 1}\n',
        "[" * 50_000 + "\n",
        line(0, "x" * MAXIMUM_LINE_OCTETS),
        "\xff\n",
    ]
    receiver, ear, _ = await play(path, line(0, "one"), *bad, "\n", line(0, "two"))
    assert ear.frames == [frame("one"), frame("two")]
    assert receiver.counts.unreadable == len(bad)
    assert receiver.phase is ReceiverPhase.PLAYED_OUT
    assert receiver.reason == "7 lines could not be read"


async def test_the_last_line_needs_no_end(path: Path) -> None:
    _, ear, _ = await play(path, line(0, "one"), line(0, "two").rstrip("\n"))
    assert len(ear.heard) == 2


async def test_an_empty_capture_is_played_out_at_once(path: Path) -> None:
    receiver, ear, _ = await play(path)
    assert ear.heard == []
    assert receiver.phase is ReceiverPhase.PLAYED_OUT
    assert receiver.reason == ""


async def test_a_compressed_capture_that_was_cut_off_is_played_as_far_as_it_goes(path: Path) -> None:
    content = gzip.compress("".join(line(0, str(number)) for number in range(1000)).encode())
    await asyncio.to_thread(path.write_bytes, content[: len(content) // 2])
    receiver, ear, _ = await play_file(path)
    assert ear.frames == [frame(str(number)) for number in range(len(ear.frames))]
    assert len(ear.frames) > 256
    assert receiver.phase is ReceiverPhase.FAILED
    assert receiver.reason == "the capture cannot be read: it is cut off in the middle of its compressed data"


async def test_a_capture_that_is_not_there_is_said_to_be_missing(path: Path) -> None:
    receiver, _, _ = await play_file(path)
    assert receiver.phase is ReceiverPhase.FAILED
    assert receiver.reason == "the capture cannot be read: No such file or directory"


def test_an_address_of_another_kind_is_refused_at_once() -> None:
    with pytest.raises(AddressError, match="is no capture file"):
        CaptureReceiver("replayed", parse("kiss+tcp://127.0.0.1:7581"), Clock().run(), Ear())


async def test_what_a_run_began_with_is_no_frame_and_no_damage(path: Path) -> None:
    receiver, ear, _ = await play(path, '{"run": "then", "began_with": {"budgets": {}}}\n', line(0, "one"))
    assert ear.frames == [frame("one")]
    assert receiver.counts.unreadable == 0
