from hypothesis import given
from hypothesis import strategies as st

from gateway.uplink.back_off import BackOff


def a_back_off(servers: int = 1, random: float = 1.0) -> BackOff:
    return BackOff(servers=servers, first_ms=1_000, cap_ms=60_000, random=lambda: random)


def test_the_ceiling_doubles_up_to_the_cap() -> None:
    back_off = a_back_off()
    assert [back_off.failed() for _ in range(9)] == [1_000, 2_000, 4_000, 8_000, 16_000, 32_000] + [60_000] * 3


def test_it_doubles_only_once_every_server_has_failed_and_takes_them_in_turn() -> None:
    back_off = a_back_off(servers=3)
    tried = [(back_off.server, back_off.failed()) for _ in range(7)]
    assert tried == [(0, 1_000), (1, 1_000), (2, 1_000), (0, 2_000), (1, 2_000), (2, 2_000), (0, 4_000)]


def test_after_a_connection_that_stood_well_the_pause_is_short_again_at_the_next_server() -> None:
    back_off = a_back_off(servers=2)
    for _ in range(9):
        back_off.failed()
    assert back_off.server == 1
    back_off.steady()
    assert back_off.failed() == 1_000
    assert back_off.server == 0


def test_the_pause_is_drawn_from_nothing_up_to_the_ceiling() -> None:
    assert a_back_off(random=0.0).failed() == 0
    assert a_back_off(random=0.25).failed() == 250


@given(st.integers(1, 5), st.integers(0, 5_000), st.floats(0, 1, exclude_max=True))
def test_it_never_exceeds_the_cap_however_long_the_network_is_away(servers: int, failures: int, random: float) -> None:
    back_off = a_back_off(servers, random)
    for _ in range(failures):
        assert 0 <= back_off.failed() <= 60_000
    assert back_off.server == failures % servers
