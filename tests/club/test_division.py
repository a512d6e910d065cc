"""Hubs that would take some of one another's slices: the engine's record refuses the one that comes later."""

import asyncio
from typing import cast

import pytest

pytest.importorskip("nats")

from gateway.club import division
from gateway.club.division import Division, DivisionError, Share, read_division
from gateway.club.engine import Engine, EngineUnansweredError, OvertakenError
from gateway.club.hubs import MAXIMUM_HUBS, SILENT_MS, Hubs
from gateway.club.slices import ALL, Slices

LOW, HIGH = Slices.of(range(8)), Slices.of(range(8, 16))


class OneKey:
    """An engine with one key."""

    def __init__(self, octets: bytes | None = None) -> None:
        self.octets = octets
        self.revision = 0 if octets is None else 1
        self.meanwhile: bytes | None = None
        """What another hub writes between this hub's look and its write."""

        self.away = False
        self.overtaken_always = False
        self.writes = 0

    async def key(self, name: str) -> tuple[int, bytes | None]:
        assert name == "division"
        if self.away:
            raise EngineUnansweredError
        return self.revision, self.octets

    async def set_key(self, name: str, value: bytes, revision: int) -> int:
        assert name == "division"
        self.writes += 1
        if self.overtaken_always:
            raise OvertakenError
        if self.meanwhile is not None:
            self.octets, self.meanwhile = self.meanwhile, None
            self.revision += 1
        if revision != self.revision:
            raise OvertakenError
        self.octets = value
        self.revision += 1
        return self.revision


async def keep(share: Share, engine: OneKey, looks: int = 1) -> None:
    """Let a hub look so often, and once more where another wrote before it."""
    task = asyncio.create_task(share.keep(cast("Engine", engine)))
    for _ in range(5 * looks):
        await asyncio.sleep(0)
    task.cancel()
    await asyncio.wait([task])


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(division, "LOOK_SECONDS", 0)
    monkeypatch.setattr(division, "AFTER_TROUBLE_SECONDS", 0)


async def test_hubs_that_share_nothing_stand_beside_one_another_and_those_of_the_same_slices_too() -> None:
    engine = OneKey()
    for slices in (LOW, HIGH, LOW):
        share = Share(slices)
        await keep(share, engine)
        assert share.is_ours
    assert engine.octets is not None
    assert read_division(engine.octets) == Division((LOW, HIGH))


async def test_a_hub_that_overlaps_is_refused_and_says_with_whom() -> None:
    engine = OneKey(Division((LOW,)).to_octets())
    share = Share(ALL)
    await keep(share, engine)
    assert not share.is_ours
    assert share.refusal == "this hub takes all slices, and others of the club slices 0, 1, 2, 3, 4, 5, 6, 7"
    assert engine.revision == 1, "nothing was written"


async def test_of_two_that_come_at_once_one_is_refused() -> None:
    engine = OneKey()
    engine.meanwhile = Division((LOW,)).to_octets()
    share = Share(Slices.of([7, 8]))
    await keep(share, engine, looks=2)
    assert not share.is_ours
    assert read_division(engine.octets or b"") == Division((LOW,))


async def test_when_the_club_is_divided_anew_a_hub_that_runs_on_is_refused() -> None:
    engine, share = OneKey(), Share(ALL)
    await keep(share, engine)
    assert share.is_ours
    engine.octets = Division((LOW, HIGH)).to_octets()
    await keep(share, engine)
    assert not share.is_ours


async def test_a_share_stays_while_the_engine_is_away() -> None:
    engine, share = OneKey(), Share(LOW)
    await keep(share, engine)
    engine.away = True
    await keep(share, engine)
    assert share.is_ours


async def test_a_hub_that_is_overtaken_again_and_again_leaves_the_engine_its_rest(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(division, "AFTER_TROUBLE_SECONDS", 3600)
    engine = OneKey()
    engine.overtaken_always = True
    await keep(Share(LOW), engine, looks=10)
    assert engine.writes == 1


@pytest.mark.parametrize(
    "octets", [b"", b"[]", b"{}", b'{"sets": [[16]]}', b'{"sets": [1]}', b'{"sets": {}}', b"[" * 5000]
)
async def test_a_record_that_cannot_be_read_refuses_everybody(octets: bytes) -> None:
    with pytest.raises(DivisionError):
        read_division(octets)
    share = Share(ALL)
    await keep(share, OneKey(octets))
    assert not share.is_ours
    assert "record of the division" in share.refusal


def beat(hubs: Hubs, name: str, slices: Slices, stamp_ms: int) -> None:
    hubs.spoke(name, slices.to_octets(), stamp_ms)


def test_slices_that_no_hub_takes_are_known_once_every_hub_had_time_to_beat() -> None:
    hubs = Hubs()
    beat(hubs, "qx1hub-10", LOW, 0)
    beat(hubs, "qx1hub-10", LOW, SILENT_MS - 1)
    assert hubs.untaken(SILENT_MS - 1) is None
    beat(hubs, "qx1hub-10", LOW, SILENT_MS)
    assert hubs.untaken(SILENT_MS) == HIGH


def test_slices_are_taken_for_as_long_as_a_hub_beats() -> None:
    hubs = Hubs()
    for second in range(0, 2 * SILENT_MS, 1000):
        beat(hubs, "qx1hub-10", LOW, second)
        if second < SILENT_MS:
            beat(hubs, "qx2hub-10", HIGH, second)
    assert hubs.untaken(SILENT_MS) is None
    assert hubs.untaken(2 * SILENT_MS - 1000) == HIGH


def test_a_beat_of_an_older_hub_takes_nothing_away_from_what_is_known() -> None:
    hubs = Hubs()
    hubs.spoke("qx1hub-10", b"", 0)
    hubs.spoke("qx1hub-10", b"", SILENT_MS - 1)
    beat(hubs, "qx2hub-10", ALL, SILENT_MS)
    assert hubs.are_known(SILENT_MS)
    assert hubs.untaken(SILENT_MS) is None


def test_after_a_silence_of_all_hubs_each_has_its_time_to_speak_anew() -> None:
    """Who is the first to reach the engine again must not say of the others that they take nothing."""
    hubs = Hubs()
    for second in (*range(0, SILENT_MS + 1, 1000), 5 * SILENT_MS):
        beat(hubs, "qx1hub-10", LOW, second)
        beat(hubs, "qx2hub-10", HIGH, second)
        assert hubs.untaken(second) is None
    assert hubs.untaken(3 * SILENT_MS) is None  # a place between two beats, where a snapshot stands
    for second in range(5 * SILENT_MS + 1000, 6 * SILENT_MS, 1000):
        beat(hubs, "qx1hub-10", LOW, second)
        assert hubs.untaken(second) is None
    beat(hubs, "qx1hub-10", LOW, 6 * SILENT_MS)
    assert hubs.untaken(6 * SILENT_MS) == HIGH


def test_a_hub_that_beats_is_not_forgotten_for_others_that_came_later_and_are_gone() -> None:
    hubs = Hubs()
    for second in range(0, 2 * SILENT_MS, 1000):
        beat(hubs, "qx1hub-10", ALL, second)
    for number in range(MAXIMUM_HUBS):
        if number == MAXIMUM_HUBS - 1:
            beat(hubs, "qx1hub-10", ALL, 2 * SILENT_MS)
        beat(hubs, f"qx{number}gone-1", LOW, 2 * SILENT_MS)
    assert hubs.untaken(2 * SILENT_MS) is None


def test_a_hub_that_spoke_before_the_engines_clock_was_set_back_takes_nothing_for_ever() -> None:
    hubs = Hubs()
    beat(hubs, "qx2hub-10", HIGH, 100 * SILENT_MS)
    for second in range(0, SILENT_MS + 1, 1000):
        beat(hubs, "qx1hub-10", LOW, second)
    assert hubs.untaken(SILENT_MS) == HIGH
