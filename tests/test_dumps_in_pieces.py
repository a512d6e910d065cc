"""What is kept for a restart is dumped a little at a time: the event loop has other things to do between two pieces."""

import gc
import sys
from collections.abc import Iterator

import pytest

from gateway.alerts.watch import AlertWatch
from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.frames.heard import Moment
from gateway.groundwork.bounded import BoundedMapping
from gateway.groundwork.remembered import ENTRIES_OF_A_PIECE, Past, Shelves
from gateway.judge.memory import JudgeMemory
from tests.alerts.alerting import PLACE, written
from tests.judge.listening import judge_of
from tests.judged_frames import NOON_MS, Post
from tests.remembering import dumped

MANY = 20_000
OBJECTS_AT_A_TIME = 8 * ENTRIES_OF_A_PIECE
"""Made for one piece at most: a few for each of its entries."""


class Counted(BoundedMapping[str, object]):
    """A mapping that counts how often it is asked for one of its entries."""

    asked = 0

    def __iter__(self) -> Iterator[str]:
        for key in super().__iter__():
            self.asked += 1
            yield key

    def get(self, key: str, default: object = None) -> object:
        self.asked += 1
        return super().get(key, default)


def heard(line: bytes) -> HeardPayload:
    return HeardPayload(Post().hear(line), ReportReader(PLACE))


def test_of_twenty_thousand_stations_no_more_than_a_piece_is_looked_at_at_a_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    stations, payload = Stations(MANY), heard(b"QA1BCD>APRS:>here")
    stations.hear(payload)
    station = stations.get("QA1BCD")
    assert station is not None
    everybody = Counted(MANY)
    for number in range(MANY):
        everybody[f"QA{number}"] = station
        stations._shelves.put(f"QA{number}")  # noqa: SLF001 - to hear so many would take seconds
    monkeypatch.setattr(stations, "_stations", everybody)
    told, most = 0, 0
    before = everybody.asked
    for piece in stations.dump():
        told += len(piece["stations"])
        most, before = max(most, everybody.asked - before), everybody.asked
    assert told == MANY
    assert most <= ENTRIES_OF_A_PIECE


def test_of_as_many_duplicates_as_are_remembered_a_piece_is_made_at_a_time() -> None:
    judge = judge_of("")
    for number in range(MANY):
        judge.recent.remember(b"%d" % number, number // 1000)
    assert most_objects_at_a_time(JudgeMemory(judge).dump()) <= OBJECTS_AT_A_TIME


def test_duplicates_past_the_window_cost_no_more_at_a_time() -> None:
    judge = judge_of("")
    for number in range(MANY):
        judge.recent.remember(b"%d" % number, 0)
    judge.recent.remember(b"much later", judge.recent.window_ms)
    pieces = JudgeMemory(judge).dump()
    assert next(pieces) == {}
    assert most_objects_at_a_time(pieces) <= OBJECTS_AT_A_TIME
    assert [len(piece["duplicates"]) for piece in dumped(JudgeMemory(judge))] == [1]


def test_alerts_that_were_raised_come_a_piece_at_a_time() -> None:
    alerts = AlertWatch(written("{name: test, when: {contains: test}}"), PLACE, ReportReader(PLACE), Moment(0, NOON_MS))
    for number in range(5000):
        alerts._matches.begin("test", f"QA{number}", Moment(0, NOON_MS))  # noqa: SLF001 - as above
    assert most_objects_at_a_time(alerts.dump()) <= OBJECTS_AT_A_TIME


def most_objects_at_a_time(pieces: Iterator[object]) -> int:
    """How many objects at most there are more after a piece was made than before."""
    gc.collect()  # what others left behind must not go meanwhile
    most, before = 0, sys.getallocatedblocks()
    gc.disable()
    try:
        for _ in pieces:
            most = max(most, sys.getallocatedblocks() - before)
            before = sys.getallocatedblocks()
    finally:
        gc.enable()
    return most


def test_who_comes_and_goes_while_the_shelves_are_gone_through_hides_nobody_who_stays() -> None:
    shelves = Shelves[int](MANY)
    for number in range(MANY):
        shelves.put(number)
    seen: list[int] = []
    for turn, piece in enumerate(shelves.pieces()):
        assert len(piece) <= ENTRIES_OF_A_PIECE
        seen += piece
        shelves.take(2 * turn)
        shelves.put(MANY + turn)
    assert len(seen) == len(set(seen))
    assert set(range(1, MANY, 2)) <= set(seen)


def test_stations_that_were_restored_in_any_order_are_forgotten_in_the_order_in_which_they_were_heard() -> None:
    post, stations = Post(), Stations(forget_ms=10_000)
    frames = []
    for name, wait_ms in ((b"QA1AAA", 8000), (b"QA1BBB", 0), (b"QA1CCC", 4000), (b"QA1DDD", 0)):
        frames.append(HeardPayload(post.hear(name + b">APRS:>here"), ReportReader(PLACE)))
        post.wait(wait_ms)
    entry = [NOON_MS, 1, None, None]
    stations.restore({"stations": [entry] * 4}, Past(0, [frames[place] for place in (3, 2, 0, 1)]))
    stations.forget(post.moment.elapsed_ms)
    assert [station.source for station in stations] == ["QA1BBB", "QA1CCC", "QA1DDD"]
