"""The log, to a file and to a terminal: whatever stands in a field stays in its field and on its line."""

import io
import json
import re
from collections.abc import Iterator

import pytest
import structlog

from gateway.groundwork import log

HOSTILE = "QA1\n2026 [error] forged\r\x1b[31mred\x1b[0m\u202eright to left\u2028line\x00\x7f"
ESCAPED = r"QA1\n2026 [error] forged\r\x1b[31mred\x1b[0m\u202eright to left\u2028line\x00\x7f"


@pytest.fixture(autouse=True)
def _configured_as_before() -> Iterator[None]:
    before = structlog.get_config()
    yield
    structlog.configure(**before)


def written(form: log.LogForm, event: str, **fields: object) -> str:
    """What one event writes."""
    stream = io.StringIO()
    log.configure(log.processors_for(form, colours=form is log.LogForm.TEXT), stream)
    structlog.get_logger().warning(event, **fields)
    return stream.getvalue()


def test_on_a_terminal_nothing_breaks_out_of_its_line_or_moves_the_cursor() -> None:
    text = written(log.LogForm.TEXT, HOSTILE, source="\x1b[31mred")
    assert ESCAPED in text
    assert r"\x1b[31mred" in text.partition("source")[2]
    assert text.count("\n") == 1
    assert not {"\r", "\u202e", "\u2028", "\x00", "\x7f"} & {*text}
    assert "\x1b[31mred" not in text


def test_in_a_file_each_event_is_one_object_on_a_line_of_ascii() -> None:
    text = written(log.LogForm.JSON, HOSTILE, source=HOSTILE, count=3)
    assert text.isascii()
    assert text.count("\n") == 1
    plain = json.loads(text)
    assert (plain["event"], plain["source"], plain["count"]) == (ESCAPED, ESCAPED, 3)
    assert plain["level"] == "warning"


def test_a_field_that_is_bound_to_a_logger_is_escaped_too() -> None:
    with structlog.contextvars.bound_contextvars(run=HOSTILE):
        text = written(log.LogForm.JSON, "started")
    assert json.loads(text)["run"] == ESCAPED


def test_a_field_is_cut() -> None:
    plain = json.loads(written(log.LogForm.JSON, "said", remark="x" * 10_000))
    assert len(plain["remark"]) == log.MAXIMUM_VALUE


def test_the_time_comes_first_then_how_bad_it_is_and_what_happened() -> None:
    plain = json.loads(written(log.LogForm.JSON, "uplink is down", server="127.0.0.1:14580"))
    assert list(plain) == ["time", "level", "event", "server"]
    assert re.match(r"(\x1b\[\d+m)*20\d\d-", written(log.LogForm.TEXT, "uplink is down"))
