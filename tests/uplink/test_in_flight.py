from hypothesis import given
from hypothesis import strategies as st

from gateway.uplink.in_flight import InFlight


def test_what_is_acknowledged_is_forgotten() -> None:
    in_flight = InFlight()
    in_flight.handed_over(b"one\r\n", 100)
    in_flight.handed_over(b"two\r\nthree\r\n", 200)
    assert (in_flight.lines, in_flight.since_ms) == (3, 100)
    in_flight.review(outstanding_octets=12)
    assert (in_flight.lines, in_flight.since_ms, in_flight.writes) == (2, 200, 1)
    in_flight.review(outstanding_octets=0)
    assert (in_flight.lines, in_flight.since_ms, in_flight.writes) == (0, None, 0)
    assert in_flight.octets == 17


def test_a_line_is_in_flight_until_its_last_octet_is_acknowledged() -> None:
    in_flight = InFlight()
    in_flight.handed_over(b"one\r\ntwo\r\n", 0)
    in_flight.review(outstanding_octets=6)
    assert in_flight.lines == 2
    in_flight.review(outstanding_octets=5)
    assert in_flight.lines == 1
    in_flight.review(outstanding_octets=1)
    assert in_flight.lines == 1


def test_nobody_waits_for_the_login() -> None:
    in_flight = InFlight()
    in_flight.handed_over_login(40)
    in_flight.review(outstanding_octets=40)
    assert (in_flight.octets, in_flight.lines, in_flight.since_ms) == (40, 0, None)


@given(
    st.integers(0, 60),
    st.lists(st.tuples(st.lists(st.integers(0, 30), min_size=1, max_size=5), st.integers(0, 200)), max_size=20),
)
def test_the_count_is_that_of_the_line_ends_among_the_outstanding_octets(
    login: int, writes: list[tuple[list[int], int]]
) -> None:
    in_flight = InFlight()
    in_flight.handed_over_login(login)
    stream = b"." * login
    outstanding = 0
    for now_ms, (lengths, acknowledged) in enumerate(writes):
        lines = b"".join(b"x" * length + b"\r\n" for length in lengths)
        in_flight.handed_over(lines, now_ms)
        stream += lines
        outstanding = max(0, outstanding + len(lines) - acknowledged)
        in_flight.review(outstanding)
        tail = stream[len(stream) - outstanding :]
        assert in_flight.lines == tail.count(b"\n")
        assert (in_flight.since_ms is None) == (not tail)
        assert in_flight.writes <= len(tail)
