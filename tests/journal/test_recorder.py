"""Recorders: nobody waits for them, whatever the disk does, and every frame offered is accounted for."""

import asyncio
import threading
from dataclasses import replace

import pytest
from structlog.testing import capture_logs

from gateway.feed.health import Counts, Health
from gateway.feed.heard_object import HeardPayload, encode
from gateway.feed.schemas import Schema
from gateway.groundwork.back_off import Pauses
from gateway.groundwork.part import State, Trouble
from gateway.journal.options import Limits
from gateway.journal.recorder import Recorder
from gateway.journal.trouble import JournalError
from tests.journal.keeping import frames, running, until_written
from tests.journal.recording import AT_ONCE, LIMITS, Fixture
from tests.judged_frames import NOON_MS, Post
from tests.payload_schemas import held_to

FULL = JournalError("the disk is full", "make room")


async def test_what_is_offered_is_written_in_its_order_by_a_thread_of_its_own() -> None:
    fixture = Fixture()
    async with running(fixture.recorder):
        fixture.offer(frames(1200))
        await until_written(fixture.recorder, 1200)
    assert fixture.disk.written == list(range(1, 1201))
    assert max(map(len, fixture.disk.batches)) <= LIMITS.batch
    assert len(fixture.disk.threads) == 1
    assert threading.get_ident() not in fixture.disk.threads


async def test_frames_are_gathered_for_a_while_and_written_together() -> None:
    fixture = Fixture(pace=replace(AT_ONCE, gather=1000))
    async with running(fixture.recorder):
        for judged in frames(20):
            fixture.recorder.offer([HeardPayload(judged)])
            await asyncio.sleep(0)
        assert fixture.disk.batches == []
        await fixture.recorder.drain(10)
    assert fixture.disk.batches == [list(range(1, 21))]


async def test_a_full_batch_is_written_without_more_waiting() -> None:
    fixture = Fixture(limits=Limits(waiting=100, batch=10), pace=replace(AT_ONCE, gather=1000))
    async with running(fixture.recorder):
        fixture.offer(frames(25))
        await until_written(fixture.recorder, 20)
        assert fixture.recorder.state().waiting == 5
    assert fixture.disk.batches == [list(range(1, 11)), list(range(11, 21)), list(range(21, 26))]


async def test_times_of_sending_are_written() -> None:
    fixture = Fixture()
    judged = frames(2)
    async with running(fixture.recorder):
        fixture.offer(judged)
        fixture.recorder.offer_forwarded([HeardPayload(judged[0])], NOON_MS + 3)
        await until_written(fixture.recorder, 2)
        fixture.recorder.offer_forwarded([HeardPayload(judged[1])], NOON_MS + 4)
    assert fixture.disk.sent == {1: NOON_MS + 3, 2: NOON_MS + 4}


async def test_a_disk_that_fails_is_tried_again_with_the_same_frames_and_said_once() -> None:
    fixture = Fixture()
    with capture_logs() as logs:
        async with running(fixture.recorder):
            await fixture.tried(1)
            fixture.disk.failures = [FULL] * 5
            fixture.clock.seconds = 60
            fixture.offer(frames(3))
            await until_written(fixture.recorder, 3)
            assert fixture.recorder.part().state is State.OK
    assert fixture.disk.batches == [[1, 2, 3]]
    assert [(each["event"], each["log_level"]) for each in logs] == [
        ("what is heard cannot be kept", "warning"),
        ("what is heard is kept again", "info"),
    ]
    assert logs[0]["why"] == "the disk is full"


async def test_a_disk_that_cannot_be_written_shows_before_anything_is_heard() -> None:
    fixture = Fixture(pace=replace(AT_ONCE, pauses=Pauses(1000, 1000, spread=0)))
    fixture.disk.failures = [FULL]
    async with running(fixture.recorder):
        await fixture.tried(1)
        while fixture.recorder.state().trouble is None:  # noqa: ASYNC110 - the disk is in another thread
            await asyncio.sleep(0.001)
        part = fixture.recorder.part()
        assert (part.kind, part.name, part.state, part.why, part.do) == (
            "journal",
            "journal",
            State.DOWN,
            "the disk is full",
            "make room",
        )


async def test_while_the_disk_is_away_the_oldest_are_shed_and_everything_adds_up() -> None:
    fixture = Fixture(limits=Limits(waiting=10, batch=4))
    fixture.disk.answers.clear()
    async with running(fixture.recorder):
        await fixture.tried(1)
        fixture.offer(frames(25))
        state = fixture.recorder.state()
        assert (state.written, state.waiting, state.failed, state.shed["heard"]) == (0, 10, 0, 15)
        fixture.disk.answers.set()
        await until_written(fixture.recorder, 10)
    assert fixture.disk.written == list(range(16, 26))
    state = fixture.recorder.state()
    assert (state.written, state.waiting, state.failed, state.shed["heard"]) == (10, 0, 0, 15)


async def test_a_disk_that_does_not_answer_shows_in_health() -> None:
    fixture = Fixture()
    fixture.disk.answers.clear()
    async with running(fixture.recorder):
        await fixture.tried(1)
        fixture.clock.seconds = 14
        assert fixture.recorder.part().state is State.WAITING
        fixture.clock.seconds = 20
        part = fixture.recorder.part()
        assert (part.state, part.why, part.since_ms) == (State.DOWN, "the disk does not answer", NOON_MS)
        fixture.disk.answers.set()
        fixture.offer(frames(1))
        await until_written(fixture.recorder, 1)
        assert fixture.recorder.part().state is State.OK


async def test_a_stop_waits_for_a_disk_that_does_not_answer_no_longer_than_it_may() -> None:
    fixture = Fixture()
    fixture.disk.answers.clear()
    async with running(fixture.recorder) as task:
        await fixture.tried(1)
        fixture.offer(frames(3))
        await fixture.recorder.drain(0.05)
        await task
    state = fixture.recorder.state()
    assert (state.written, state.waiting, state.shed["heard"]) == (0, 0, 3)
    fixture.disk.answers.set()


async def test_a_stop_gives_a_disk_that_fails_one_more_try() -> None:
    fixture = Fixture(pace=replace(AT_ONCE, pauses=Pauses(1000, 1000, spread=0)))
    async with running(fixture.recorder):
        await fixture.tried(1)
        fixture.disk.failures = [FULL]
        fixture.offer(frames(3))
        await fixture.tried(2)
    assert fixture.disk.batches == [[1, 2, 3]]
    assert fixture.disk.closed >= 1


async def test_a_stop_gives_up_a_disk_that_goes_on_failing() -> None:
    fixture = Fixture(pace=replace(AT_ONCE, pauses=Pauses(1000, 1000, spread=0)))
    async with running(fixture.recorder):
        await fixture.tried(1)
        fixture.disk.failures = [FULL] * 100
        fixture.offer(frames(3))
        await fixture.tried(2)
    assert fixture.disk.tries == 3
    assert fixture.recorder.state().shed["heard"] == 3
    assert fixture.recorder.part().why == "the gateway stops"


async def test_cancelled_it_ends_at_once_and_closes_the_disk() -> None:
    fixture = Fixture(pace=replace(AT_ONCE, gather=1000))
    task = asyncio.create_task(fixture.recorder.run())
    await fixture.tried(1)
    fixture.offer(frames(3))
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert fixture.recorder.state().shed["heard"] == 3
    while not fixture.disk.closed:  # noqa: ASYNC110 - the disk is in another thread
        await asyncio.sleep(0.001)


async def test_a_stop_before_it_runs_waits_for_nothing() -> None:
    await Fixture().recorder.drain(10)


async def test_a_batch_that_only_its_own_content_keeps_from_being_written_is_counted_and_left() -> None:
    fixture = Fixture()
    with capture_logs() as logs:
        async with running(fixture.recorder):
            await fixture.tried(1)
            fixture.disk.failures = [OverflowError("text from the air")]
            fixture.offer(frames(3))
            await fixture.tried(2)
            fixture.offer(frames(2))
            await until_written(fixture.recorder, 2)
            await fixture.recorder.tidy()
            await fixture.recorder.tidy()
    assert fixture.recorder.state().failed == 3
    assert [each for each in logs if each["log_level"] == "error"] == [
        {
            "event": "frames cannot be kept",
            "part": "journal",
            "count": 3,
            "error": "OverflowError",
            "log_level": "error",
        }
    ]


async def test_tidying_takes_steps_until_nothing_is_left_or_for_long_enough() -> None:
    fixture = Fixture()
    async with running(fixture.recorder):
        fixture.disk.left_to_tidy = 7
        await fixture.recorder.tidy()
        assert fixture.disk.tidied_at == [NOON_MS] * 7
        fixture.disk.left_to_tidy = 1000
        await fixture.recorder.tidy()
        assert fixture.disk.left_to_tidy == 950


@pytest.mark.parametrize("failure", [FULL, LookupError("a fault of our own")])
async def test_tidying_that_fails_ends_nothing(failure: Exception) -> None:
    fixture = Fixture()
    async with running(fixture.recorder):
        await fixture.tried(1)
        fixture.disk.failures = [failure]
        await fixture.recorder.tidy()
        fixture.offer(frames(2))
        await until_written(fixture.recorder, 2)
        assert fixture.recorder.part().state is State.OK


async def test_what_was_shed_is_said_once_and_shows_in_health_until_it_ends() -> None:
    fixture = Fixture(limits=Limits(waiting=5, batch=5), pace=replace(AT_ONCE, gather=1000))
    with capture_logs() as logs:
        async with running(fixture.recorder):
            await fixture.tried(1)
            fixture.offer(frames(8))
            await fixture.recorder.tidy()
            part = fixture.recorder.part()
            assert (part.state, part.do) == (State.DEGRADED, "see what keeps it busy")
            await fixture.recorder.tidy()
            assert fixture.recorder.part().state is State.OK
    assert [each for each in logs if each["log_level"] == "warning"] == [
        {"event": "more is heard than the disk takes", "part": "journal", "shed": shed, "log_level": "warning"}
        for shed in (1, 2)  # at once, and the rest by the minute
    ]


async def test_what_the_operator_should_know_of_a_disk_that_works_shows_in_health() -> None:
    fixture = Fixture()
    fixture.disk.notice = Trouble("the journal was damaged", "see whether the disk is failing")
    async with running(fixture.recorder):
        part = fixture.recorder.part()
        assert (part.state, part.why) == (State.DEGRADED, "the journal was damaged")


async def test_its_health_is_as_the_schema_says() -> None:
    recorder = Fixture().recorder
    health = Health("run", NOON_MS, [recorder.part()], Counts(0, 0, {}), {recorder.part(): recorder.figures()})
    held_to(Schema.HEALTH, encode(health.to_object()))


# What is settled, and when


async def settled(fixture: Fixture, count: int) -> None:
    while fixture.disk.settled < count:  # noqa: ASYNC110 - the disk is in another thread
        await asyncio.sleep(0.001)


async def test_what_is_written_is_not_settled_before_its_time() -> None:
    fixture = Fixture(pace=replace(AT_ONCE, settle=3600))
    async with running(fixture.recorder):
        await fixture.tried(1)
        fixture.offer(frames(3))
        await until_written(fixture.recorder, 3)
        assert (fixture.disk.settled, fixture.recorder.state().unsettled) == (1, 3)


async def test_what_is_written_is_settled_after_a_while() -> None:
    fixture = Fixture(pace=replace(AT_ONCE, settle=0.01))
    async with running(fixture.recorder):
        await fixture.tried(1)
        fixture.offer(frames(3))
        await until_written(fixture.recorder, 3)
        await settled(fixture, 2)
        while fixture.recorder.state().unsettled:  # noqa: ASYNC110 - it tells nobody
            await asyncio.sleep(0)


async def test_so_many_frames_are_settled_without_more_waiting() -> None:
    fixture = Fixture(limits=Limits(waiting=100, batch=10))
    async with running(fixture.recorder):
        await fixture.tried(1)
        fixture.offer(frames(25))
        await until_written(fixture.recorder, 25)
        assert fixture.recorder.state().unsettled < 10


async def test_an_emergency_is_settled_at_once() -> None:
    fixture = Fixture()
    post = Post()
    async with running(fixture.recorder):
        await fixture.tried(1)
        fixture.offer([post.hear(b"QA1BCD-9>APRS:>hello")])
        await until_written(fixture.recorder, 1)
        assert fixture.disk.settled == 1
        fixture.offer([replace(post.hear(b"QA1SOS>APRS:!5836.00N/00355.00W>!EMERGENCY!"), emergency=True)])
        await settled(fixture, 2)


async def test_emergencies_without_end_are_settled_no_oftener_than_by_the_second() -> None:
    fixture = Fixture()
    post = Post()
    async with running(fixture.recorder):
        await fixture.tried(1)
        began = asyncio.get_running_loop().time()
        for number in range(400):
            forged = post.hear(b"QA1SOS>APRS:!5836.00N/00355.00W>!EMERGENCY! %d" % number)
            fixture.offer([replace(forged, emergency=True)])
            await until_written(fixture.recorder, number + 1)
        assert fixture.disk.settled <= 2 + asyncio.get_running_loop().time() - began


async def test_a_stop_settles_all() -> None:
    fixture = Fixture()
    async with running(fixture.recorder):
        await fixture.tried(1)
        fixture.offer(frames(3))
        await until_written(fixture.recorder, 3)
    assert (fixture.disk.settled, fixture.recorder.state().unsettled) == (2, 0)


async def test_what_is_settled_in_its_time_may_wait_for_a_while_to_be_worked_in() -> None:
    fixture = Fixture(pace=replace(AT_ONCE, settle=0.02, work_in=0.1))
    post = Post()
    async with running(fixture.recorder):
        while fixture.disk.whole < 3:
            fixture.offer([post.hear(b"QA1BCD-9>APRS:>hello")])
            await asyncio.sleep(0.001)
        assert fixture.disk.settled > fixture.disk.whole


async def test_what_is_remembered_goes_along_with_what_is_worked_in_and_never_alone() -> None:
    """Each time costs a card a whole transaction."""
    asked: list[bool] = []

    class Remembering(Recorder):
        async def _before_working_in(self, *, leaving: bool) -> None:
            asked.append(leaving)

    fixture = Fixture(pace=replace(AT_ONCE, settle=0.001), kind=Remembering)
    async with running(fixture.recorder):
        await settled(fixture, 3)
        assert (fixture.disk.whole, asked) == (1, [])
    assert (fixture.disk.whole, asked) == (2, [True])


async def test_what_is_urgent_and_what_a_stop_settles_does_not_wait() -> None:
    fixture = Fixture(pace=replace(AT_ONCE, settle=0.001))
    async with running(fixture.recorder):
        await settled(fixture, 3)
        assert fixture.disk.whole == 1
        fixture.recorder.settle_soon()
        while fixture.disk.whole < 2:  # noqa: ASYNC110 - the disk is in another thread
            await asyncio.sleep(0)
    assert fixture.disk.whole == 3


async def test_what_waits_to_be_worked_in_and_cannot_be_is_counted() -> None:
    fixture = Fixture(pace=replace(AT_ONCE, settle=0.01))
    async with running(fixture.recorder):
        await settled(fixture, 1)
        fixture.offer(frames(3))
        await settled(fixture, 4)
        fixture.disk.failures = [OverflowError("text from the air")]
        fixture.recorder.settle_soon()
        while fixture.disk.failures:  # noqa: ASYNC110 - the disk is in another thread
            await asyncio.sleep(0)
    state = fixture.recorder.state()
    assert (state.written, state.failed) == (0, 3)


async def test_what_cannot_be_settled_for_its_content_is_counted_with_what_waited_for_it() -> None:
    fixture = Fixture(pace=replace(AT_ONCE, settle=1000))
    async with running(fixture.recorder):
        await fixture.tried(1)
        fixture.offer(frames(3))
        await until_written(fixture.recorder, 3)
        fixture.disk.failures = [OverflowError("text from the air")]
        fixture.offer(frames(2))
        await fixture.tried(3)
    state = fixture.recorder.state()
    assert (state.written, state.failed, state.unsettled) == (0, 5, 0)


# Losses are said


async def test_that_frames_are_shed_is_said_at_once() -> None:
    fixture = Fixture(limits=Limits(waiting=5, batch=5), pace=replace(AT_ONCE, gather=1000))
    fixture.disk.answers.clear()
    with capture_logs() as logs:
        async with running(fixture.recorder):
            await fixture.tried(1)
            fixture.offer(frames(5))
            assert logs == []
            fixture.offer(frames(1))
            assert [each["event"] for each in logs] == ["more is heard than the disk takes"]
            assert fixture.recorder.part().why == "more is heard than the disk takes: some of it is not kept"
            assert {figure.value for figure in fixture.recorder.figures() if figure.name == "shed"} == {0, 1}
            fixture.disk.answers.set()


async def test_what_a_stop_gives_up_is_said_as_it_ends() -> None:
    fixture = Fixture(pace=replace(AT_ONCE, pauses=Pauses(1000, 1000, spread=0)))
    with capture_logs() as logs:
        async with running(fixture.recorder):
            await fixture.tried(1)
            fixture.disk.failures = [FULL] * 100
            fixture.offer(frames(3))
            await fixture.tried(2)
    assert {"event": "more is heard than the disk takes", "part": "journal", "shed": 3, "log_level": "warning"} in logs


async def test_what_had_to_be_begun_anew_is_settled_at_once() -> None:
    fixture = Fixture(pace=replace(AT_ONCE, look=0.001))
    async with running(fixture.recorder):
        await fixture.tried(1)
        fixture.offer(frames(3))
        await until_written(fixture.recorder, 3)
        fixture.disk.is_moved = True
        await settled(fixture, 2)
