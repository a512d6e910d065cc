"""The four tiles: antenna, decoder, uplink and house, each in a word, with one number that lives and what to do. Pure.

They follow the way of a frame. Every part of the health belongs to one of them, so that nothing is wrong and unseen;
what a receiver says of how much it hears is the antenna's, and all else of it the decoder's. None is `ok` unless
something has shown that it is.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from gateway.glance.shown import HealthShown, PartShown
from gateway.groundwork.duration import in_words
from gateway.groundwork.part import SEVERITY, PartKind, State

_GOES_UP = {PartKind.UPLINK, PartKind.CLUB}

_WORDS: dict[str, dict[State | None, str]] = {
    "antenna": {State.OK: "hearing", State.WAITING: "not known"},
    "decoder": {State.OK: "connected", State.DEGRADED: "not well", State.DOWN: "away", None: "none"},
    "uplink": {State.OK: "sending", State.DEGRADED: "not well", State.DOWN: "away", None: "not set up"},
    "house": {State.OK: "all well", State.DEGRADED: "not well", State.DOWN: "a part is down", None: "all well"},
}
"""For what does not stand here the state itself is the word."""


@dataclass(frozen=True, slots=True)
class Tile:
    """One of the four."""

    name: str
    state: State | None
    """None: the station file has nothing of the kind, and nothing is wrong with that."""

    number: str
    """With its unit; it says how alive it is."""

    why: str = ""
    do: str = ""

    @property
    def word(self) -> str:
        """The state in a word, as the page says it."""
        return _WORDS[self.name].get(self.state) or str(self.state)

    @property
    def is_well(self) -> bool:
        """Whether there is nothing to be done."""
        return self.state in {None, State.OK}


def ago(then: datetime, now: datetime) -> str:
    """How long before `now` it was; a clock that runs a little ahead makes it no time at all."""
    return f"{in_words(max(0, round((now - then).total_seconds() * 1000)))} ago"


def tiles(health: HealthShown, now: datetime, age: Callable[[datetime, datetime], str] = ago) -> tuple[Tile, ...]:
    """All four, in the order of the frame's way. `age` says how long ago the last frame was."""
    receivers = [part for part in health.parts if part.kind == PartKind.RECEIVER]
    upward = [part for part in health.parts if part.kind in _GOES_UP]
    house = [part for part in health.parts if part not in receivers and part not in upward]
    last = None if health.activity is None else health.activity.last_heard
    last_words = "no frame yet" if last is None else age(last, now)
    return (_antenna(health, receivers), _decoder(receivers, last_words), _uplink(health, upward), _house(house))


def _antenna(health: HealthShown, receivers: Sequence[PartShown]) -> Tile:
    activity = health.activity
    number = "" if activity is None else f"{activity.frames_per_minute} a minute"
    quiet = [part for part in receivers if part.state is State.QUIET]
    if quiet:
        return _of_parts("antenna", quiet, number)
    if receivers and not any(part.state is State.OK for part in receivers):
        return Tile("antenna", State.WAITING, number, "no decoder tells what it hears")
    if activity is None or activity.last_heard is None:
        return Tile("antenna", State.WAITING, number, "nothing was heard yet")
    if not receivers and not activity.frames_per_minute:  # a hub: no receiver here would say that it is quiet
        return Tile("antenna", State.WAITING, number, "no post of the club hands on anything now")
    return Tile("antenna", State.OK, number)


def _decoder(receivers: Sequence[PartShown], number: str) -> Tile:
    if not receivers:
        return Tile("decoder", None, number)
    tile = _of_parts("decoder", [part for part in receivers if part.state is not State.QUIET], number)
    return Tile("decoder", State.OK, number) if tile.state is None else tile


def _uplink(health: HealthShown, parts: Sequence[PartShown]) -> Tile:
    counts = health.counts
    settled = counts.forward - counts.waiting
    sent = (counts.outcomes or {}).get("sent")
    share = "nothing to send yet" if not settled or sent is None else f"{100 * sent // settled}% sent"
    return _of_parts("uplink", parts, share if parts else "nothing goes up")


def _house(parts: Sequence[PartShown]) -> Tile:
    readers = sum(_figure(part, "event_streams") + _figure(part, "clients") for part in parts)
    return _of_parts("house", parts, "1 reader" if readers == 1 else f"{readers:.0f} readers")


def _of_parts(name: str, parts: Sequence[PartShown], number: str) -> Tile:
    """As its worst part is, which it names."""
    if not parts:
        return Tile(name, None, number)
    worst = max(parts, key=lambda part: SEVERITY[part.state])
    if worst.state is State.OK:
        return Tile(name, State.OK, number)
    label = "" if worst.label == name else worst.label
    return Tile(name, worst.state, number, ": ".join(words for words in (label, worst.why) if words), worst.do)


def _figure(part: PartShown, name: str) -> float:
    value = part.figures.get(name, 0)
    return 0 if isinstance(value, dict) else value


def troubles(all_four: Sequence[Tile]) -> Iterator[Tile]:
    """Those that want something done, the worst first."""
    wrong = [tile for tile in all_four if not tile.is_well]
    yield from sorted(wrong, key=lambda tile: -SEVERITY[tile.state or State.OK])
