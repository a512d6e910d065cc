"""The engine says nothing to some requests while its servers lose one another: who waits for long is late."""

import asyncio
from typing import cast

import pytest

pytest.importorskip("nats")

from gateway.club import answers, lease_keeper
from gateway.club.answers import AnswerTime, first_answer
from gateway.club.engine import ANSWER_SECONDS, Engine, EngineUnansweredError, RefusedError
from gateway.club.lease import LeaseRecord, LeaseWrite
from gateway.club.lease_keeper import Ask

TAKING = LeaseWrite(4, LeaseRecord("qx1hub-10/1", 2, 900, 56))


class Silent:
    """An engine that loses the first requests, and answers those that come after."""

    def __init__(self, loses: int) -> None:
        self.loses = loses
        self.asked = 0
        self.waited: list[float] = []

    async def key(self, _name: str) -> tuple[int, bytes | None]:
        self.asked += 1
        if self.asked <= self.loses:
            await asyncio.get_running_loop().create_future()  # for ever
        return 5, None

    async def set_key(self, _name: str, _value: bytes, _revision: int, seconds: float) -> int:
        self.waited.append(seconds)
        if len(self.waited) <= self.loses:
            raise EngineUnansweredError
        return 5


def ask_of(silent: Silent) -> Ask:
    return Ask(cast("Engine", silent), "lease")


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lease_keeper, "AFTER_TROUBLE_SECONDS", 0)
    monkeypatch.setattr(answers, "AGAIN_SECONDS", 0.001)


async def test_who_looks_at_the_lease_asks_again_while_no_answer_comes() -> None:
    engine = Silent(loses=2)
    async with asyncio.timeout(5):
        assert await ask_of(engine).look() == (5, None)
    assert engine.asked == 3


async def test_questions_that_were_not_answered_end_with_the_one_that_was() -> None:
    before = asyncio.all_tasks()
    await ask_of(Silent(loses=3)).look()
    assert asyncio.all_tasks() == before


async def test_a_question_that_is_refused_is_not_asked_again() -> None:
    asked: list[None] = []

    async def refuse() -> None:
        asked.append(None)
        raise RefusedError("no")

    with pytest.raises(RefusedError):
        await first_answer(refuse)
    assert len(asked) == 1


async def test_an_answer_counts_though_an_older_question_ends_without_one_at_that_very_moment() -> None:
    ends: list[asyncio.Future[str]] = []

    async def ask() -> str:
        ends.append(asyncio.get_running_loop().create_future())
        if len(ends) == 8:
            for end in ends[:-1]:
                end.set_exception(EngineUnansweredError())
            ends[-1].set_result("the lease is free")
        return await ends[-1]

    async with asyncio.timeout(5):
        assert await first_answer(ask) == "the lease is free"


async def test_who_takes_the_lease_tries_again_soon_and_each_time_with_more_patience() -> None:
    engine = Silent(loses=4)
    ask = ask_of(engine)
    taken = [await ask.write(TAKING, takes=True) for _ in range(6)]
    assert taken == [None, None, None, None, 5, 5]
    first = engine.waited[0]
    assert engine.waited == [first, 2 * first, 4 * first, 8 * first, 16 * first, answers.AGAIN_SECONDS]


def test_nobody_waits_longer_than_every_request_is_given() -> None:
    waits = AnswerTime()
    for _ in range(50):
        waits.unanswered()
    assert waits.seconds == ANSWER_SECONDS


async def test_a_mark_is_waited_for_as_long_as_any_request_since_its_frames_hang_on_the_answer() -> None:
    engine = Silent(loses=1)
    assert await ask_of(engine).write(TAKING) is None
    assert engine.waited == [ANSWER_SECONDS]
