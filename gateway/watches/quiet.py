"""Whether a receiver hears less than this post is used to: how a dead antenna is noticed though every socket is fine.

**What is usual** is learnt from the post's own past, by the hour in UTC: how many frames each hour of the day brought
(a mean that forgets, over about two weeks), and each hour of the week (about six). What is expected is the lower of the
two. The means are of square roots, as befits counts (the root evens out their scatter): one wild day weighs little.
For the first `FEWEST_DAYS` nothing is said at all.

**What is too little** is told by Page's cumulative sum (E. S. Page, Continuous inspection schemes, Biometrika 41, 1954;
from memory). A debt is kept. Time adds to it the frames that a slow day would bring, `SLOW_DAY` of what is usual; each
frame heard takes off `WORTH`; it is never below nothing. Of a silence it is thus the number of frames that even a slow
day would have brought, and exp(-debt) the Poisson probability of hearing none of them by chance. At `LIMIT`, one in a
million, the receiver is quiet, until the debt is paid.

Frames that come within an hour hang together: one car, one hour of good propagation. So an hour counts for no more than
`MOST_AN_HOUR`; where it would, the debt, and what a frame pays, are scaled down alike.

So a dead antenna is noticed once 56 frames would have been usual, and after three and a half hours at the soonest: on a
busy channel the same afternoon, at a post that hears 80 a day within two days. It is as good as never said of a night
that is always quiet. An antenna that still hears a fiftieth of what it did is noticed, too; a day that brings more than
a twelfth is a slow day and no more.

No I/O, no clock; no daylight saving time, since UTC knows none.
"""

import contextlib
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from gateway.feed.heard_object import HeardPayload
from gateway.frames.frame import Damaged
from gateway.frames.heard import Moment
from gateway.frames.plain import PlainObject
from gateway.groundwork.clocks import is_plausible
from gateway.groundwork.duration import DAY_MS, HOUR_MS, MINUTE_MS, in_words
from gateway.groundwork.part import Part, State
from gateway.groundwork.remembered import Past

SLOW_DAY = 0.25
"""The share of what is usual that a slow day still brings."""

WORTH = 3.0
"""How much of the debt a frame pays: ln 20, the weight by which a twentieth of the frames is told from all of them."""

MOST_AN_HOUR = 4.0
"""What an hour adds to the debt at most."""

LIMIT = 14.0
"""exp(-14) is about one in a million."""

FEWEST_DAYS = 7
"""Days on which an hour must have been listened to before anything is expected of it: a weekend is among them."""

DAY_WEIGHT = 1 / 14
"""Of the newest day in the mean of an hour of the day; the first ones weigh alike."""

WEEK_WEIGHT = 1 / 6
"""Of the newest week in the mean of an hour of the week."""

LONGEST_LEARNT_MS = 3 * DAY_MS
"""A silence longer than this is not learnt any more: it must not become what is usual."""

LONGEST_GAP_MS = 2 * MINUTE_MS
"""Whoever asks does so every few seconds while the receiver listens. A longer gap is time in which nobody listened."""

HOURS_A_DAY = 24
HOURS_A_WEEK = 7 * HOURS_A_DAY
MOST_FRAMES_AN_HOUR = 1_000_000
"""More than any channel carries: what a restored state cannot hold."""

REMEDY = (
    "look at the antenna, its cable, and the receiver's frequency and volume; keep clear of power lines."
    " If less is to be heard from now on, the post gets used to it in about two weeks"
)


class Hearing(NamedTuple):
    """How a receiver hears."""

    state: State
    """`ok` or `quiet`."""

    why: str = ""
    since_ms: int | None = None
    """Unix milliseconds: when the debt began to grow; None while it is `ok`."""


OK = Hearing(State.OK)


@dataclass(slots=True)
class _Usual:
    """How many frames one hour usually brings: the mean of square roots over the times that it was listened to."""

    hours: int = 0
    root: float = 0.0

    @property
    def frames(self) -> float:
        return self.root * self.root

    def learn(self, frames: float, least_weight: float) -> None:
        self.hours += 1
        self.root += (math.sqrt(frames) - self.root) * max(1 / self.hours, least_weight)


def _usuals(number: int) -> list[_Usual]:
    return [_Usual() for _ in range(number)]


@dataclass(slots=True)
class _Debt:
    """What a receiver owes, and how it came to owe it."""

    frames: float = 0.0
    since_ms: int = 0
    """Unix milliseconds of when there was none."""

    expected: float = 0.0
    """Frames that are usual in the time since then."""

    heard: int = 0
    """Frames that were heard since then."""

    is_quiet: bool = False


@dataclass(slots=True)
class _HearingReceiver:
    """What is known of one receiver."""

    days: list[_Usual] = field(default_factory=lambda: _usuals(HOURS_A_DAY))
    weeks: list[_Usual] = field(default_factory=lambda: _usuals(HOURS_A_WEEK))
    debt: _Debt = field(default_factory=_Debt)
    last: Moment | None = None
    hour: int = 0
    """Hours since 1970: the one that is being counted."""

    expected: float = 0.0
    """Frames that are usual in that hour."""

    pace: float = 1.0
    """How much of what it brings the hour counts for."""

    listened_ms: int = 0
    """How much of it was listened to."""

    count: int = 0
    changes: int = 0

    def usual(self, hour: int) -> float:
        """Frames that are usual in an hour; none where too little is known of it."""
        of_day, of_week = self.days[hour % HOURS_A_DAY], self.weeks[hour % HOURS_A_WEEK]
        if of_day.hours < FEWEST_DAYS:
            return 0.0
        return min(of_day.frames, of_week.frames) if of_week.hours else of_day.frames

    def listen_until(self, moment: Moment) -> None:
        """Let time pass: what is usual in it is expected."""
        last, self.last = self.last, moment
        if last is None:
            self._begin(moment)
            return
        passed = moment.elapsed_ms - last.elapsed_ms
        if abs(moment.time_ms - last.time_ms - passed) > LONGEST_GAP_MS:  # the clock was set: which hour was it?
            self._begin(moment)
            return
        if not 0 <= passed <= LONGEST_GAP_MS:
            passed = 0
        if moment.time_ms // HOUR_MS != self.hour:
            self._learn()
            self._begin(moment)
        self.listened_ms += passed
        self._expect(passed / HOUR_MS, moment)

    def hear(self, count: int, moment: Moment) -> None:
        """So many frames were heard."""
        self.count += count
        self.changes += 1
        debt = self.debt
        debt.frames -= WORTH * count * self.pace
        debt.heard += count
        if debt.frames <= 0:
            self.debt = _Debt(since_ms=moment.time_ms)

    def _begin(self, moment: Moment) -> None:
        """Begin to count an hour."""
        self.changes += 1
        self.hour = moment.time_ms // HOUR_MS
        self.listened_ms = self.count = 0
        self.expected = self.usual(self.hour)
        owed = SLOW_DAY * self.expected
        self.pace = MOST_AN_HOUR / owed if owed > MOST_AN_HOUR else 1.0

    def _expect(self, hours: float, moment: Moment) -> None:
        """So much of the hour has passed."""
        debt = self.debt
        if debt.frames == 0:
            debt.since_ms, debt.expected, debt.heard = moment.time_ms, 0.0, 0
        usual = self.expected * hours
        debt.expected += usual
        debt.frames = min(debt.frames + SLOW_DAY * usual * self.pace, LIMIT)
        debt.is_quiet = debt.is_quiet or debt.frames >= LIMIT

    def _learn(self) -> None:
        """The hour is over."""
        silent_ms = 0 if self.debt.heard else (self.hour + 1) * HOUR_MS - self.debt.since_ms
        if self.listened_ms < HOUR_MS // 2 or (self.debt.frames > 0 and silent_ms > LONGEST_LEARNT_MS):
            return
        frames = self.count * HOUR_MS / self.listened_ms
        self.days[self.hour % HOURS_A_DAY].learn(frames, DAY_WEIGHT)
        self.weeks[self.hour % HOURS_A_WEEK].learn(frames, WEEK_WEIGHT)


class QuietWatch:
    """Watches how much each receiver hears. Its memory is one number for each hour of the week, per receiver.

    It outlives a restart, as `remembered.Remembered` has it.
    """

    name = "hearing"
    version = 1
    every_ms = HOUR_MS

    def __init__(self, receivers: Iterable[str]) -> None:
        self._receivers = {name: _HearingReceiver() for name in receivers}

    def heard(self, receiver: str, moment: Moment, count: int = 1) -> None:
        """A receiver heard so many frames, copies too; what is damaged is none."""
        if is_plausible(moment.time_ms):
            hearing = self._receivers[receiver]
            hearing.listen_until(moment)
            hearing.hear(count, moment)

    def listen(self, receiver: str, moment: Moment) -> None:
        """A receiver listens, now being `moment`.

        To be said every few seconds while it does, and not while it does not: time is listened to where no more than
        `LONGEST_GAP_MS` lies between two calls of this or `heard`. Nothing is learnt of a time that the clock cannot be
        right about.
        """
        if is_plausible(moment.time_ms):
            self._receivers[receiver].listen_until(moment)

    def hearing(self, receiver: str, moment: Moment) -> Hearing:
        """How a receiver hears, now being `moment`. Asking changes nothing."""
        debt = self._receivers[receiver].debt
        if not debt.is_quiet or not is_plausible(moment.time_ms):
            return OK
        span = in_words(moment.time_ms - debt.since_ms)
        frames = "nothing" if debt.heard == 0 else "1 frame" if debt.heard == 1 else f"{debt.heard} frames"
        why = f"{frames} heard in {span}, in which about {debt.expected:.0f} are usual"
        return Hearing(State.QUIET, why, debt.since_ms)

    @property
    def revision(self) -> int:
        """Rises with every frame and every hour."""
        return sum(receiver.changes for receiver in self._receivers.values())

    def dump(self) -> Iterator[PlainObject]:
        """What each receiver is used to, a piece for each."""
        for name, receiver in self._receivers.items():
            debt = receiver.debt
            owed = [round(debt.frames, 3), debt.since_ms, round(debt.expected, 3), debt.heard, debt.is_quiet]
            yield {"receivers": {name: {
                "days": [[usual.hours, round(usual.root, 3)] for usual in receiver.days],
                "weeks": [[usual.hours, round(usual.root, 3)] for usual in receiver.weeks],
                "debt": owed,
            }}}  # fmt: skip

    def restore(self, piece: Mapping[str, Any], past: Past[HeardPayload]) -> None:  # noqa: ARG002 - its times are the wall clock's
        """Take in what was dumped. What is of another shape is left out, receiver by receiver."""
        receivers = piece.get("receivers")
        for name in self._receivers:
            with contextlib.suppress(ValueError):
                self._receivers[name] = _receiver_from(receivers.get(name) if isinstance(receivers, Mapping) else None)

    def recall(self, heard: HeardPayload) -> None:
        """It was heard before the restart: it pays its part of the debt. Of a broken hour nothing is learnt."""
        receiver = self._receivers.get(heard.judged.heard.receiver)
        if receiver is not None and not isinstance(heard.judged.heard.frame, Damaged):
            receiver.hear(1, heard.judged.heard.moment)


def _receiver_from(plain: object) -> _HearingReceiver:
    """Raises `ValueError` where it is of another shape."""
    match plain:
        case {"days": list(days), "weeks": list(weeks), "debt": debt}:
            if (len(days), len(weeks)) == (HOURS_A_DAY, HOURS_A_WEEK):
                return _HearingReceiver([*map(_usual_from, days)], [*map(_usual_from, weeks)], _debt_from(debt))
    raise ValueError("what a receiver is used to has another shape")


def _usual_from(plain: object) -> _Usual:
    match plain:
        case [int(hours), int(root) | float(root)] if hours >= 0 and 0 <= root <= math.sqrt(MOST_FRAMES_AN_HOUR):
            return _Usual(hours, float(root))
    raise ValueError("what is usual at an hour has another shape")


def _debt_from(plain: object) -> _Debt:
    match plain:
        case [int(frames) | float(frames), int(since_ms), int(expected) | float(expected), int(heard), bool(is_quiet)]:
            if 0 <= frames <= LIMIT and since_ms >= 0 and 0 <= expected < math.inf and heard >= 0:
                return _Debt(float(frames), since_ms, float(expected), heard, is_quiet)
    raise ValueError("a debt has another shape")


def with_hearing(part: Part, hearing: Hearing) -> Part:
    """How a receiver is, its socket and its hearing taken together. A socket that is not fine is said first."""
    if part.state not in {State.OK, State.WAITING} or hearing.state is State.OK:
        return part
    since_ms = part.since_ms if hearing.since_ms is None else hearing.since_ms
    return Part(part.kind, part.name, hearing.state, since_ms, hearing.why, REMEDY)
