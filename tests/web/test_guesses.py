"""Wrong tokens are slowed by address and said once a minute. The figures are ours."""

from gateway.web.guesses import ADDRESSES, FORGET_MS, LONGEST_PAUSE_MS, SAY_MS, Guesses


def test_the_first_slips_cost_nothing_and_then_each_doubles_the_pause() -> None:
    guesses = Guesses()
    pauses: list[int] = []
    for _ in range(12):
        guesses.wrong("192.0.2.1", 0)
        pauses.append(guesses.pause_ms("192.0.2.1", 0) // 1000)
    assert pauses == [0, 0, 0, 1, 2, 4, 8, 16, 32, 60, 60, 60]
    assert LONGEST_PAUSE_MS == 60_000


def test_a_pause_passes_and_an_address_that_keeps_quiet_begins_anew() -> None:
    guesses = Guesses()
    for _ in range(4):
        guesses.wrong("192.0.2.1", 0)
    assert guesses.pause_ms("192.0.2.1", 999) == 1
    assert guesses.pause_ms("192.0.2.1", 1000) == 0
    guesses.wrong("192.0.2.1", FORGET_MS + 1)
    assert guesses.pause_ms("192.0.2.1", FORGET_MS + 1) == 0


def test_others_do_not_wait_for_it_and_it_costs_no_more_memory_than_stated() -> None:
    guesses = Guesses()
    for number in range(2 * ADDRESSES):
        for _ in range(4):
            guesses.wrong(f"address {number}", 0)
    assert guesses.pause_ms("192.0.2.2", 0) == 0
    assert sum(guesses.pause_ms(f"address {number}", 0) > 0 for number in range(2 * ADDRESSES)) == ADDRESSES


def test_they_are_to_be_said_once_a_minute_with_their_number() -> None:
    guesses = Guesses()
    assert [guesses.wrong("a", now_ms) for now_ms in (0, 1, SAY_MS - 1, SAY_MS)] == [1, 0, 0, 3]
