"""Rates and budgets: how much may go up. Whole numbers throughout, so that a replay agrees to the last frame.

A rate is a token bucket in its virtual-scheduling form (the generic cell rate algorithm, ITU-T I.371 annex A): one
number per bucket says when it would be full again. A budget counts octets in a day or month of UTC.
"""

import time
from collections.abc import Callable, Iterable, Mapping
from datetime import date
from functools import lru_cache
from itertools import islice
from typing import Any

from gateway.frames.heard import Moment
from gateway.groundwork.duration import DAY_MS
from gateway.judge.fairness import FairShares
from gateway.judge.policy import Per, Rate
from gateway.judge.state import BucketsState, BudgetState, LimitState
from gateway.reports import Kind

MAXIMUM_BUCKETS = 16_384
"""Buckets of one rate: about 2 MB. When every one of them is in use, all further keys share one more."""

KEPT_FOR_FAIR_SOURCES = 0.5
"""The share of a bucket that is left to sources within their fair share: the others may use what is above it."""

OVERFLOW_KEY = ""
"""The bucket of the keys that found no room: no callsign is empty. Whoever floods the memory shares it."""


class TokenBuckets:
    """The buckets of one rate.

    Time is kept in units of 1/amount milliseconds, so that one token is exactly `period_ms` of them.
    """

    def __init__(self, amount: int, period_ms: int, burst: int) -> None:
        self.amount = amount
        self.token = period_ms
        self.depth = burst * period_ms
        self._full_at: dict[str, int] = {}
        self._swept_at = 0

    def __len__(self) -> int:
        return len(self._full_at)

    def admits(self, key: str, elapsed_ms: int, *, leaving: float = 0.0) -> bool:
        """Whether the bucket has a token when so large a share of its depth must be left in it."""
        now = elapsed_ms * self.amount
        used = self._level(self._bucket(key, now)) - now
        return max(used, 0) + self.token <= self.depth - int(self.depth * leaving)

    def take(self, key: str, elapsed_ms: int) -> None:
        """Take one token."""
        now = elapsed_ms * self.amount
        bucket = self._bucket(key, now)
        self._full_at[bucket] = max(self._level(bucket), now) + self.token

    def _level(self, bucket: str) -> int:
        """When the bucket is full again. A new one begins as the shared one stands: its key may have used that."""
        full_at = self._full_at.get(bucket)
        return self._full_at.get(OVERFLOW_KEY, 0) if full_at is None else full_at

    def _bucket(self, key: str, now: int) -> str:
        if key in self._full_at or len(self._full_at) < MAXIMUM_BUCKETS:
            return key
        if now - self._swept_at < self.token:
            return OVERFLOW_KEY
        # A full bucket is as good as none. One that is in use is never forgotten: it would come back full.
        self._swept_at = now
        self._full_at = {kept: full_at for kept, full_at in self._full_at.items() if full_at > now}
        return key if len(self._full_at) < MAXIMUM_BUCKETS else OVERFLOW_KEY

    def state(self) -> BucketsState:
        """All that it knows: another that takes it in answers alike for ever."""
        return BucketsState.model_construct(full_at=dict(self._full_at), swept_at=self._swept_at)

    def resume(self, state: BucketsState) -> None:
        """Take in what `state` gave out, in place of what was known."""
        self._full_at, self._swept_at = dict(state.full_at), state.swept_at

    def continue_from(self, former: "TokenBuckets", elapsed_ms: int) -> None:
        """Take over the levels of the same rate before a reload, each capped at the burst of this one."""
        for key, full_at in former._full_at.items():  # noqa: SLF001 - the same class
            used = full_at - elapsed_ms * former.amount
            left = former.depth - used
            if used > 0:
                tokens_left = min(max(left, 0) * self.token // former.token, self.depth)
                if tokens_left < self.depth:
                    self._full_at[key] = elapsed_ms * self.amount + self.depth - tokens_left


class Budget:
    """Octets of network lines in a day or month of UTC, per key. It survives a restart: see `state`."""

    def __init__(self, octets: int, period: str) -> None:
        self.octets = octets
        self.period = period
        self._number_of, self._text_of, self._number_in = _PERIODS[period]
        self._now: int | None = None
        self._used: dict[str, int] = {}

    def __len__(self) -> int:
        return len(self._used)

    def admits(self, key: str, time_ms: int, octets: int, *, leaving: float = 0.0) -> bool:
        """Whether `octets` fit into what is left of the period that `time_ms` lies in, less a share of it all."""
        self._turn(time_ms)
        return self._used.get(self._key(key), 0) + octets <= self.octets - int(self.octets * leaving)

    def take(self, key: str, time_ms: int, octets: int) -> None:
        """Use `octets`."""
        self._turn(time_ms)
        key = self._key(key)
        self._used[key] = self._used.get(key, 0) + octets

    def state(self) -> dict[str, Any]:
        """What was used and in which period, as plain values."""
        return {"period": "" if self._now is None else self._text_of(self._now), "used": dict(self._used)}

    def restore(self, state: Mapping[str, object]) -> None:
        """Take in what `state` gave out, whole or in several parts. What is of another shape is left out."""
        period, used = state.get("period"), state.get("used")
        if not isinstance(period, str) or not isinstance(used, Mapping):
            return
        try:
            now = self._number_in(period)
        except ValueError:
            return
        if now != self._now:
            self._now, self._used = now, {}
        room = MAXIMUM_BUCKETS + 1 - len(self._used)
        pairs = ((key, value) for key, value in used.items() if isinstance(key, str) and _is_count(value))
        self._used.update(islice(pairs, room))

    def _turn(self, time_ms: int) -> None:
        now = self._number_of(time_ms // DAY_MS)
        if self._now is None or now > self._now:
            self._now, self._used = now, {}
        elif now < self._now - 1:
            self._now = now  # the clock had run far ahead: what was used stays used, and the period ends when it should
        # Set back by no more than a period, a clock opens no second budget.

    def _key(self, key: str) -> str:
        return key if key in self._used or len(self._used) < MAXIMUM_BUCKETS else OVERFLOW_KEY


_FIRST_DAY = date(1970, 1, 1)


@lru_cache(maxsize=4)
def _month_of(day: int) -> int:
    """Months since the year 0, of a day that is counted from 1 January 1970."""
    moment = time.gmtime(day * DAY_MS // 1000)
    return moment.tm_year * 12 + moment.tm_mon - 1


def _month_in(text: str) -> int:
    first = date.fromisoformat(f"{text}-01")
    return first.year * 12 + first.month - 1


_PERIODS: dict[str, tuple[Callable[[int], int], Callable[[int], str], Callable[[str], int]]] = {
    "day": (
        lambda day: day,
        lambda number: time.strftime("%Y-%m-%d", time.gmtime(number * DAY_MS // 1000)),
        lambda text: (date.fromisoformat(text) - _FIRST_DAY).days,
    ),
    "month": (_month_of, lambda number: f"{number // 12:04}-{number % 12 + 1:02}", _month_in),
}
"""Periods are numbered in turn: the number of the one a day lies in, the text of a number, and the number in a text."""


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


class RateLimit:
    """One entry of `rates:` at work: buckets or a budget, and fair shares where several sources use one bucket."""

    def __init__(self, rate: Rate) -> None:
        allow = rate.allow
        burst = rate.burst or allow.amount
        self.name = rate.name
        self.per = rate.per
        self._reserved_kinds = frozenset(rate.reserve.kinds) if rate.reserve else frozenset()
        self._reserved_share = rate.reserve.share if rate.reserve else 0.0
        self.budget = Budget(allow.amount, allow.period) if allow.octets else None
        self.buckets = None if allow.octets else TokenBuckets(allow.amount, allow.period_ms, burst)
        self._shares: dict[str, FairShares] = {}
        self._new_shares = (
            None if allow.octets or rate.per is Per.SOURCE else lambda: FairShares(allow.amount, allow.period_ms)
        )

    def admits(self, key: str, source: str, moment: Moment, octets: int, *, kind: Callable[[], Kind]) -> bool:
        """Whether there is room for a frame of `source` whose line has so many octets.

        `kind` is asked only where it counts: where no more is left than is set aside for some kinds. Asking for room
        counts as offering the frame.
        """
        leaving = 0.0
        shares = self._shares_of(key)
        if shares is not None and not shares.offer(source, moment.elapsed_ms):
            leaving = KEPT_FOR_FAIR_SOURCES
        if self._has_room(key, moment, octets, max(leaving, self._reserved_share)):
            return True
        if leaving >= self._reserved_share or not self._has_room(key, moment, octets, leaving):
            return False
        return kind() in self._reserved_kinds

    def _has_room(self, key: str, moment: Moment, octets: int, leaving: float) -> bool:
        if self.budget is not None:
            return self.budget.admits(key, moment.time_ms, octets, leaving=leaving)
        return self.buckets is not None and self.buckets.admits(key, moment.elapsed_ms, leaving=leaving)

    def take(self, key: str, source: str, moment: Moment, octets: int) -> None:
        """Use that room."""
        if self.budget is not None:
            self.budget.take(key, moment.time_ms, octets)
        elif self.buckets is not None:
            self.buckets.take(key, moment.elapsed_ms)
            shares = self._shares_of(key)
            if shares is not None:
                shares.took(source, moment.elapsed_ms)

    def state(self) -> LimitState:
        """All that it knows: another that takes it in answers alike for ever."""
        return LimitState.model_construct(
            name=self.name,
            per=self.per,
            buckets=None if self.buckets is None else self.buckets.state(),
            budget=None if self.budget is None else BudgetState(**self.budget.state()),
            shares={key: shares.state() for key, shares in self._shares.items()},
        )

    def resume(self, state: LimitState) -> None:
        """Take in what `state` gave out, in place of what was known."""
        if self.buckets is not None and state.buckets is not None:
            self.buckets.resume(state.buckets)
        if self.budget is not None and state.budget is not None:
            self.budget.restore({"period": state.budget.period, "used": state.budget.used})
        if self._new_shares is not None:
            for key, shares in state.shares.items():
                self._shares[key] = self._new_shares()
                self._shares[key].resume(shares)

    def _shares_of(self, key: str) -> FairShares | None:
        if self._new_shares is None:
            return None
        shares = self._shares.get(key)
        if shares is None:
            shares = self._shares[key] = self._new_shares()
        return shares

    def continue_from(self, former: "RateLimit", elapsed_ms: int) -> None:
        """Take over what the rate of the same name and `per` had, before a reload.

        Who was ahead of a fair share is forgotten: the level of the bucket is not, so nothing is won by it.
        """
        if self.buckets is not None and former.buckets is not None:
            self.buckets.continue_from(former.buckets, elapsed_ms)
        elif self.budget is not None and former.budget is not None and self.budget.period == former.budget.period:
            self.budget.restore(former.budget.state())


def continue_rates(rates: Iterable[RateLimit], former: Iterable[RateLimit], elapsed_ms: int) -> None:
    """After a reload a rate with the same name and `per` keeps its level; others start full."""
    before = {(limit.name, limit.per): limit for limit in former}
    for limit in rates:
        if (earlier := before.get((limit.name, limit.per))) is not None:
            limit.continue_from(earlier, elapsed_ms)
