"""Two hubs, the lease's key and its mark, walked through every order of events that a few frames and writes allow.

The machines are the gateway's own; the model is the world around them: an engine that carries out compare-and-set in
some order, answers that come late or never, clocks that run as they like, hubs that pause anywhere or start again.
Whatever happens, no frame goes to the network twice, and none before its mark stands in the key.
"""

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from typing import NamedTuple

import pytest

from gateway.club.dispatch import Dispatch, Due
from gateway.club.lease import KeySeen, Lease, LeasePhase, LeaseRecord, LeaseWrite, Look, Wait
from gateway.club.sender import Sender, SenderMoment

LEASE_MS = 1000
TICK_MS = 1000
FRAMES = 1
DUES = {sequence: Due(sequence, b"line\r\n", 0) for sequence in range(1, FRAMES + 1)}
MOST_TICKS = 1
MOST_WRITES = 4

TAKEN = LeaseRecord("a", 1, 0, 1)
HOLDS = Lease("a", LEASE_MS, LeasePhase.HOLDING, KeySeen(1, TAKEN, 0), good_until_ms=LEASE_MS)

MakeSender = Callable[[str, int, Dispatch], Sender]
Key = tuple[int, LeaseRecord | None]
"""What stands in the lease's key: revision and record."""


class Asked(NamedTuple):
    """What a hub asked of the engine, and the answer on its way back."""

    write: LeaseWrite | None
    """None: to look at the key."""

    answer: Key | bool | None = None
    """The key as it was; whether the write was carried out; None: the engine has not got it yet."""


class Hub(NamedTuple):
    lease: Lease
    waiting: tuple[int, ...] = ()
    given_out: tuple[int, ...] = ()
    doubtful: tuple[int, ...] = ()
    left: tuple[object, ...] = (None, 0, False)
    """Life and mark of another holder, and whether this one took over."""

    ticks: int = 0
    read: int = 0
    asked: Asked | None = None
    recorded: bool = False
    """A mark stands, and its lines are not written yet."""


class World(NamedTuple):
    stands: Key
    hubs: tuple[Hub, ...]
    sent: tuple[int, ...] = (0,) * FRAMES
    straying: tuple[LeaseWrite, ...] = ()
    """Writes that their hub gave up, and that the engine may get yet."""

    lost: int = 0
    restarts: int = 0


def at_work(hub: Hub, new: MakeSender) -> Sender:
    """The gateway's machine in the state of `hub`."""
    dispatch = Dispatch(freshness_ms=10_000, report=lambda *_: None)
    vars(dispatch)["_waiting"].extend(DUES[sequence] for sequence in hub.waiting)
    vars(dispatch)["_given_out"].extend(DUES[sequence] for sequence in hub.given_out)
    vars(dispatch)["_doubtful"].extend(DUES[sequence] for sequence in hub.doubtful)
    vars(dispatch).update(zip(("_life", "_mark", "_taken_over"), hub.left, strict=True))
    sender = new(hub.lease.me, LEASE_MS, dispatch)
    sender.lease = hub.lease
    return sender


def after_work(sender: Sender, hub: Hub, **changes: object) -> Hub:
    inside = vars(sender.dispatch)
    return hub._replace(
        lease=without_history(sender.lease),
        waiting=tuple(due.sequence for due in inside["_waiting"]),
        given_out=tuple(due.sequence for due in inside["_given_out"]),
        doubtful=tuple(due.sequence for due in inside["_doubtful"]),
        left=(inside["_life"], inside["_mark"], inside["_taken_over"]),
        **changes,  # type: ignore[arg-type]  # fields of a hub
    )


def without_history(lease: Lease) -> Lease:
    """What no longer matters is made equal, so that fewer worlds are told apart."""
    if lease.pending is None:
        lease = replace(lease, begun_ms=0)
    if lease.phase is LeasePhase.HOLDING:
        last_key = None if lease.last_key is None else replace(lease.last_key, since_ms=0)
        return replace(lease, last_key=last_key, looked_ms=None)
    return replace(lease, good_until_ms=0)


def now_of(hub: Hub) -> SenderMoment:
    return SenderMoment(hub.ticks * TICK_MS, 0, read=hub.read)


class Mishaps(NamedTuple):
    """How many at most."""

    lost: int = 0
    restarts: int = 0


class Done(NamedTuple):
    """A hub after one step, and what the step did to the world."""

    hub: Hub
    stands: Key | None = None
    sent: tuple[int, ...] = ()
    strays: LeaseWrite | None = None
    lost: int = 0
    restarts: int = 0


def tick(hub: Hub) -> Done | None:
    return Done(hub._replace(ticks=hub.ticks + 1)) if hub.ticks < MOST_TICKS else None


def read(hub: Hub, new: MakeSender) -> Done | None:
    if hub.read >= FRAMES:
        return None
    sender = at_work(hub, new)
    sender.dispatch.put([DUES[hub.read + 1]])
    return Done(after_work(sender, hub, read=hub.read + 1))


def ask(hub: Hub, stands: Key, new: MakeSender) -> Done | None:
    if hub.asked is not None or hub.recorded:
        return None
    sender = at_work(hub, new)
    request = sender.next(now_of(hub))
    if isinstance(request, Wait):
        return None
    asked = Asked(None, stands) if isinstance(request, Look) else Asked(request)
    return Done(after_work(sender, hub, asked=asked))


def carried_out(write: LeaseWrite, stands: Key) -> Key | None:
    """The key after a compare-and-set; None where it is refused."""
    return (stands[0] + 1, write.record) if write.revision == stands[0] else None


def arrive(hub: Hub, stands: Key) -> Done | None:
    if hub.asked is None or hub.asked.write is None or hub.asked.answer is not None:
        return None
    after = carried_out(hub.asked.write, stands)
    return Done(hub._replace(asked=hub.asked._replace(answer=after is not None)), after)


def answer(hub: Hub, new: MakeSender) -> Done | None:
    if hub.asked is None or hub.asked.answer is None:
        return None
    sender = at_work(hub, new)
    if isinstance(hub.asked.answer, tuple):
        sender.looked(*hub.asked.answer, now_of(hub))
    elif hub.asked.answer and hub.asked.write is not None:
        sender.wrote(hub.asked.write.revision + 1, now_of(hub))
    else:
        sender.refused()
    recorded = sender.dispatch.given_out > 0
    return Done(after_work(sender, hub, asked=None, recorded=recorded))


def on_its_way(hub: Hub) -> LeaseWrite | None:
    """A write that the engine has not got yet."""
    return hub.asked.write if hub.asked is not None and hub.asked.answer is None else None


def lose(hub: Hub, new: MakeSender) -> Done | None:
    """No answer comes in time. What the engine has not got yet, it may get yet."""
    if hub.asked is None or hub.asked.write is None:
        return None
    sender = at_work(hub, new)
    sender.unanswered()
    return Done(after_work(sender, hub, asked=None), strays=on_its_way(hub), lost=1)


def write(hub: Hub, stands: Key, new: MakeSender) -> Done | None:
    if not hub.recorded:
        return None
    sender = at_work(hub, new)
    lines = sender.to_write(now_of(hub))
    marked = stands[1].handed_over if stands[1] is not None else 0
    assert all(due.sequence <= marked for due in lines), "a frame goes before its mark stands in the key"
    sender.sent(len(lines))
    return Done(after_work(sender, hub, recorded=False), sent=tuple(due.sequence for due in lines))


def restart(hub: Hub) -> Done | None:
    """The holder is killed, wherever it was, and starts again: it remembers nothing, and is another holder."""
    if hub.lease.phase is not LeasePhase.HOLDING:
        return None
    again = Hub(Lease(f"{hub.lease.me}-again", LEASE_MS), ticks=hub.ticks)
    return Done(again, strays=on_its_way(hub), restarts=1)


@cache
def steps(hub: Hub, stands: Key, new: MakeSender) -> tuple[Done, ...]:
    """All that a hub can do, or that can happen to it."""
    found = (
        tick(hub),
        read(hub, new),
        ask(hub, stands, new),
        arrive(hub, stands),
        answer(hub, new),
        lose(hub, new),
        write(hub, stands, new),
        restart(hub),
    )
    return tuple(done for done in found if done is not None)


def all_after(world: World, most: Mishaps, new: MakeSender) -> Iterator[World]:
    if world.straying:  # a write that its hub gave up reaches the engine after all
        stands = carried_out(world.straying[0], world.stands) or world.stands
        yield world._replace(stands=stands, straying=world.straying[1:])
    for place, hub in enumerate(world.hubs):
        for done in steps(hub, world.stands, new):
            after = World(
                done.stands or world.stands,
                (done.hub, world.hubs[1]) if place == 0 else (world.hubs[0], done.hub),
                tuple(count + done.sent.count(sequence) for sequence, count in enumerate(world.sent, 1)),
                world.straying if done.strays is None else (*world.straying, done.strays),
                world.lost + done.lost,
                world.restarts + done.restarts,
            )
            if after.stands[0] <= MOST_WRITES and after.lost <= most.lost and after.restarts <= most.restarts:
                yield after


def walk(most: Mishaps, new: MakeSender = Sender) -> set[World]:
    """Every world that can come about from where `a` has just taken the lease; raises where a frame goes twice."""
    first = World((1, TAKEN), (Hub(HOLDS), Hub(Lease("b", LEASE_MS))))
    seen = {first}
    ahead = deque([first])
    while ahead:
        for world in all_after(ahead.popleft(), most, new):
            if world not in seen:
                assert max(world.sent) <= 1, "a frame goes twice"
                seen.add(world)
                ahead.append(world)
    return seen


@pytest.mark.parametrize("most", [Mishaps(lost=1), Mishaps(restarts=1)])
def test_no_frame_goes_twice_in_any_order_of_events(most: Mishaps) -> None:
    seen = walk(most)
    assert any(world.hubs[1].lease.phase is LeasePhase.HOLDING and sum(world.sent) for world in seen)


class ForgetsTheMark(Sender):
    def looked(self, revision: int, record: LeaseRecord | None, now: SenderMoment) -> None:
        self.lease = self.lease.looked(revision, record, now.monotonic_ms)

    def wrote(self, revision: int, now: SenderMoment) -> None:
        self.lease = self.lease.wrote(revision, now.monotonic_ms)


class TakesRefusalForLeave(Sender):
    def refused(self) -> None:
        asked = self.lease.pending
        self.lease = self.lease.wrote(asked.revision + 1 if asked is not None else 0, 0)


@pytest.mark.parametrize("careless", [ForgetsTheMark, TakesRefusalForLeave])
def test_the_walk_finds_what_a_careless_hub_does(careless: MakeSender) -> None:
    with pytest.raises(AssertionError, match="a frame goes"):
        walk(Mishaps(), careless)
