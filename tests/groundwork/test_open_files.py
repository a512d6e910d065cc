"""However few files a process may have open, others get no more than a part of them."""

import resource

import pytest

from gateway.bus import embedded_streams
from gateway.groundwork.open_files import OWN_FILES, share_of_files
from gateway.lines import options as lines
from gateway.web import options as web


@pytest.mark.parametrize(
    ("files", "most", "share"),
    [(OWN_FILES + 40, 100, 10), (OWN_FILES + 40, 7, 7), (OWN_FILES, 100, 1), (8, 100, 1), (-1, 100, 100)],
)
def test_it_is_a_part_of_what_the_gateway_does_not_need_itself(
    monkeypatch: pytest.MonkeyPatch, files: int, most: int, share: int
) -> None:
    monkeypatch.setattr(resource, "getrlimit", lambda _: (files, files))  # -1: without end (getrlimit(2))
    assert share_of_files(1 / 4, most) == share


def test_all_shares_together_leave_the_gateway_its_own() -> None:
    assert web.SHARE_OF_FILES + lines.SHARE_OF_FILES + embedded_streams.SHARE_OF_FILES <= 1
