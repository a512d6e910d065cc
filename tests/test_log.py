"""The log, to a file and to a terminal: whatever stands in a field stays in its field and on its line."""

import io
import json
from collections.abc import Iterator

import pytest
import structlog

from gateway import log

HOSTILE = "QA1\n2026 [error] forged\r\x1b[31mred\x1b[0m\u202eright to left\u2028line\x00\x7f"
ESCAPED = r"QA1\n2026 [error] forged\r\x1b[31mred\x1b[0m\u202eright to left\u2028line\x00\x7f"


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture(autouse=True)
def _configured_as_before() -> Iterator[None]:
    before = structlog.get_config()
    yield
    structlog.configure(**before)


def written(stream: io.StringIO, event: str, **fields: object) -> str:
    """What one event writes."""
    log.configure(stream)
    structlog.get_logger().warning(event, **fields)
    return stream.getvalue()


def test_on_a_terminal_nothing_breaks_out_of_its_line_or_moves_the_cursor() -> None:
    text = written(Terminal(), HOSTILE, source="\x1b[31mred")
    assert ESCAPED in text
    assert r"\x1b[31mred" in text.partition("source")[2]
    assert text.count("\n") == 1
    assert not {"\r", "\u202e", "\u2028", "\x00", "\x7f"} & {*text}
    assert "\x1b[31mred" not in text


def test_in_a_file_each_event_is_one_object_on_a_line_of_ascii() -> None:
    text = written(io.StringIO(), HOSTILE, source=HOSTILE, count=3)
    assert text.isascii()
    assert text.count("\n") == 1
    plain = json.loads(text)
    assert (plain["event"], plain["source"], plain["count"]) == (ESCAPED, ESCAPED, 3)
    assert plain["level"] == "warning"


def test_a_field_that_is_bound_to_a_logger_is_escaped_too() -> None:
    stream = io.StringIO()
    log.configure(stream)
    with structlog.contextvars.bound_contextvars(run=HOSTILE):
        structlog.get_logger().info("started")
    assert json.loads(stream.getvalue())["run"] == ESCAPED


def test_a_field_is_cut() -> None:
    plain = json.loads(written(io.StringIO(), "said", remark="x" * 10_000))
    assert len(plain["remark"]) == log.MAXIMUM_VALUE
