import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.web import session
from tests.judged_frames import NOON_MS
from tests.web.opened import TOKEN

ANOTHER_TOKEN = TOKEN + "-renewed"


def test_a_session_holds_until_its_time_is_over() -> None:
    issued = session.issue(TOKEN, NOON_MS)
    end_ms = NOON_MS + session.SESSION_SECONDS * 1000
    assert session.holds(TOKEN, issued, NOON_MS)
    assert session.holds(TOKEN, issued, end_ms - 1)
    assert not session.holds(TOKEN, issued, end_ms)


def test_another_token_ends_all_sessions() -> None:
    assert not session.holds(ANOTHER_TOKEN, session.issue(TOKEN, NOON_MS), NOON_MS)


def test_a_session_cannot_be_made_to_last_longer() -> None:
    until, _, signature = session.issue(TOKEN, NOON_MS).partition(".")
    assert not session.holds(TOKEN, f"{int(until) + 1}.{signature}", NOON_MS)


def test_a_session_does_not_hold_the_token() -> None:
    assert TOKEN not in session.issue(TOKEN, NOON_MS)


@given(st.text(max_size=100))
def test_any_text_at_all_is_no_session(text: str) -> None:
    assert not session.holds(TOKEN, text, NOON_MS)


@given(st.text(max_size=100))
def test_any_text_at_all_is_no_token(text: str) -> None:
    assert session.is_token(TOKEN, text) == (text == TOKEN)


@pytest.mark.parametrize("shown", ["", TOKEN[:-1], TOKEN + " ", TOKEN.upper()])
def test_nearly_the_token_is_not_the_token(shown: str) -> None:
    assert not session.is_token(TOKEN, shown)
