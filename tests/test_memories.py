"""Everything that outlives a restart: whatever a spoiled journal holds is taken in or left out; nothing is raised."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.alerts.watch import AlertWatch
from gateway.feed.heard_object import HeardPayload, encode
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.feed.telemetry import TelemetryMemory
from gateway.frames.heard import Moment
from gateway.groundwork.remembered import Past, Remembered
from gateway.judge.memory import JudgeMemory
from gateway.watches.day import DayCounts
from gateway.watches.quiet import QuietWatch
from gateway.watches.reach import ReachWatch
from tests.alerts.alerting import PLACE, written
from tests.judge.listening import judge_of
from tests.judged_frames import NOON_MS, Post
from tests.remembering import dumped, restore

ALERTS = (
    "{name: bay, area: {latitude: 58.6, longitude: -3.9167, radius: 5km}, again: 1h},"
    "{name: gone, silent: {source: QA1BCD, for: 1h}}, {name: deaf, deaf: {for: 2h}},"
    "{name: vhf, deaf: {for: 2h, receiver: vhf}}, {name: test, when: {contains: test}}"
)
BUDGETS = (
    "rates: [{name: day, per: source, allow: 1 kB per day}, {name: month, per: everything, allow: 9 kB per month}]"
)
LINES = (
    b"QA1BCD>APRS:!5836.00N/00355.00W>test",
    b"QA1BCD>APRS::QA1BCD   :PARM.Battery,Sun",
    b"QA1BCD>APRS:T#005,199,000,255,073,123,01101001",
    b"QB2CDE>APRS,QD1RPT*:!5836.00N/00354.00W>afar",
    b"QB2CDE>APRS:!5836.00N/00354.00W>!EMERGENCY!",
    b"QC3DEF>APRS:_10090556c220s004g005t077r000p000P000h50b09900wRSW",
)

Make = Callable[[], Remembered[HeardPayload]]
MAKES: dict[str, Make] = {
    "judge": lambda: JudgeMemory(judge_of(BUDGETS)),
    "telemetry": TelemetryMemory,
    "stations": lambda: Stations(followed=("QA1BCD", "QC3DEF")),
    "alerts": lambda: AlertWatch(written(ALERTS), PLACE, ReportReader(PLACE), Moment(0, NOON_MS)),
    "hearing": lambda: QuietWatch(["vhf", "hf"]),
    "reach": lambda: ReachWatch(ReportReader(PLACE)),
    "day": DayCounts,
}
of_every_memory = pytest.mark.parametrize("make", [pytest.param(make, id=name) for name, make in MAKES.items()])


def heard() -> list[HeardPayload]:
    """Frames from before a restart: their moments lie before the start of this run."""
    post, read = Post(), ReportReader(PLACE)
    post.moment = Moment(-20_000, NOON_MS)
    frames = []
    for line in LINES:
        frames.append(HeardPayload(post.hear(line), read))
        post.wait(1000)
    return frames


FRAMES = heard()
KEYS = sorted(
    {
        key
        for make in MAKES.values()
        for piece in dumped(make())
        for key in [*re.findall(r"[a-z]+", str(piece)), "period", "used", "day/source", "frames", "stations"]
    }
)


@of_every_memory
def test_names_are_plain_and_no_dump_is_due_more_than_once_a_minute(make: Make) -> None:
    memory = make()
    assert re.fullmatch(r"[a-z]+", memory.name)
    assert memory.version >= 1
    assert memory.every_ms == 0 or memory.every_ms >= 60_000


@of_every_memory
def test_what_is_heard_again_after_a_restart_is_known_and_moves_the_revision(make: Make) -> None:
    memory = make()
    before, revision = dumped(memory), memory.revision
    for frame in FRAMES:
        memory.recall(frame)
    assert dumped(memory) != before
    assert memory.revision > revision


@of_every_memory
def test_what_was_dumped_comes_back_as_it_was(make: Make) -> None:
    memory = make()
    for frame in FRAMES:
        memory.recall(frame)
    pieces = dumped(memory)
    after = make()
    by_place = {(each.judged.heard.run, each.judged.heard.sequence): each for each in FRAMES}
    for piece in pieces:
        named = [by_place[run, sequence] for run, sequence in piece.get("frames", [])]
        after.restore(piece, Past(0, named))
    assert dumped(after) == pieces


@of_every_memory
def test_a_dump_changes_nothing(make: Make) -> None:
    memory = make()
    for frame in FRAMES:
        memory.recall(frame)
    revision, pieces = memory.revision, dumped(memory)
    assert (memory.revision, dumped(memory)) == (revision, pieces)


_value = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.sampled_from(KEYS),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(KEYS), inner, max_size=4),
    max_leaves=10,
)
_piece = st.dictionaries(st.sampled_from(KEYS) | st.text(max_size=5), _value, max_size=4)


@of_every_memory
@settings(max_examples=50, deadline=None)
@given(pieces=st.lists(_piece, max_size=3), shift_ms=st.integers(-(2**70), 2**70), with_frames=st.booleans())
def test_whatever_is_taken_in_nothing_is_raised_and_it_can_be_used_afterwards(
    make: Make, pieces: list[dict[str, object]], shift_ms: int, *, with_frames: bool
) -> None:
    memory = make()
    restore(memory, pieces, shift_ms, FRAMES if with_frames else [None] * 3)
    use(memory)


def use(memory: Remembered[HeardPayload]) -> None:
    """Go on with what was restored, as the gateway does."""
    for frame in FRAMES:
        memory.recall(frame)
    now = Moment(5_000, NOON_MS + 105_000)
    if isinstance(memory, AlertWatch):
        assert all(map(encode, memory.tick(now)))
        memory.over(now)
    elif isinstance(memory, Stations):
        memory.forget(now.elapsed_ms)
        assert all(encode(station.to_object()) for station in memory)
    elif isinstance(memory, ReachWatch):
        memory.read(now)
        assert encode(memory.reach().to_object())
    elif isinstance(memory, DayCounts):
        assert encode(memory.today(now))
    elif isinstance(memory, QuietWatch):
        memory.listen("vhf", now)
        memory.hearing("vhf", now)
    restore(MAKES[memory.name](), dumped(memory))


def spoil(plain: Any, data: st.DataObject) -> Any:  # noqa: ANN401 - any JSON
    """The same, with one value somewhere in it replaced by another."""
    places = list(plain) if isinstance(plain, dict) else range(len(plain)) if isinstance(plain, list) else ()
    if not places or data.draw(st.integers(0, 5)) == 0:
        return data.draw(_value)
    place = data.draw(st.sampled_from(places))
    plain[place] = spoil(plain[place], data)
    return plain


@of_every_memory
@settings(max_examples=50, deadline=None)
@given(data=st.data(), shift_ms=st.integers(-(2**40), 2**40))
def test_a_dump_with_a_spoiled_value_is_taken_in_as_far_as_it_goes(
    make: Make, data: st.DataObject, shift_ms: int
) -> None:
    memory = make()
    for frame in FRAMES:
        memory.recall(frame)
    after = make()
    pieces = [spoil(piece, data) for piece in dumped(memory)]
    restore(after, [piece for piece in pieces if isinstance(piece, dict)], shift_ms, FRAMES)
    use(after)


def test_no_two_memories_share_a_name() -> None:
    assert [make().name for make in MAKES.values()] == list(MAKES)
