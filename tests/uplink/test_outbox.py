from collections.abc import Sequence

from hypothesis import given
from hypothesis import strategies as st

from gateway.uplink.outbox import LineOutbox, Outcome
from tests.uplink.posting import Ticket

FRESHNESS_MS = 10_000
LIMIT = 1_000


class Ledger:
    """Hears of outcomes, and checks at each that the outbox's books balance."""

    def __init__(self) -> None:
        self.ends: list[tuple[Outcome, object]] = []
        self.outbox: LineOutbox[Ticket] = LineOutbox(freshness_ms=FRESHNESS_MS, limit_octets=LIMIT, report=self._report)

    def _report(self, outcome: Outcome, tickets: Sequence[Ticket]) -> None:
        assert tickets
        self.ends += [(outcome, ticket.name) for ticket in tickets]
        assert self.balances()

    def balances(self) -> bool:
        return self.outbox.offered == sum(self.outbox.counts.values()) + self.outbox.waiting

    def send(self, now_ms: int, octets: int = 10**9) -> list[object]:
        taken = self.outbox.take_fresh(now_ms, octets)
        self.outbox.sent(taken)
        self.ends += [(Outcome.SENT, ticket.name) for ticket in taken]
        return [ticket.name for ticket in taken]


def a_line(name: object, since_ms: int = 0, octets: int = 100) -> Ticket:
    return Ticket(b"x" * octets, since_ms, name)


def test_lines_leave_in_the_order_in_which_they_came() -> None:
    ledger = Ledger()
    ledger.outbox.put([a_line(1), a_line(2)])
    ledger.outbox.put([a_line(3)])
    assert ledger.send(0) == [1, 2, 3]
    assert ledger.outbox.octets == 0


def test_a_batch_ends_with_the_line_that_fills_it() -> None:
    ledger = Ledger()
    ledger.outbox.put([a_line(number) for number in range(5)])
    assert ledger.send(0, octets=150) == [0, 1]
    assert ledger.outbox.octets == 300


def test_a_line_is_fresh_to_the_last_millisecond_and_late_from_the_next() -> None:
    ledger = Ledger()
    ledger.outbox.put([a_line("a", since_ms=500)])
    assert ledger.outbox.expires_ms == 500 + FRESHNESS_MS + 1
    ledger.outbox.expire(500 + FRESHNESS_MS)
    assert ledger.ends == []
    ledger.outbox.expire(500 + FRESHNESS_MS + 1)
    assert ledger.ends == [(Outcome.LATE, "a")]
    assert ledger.outbox.expires_ms is None


def test_a_late_line_behind_a_fresh_one_never_leaves() -> None:
    ledger = Ledger()
    ledger.outbox.put([a_line("fresh", since_ms=9_000), a_line("late", since_ms=0), a_line("next", since_ms=9_000)])
    now_ms = FRESHNESS_MS + 1
    ledger.outbox.expire(now_ms)
    assert ledger.send(now_ms) == ["fresh"]
    ledger.outbox.expire(now_ms)
    assert ledger.send(now_ms) == ["next"]
    assert ledger.ends == [(Outcome.SENT, "fresh"), (Outcome.LATE, "late"), (Outcome.SENT, "next")]


def test_over_its_bound_the_oldest_are_dropped() -> None:
    ledger = Ledger()
    ledger.outbox.put([a_line(number) for number in range(12)])
    ledger.outbox.trim()
    assert ledger.ends == [(Outcome.DROPPED, 0), (Outcome.DROPPED, 1)]
    assert ledger.outbox.octets == LIMIT


def test_everything_that_waits_can_come_to_one_end() -> None:
    ledger = Ledger()
    ledger.outbox.put([a_line(1), a_line(2)])
    ledger.outbox.give_up(Outcome.REFUSED)
    assert ledger.ends == [(Outcome.REFUSED, 1), (Outcome.REFUSED, 2)]
    ledger.outbox.give_up(Outcome.STOPPED)
    assert ledger.outbox.counts[Outcome.STOPPED] == 0


STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("put"), st.lists(st.tuples(st.integers(-15_000, 0), st.integers(3, 512)), max_size=8)),
        st.tuples(st.just("send"), st.integers(1, 2_000)),
        st.tuples(st.just("wait"), st.integers(0, 6_000)),
        st.tuples(st.just("refuse"), st.none()),
    ),
    max_size=40,
)


@given(STEPS)
def test_the_books_balance_and_every_line_ends_once(steps: list[tuple[str, object]]) -> None:
    ledger = Ledger()
    heard_ms: list[int] = []
    now_ms = 20_000
    for step, value in steps:
        if step == "put" and isinstance(value, list):
            batch = [a_line(len(heard_ms) + place, now_ms + age, size) for place, (age, size) in enumerate(value)]
            heard_ms += [ticket.since_ms for ticket in batch]
            ledger.outbox.put(batch)
            ledger.outbox.trim()
        elif step == "send" and isinstance(value, int):
            ledger.outbox.expire(now_ms)
            for name in ledger.send(now_ms, value):
                assert isinstance(name, int)
                assert now_ms - heard_ms[name] <= FRESHNESS_MS
        elif step == "wait" and isinstance(value, int):
            now_ms += value
            ledger.outbox.expire(now_ms)
        else:
            ledger.outbox.give_up(Outcome.REFUSED)
        assert ledger.outbox.octets <= LIMIT
        assert ledger.balances()
    ledger.outbox.give_up(Outcome.STOPPED)
    assert ledger.outbox.octets == 0
    assert sorted(name for _, name in ledger.ends if isinstance(name, int)) == list(range(len(heard_ms)))
