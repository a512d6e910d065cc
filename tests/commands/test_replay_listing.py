"""Frames listed one by one: CSV that a spreadsheet may open, and JSON, read back with the standard library."""

import csv
import io
import json

from hypothesis import given
from hypothesis import strategies as st

from gateway.commands.replay_listing import CsvListing, listed, write_array
from gateway.frames.frame import Frame, damaged
from gateway.replay.record import Record
from tests.frames.strategies import any_frames
from tests.replay.recording import heard, records, replayed

COLUMNS = ["run", "sequence", "time", "receiver", "port", "source", "destination", "line", "verdict", "reason", "rule"]


def listing(of: list[Record], policy: str = "", against: str | None = None) -> list[dict[str, str]]:
    file = io.StringIO(newline="")
    rows = CsvListing(file, two_policies=against is not None)
    for frame in replayed(of, policy, against)[1]:
        rows.add(frame)
    return list(csv.DictReader(io.StringIO(file.getvalue(), newline="")))


def test_a_row_says_what_was_heard_and_what_was_decided() -> None:
    (row,) = listing(records((1.5, b"QA1BCD-9>APRS,QD1RPT*:!5836.00N/00355.00W>moored")))
    assert list(row) == COLUMNS
    assert row == {
        "run": "first",
        "sequence": "1",
        "time": "2026-06-06T12:00:01.500Z",
        "receiver": "vhf",
        "port": "0",
        "source": "QA1BCD-9",
        "destination": "APRS",
        "line": "QA1BCD-9>APRS,QD1RPT*:!5836.00N/00355.00W>moored",
        "verdict": "forward",
        "reason": "",
        "rule": "",
    }


def test_a_row_of_two_policies_has_both_verdicts() -> None:
    policy = "rules: [{name: none, then: keep}]"
    (row,) = listing(records((0, b"QA1BCD-9>APRS:>here")), policy, "")
    assert list(row) == [*COLUMNS, "against_verdict", "against_reason", "against_rule"]
    assert (row["verdict"], row["reason"], row["rule"], row["against_verdict"]) == ("keep", "rule", "none", "forward")


def test_no_cell_from_the_air_is_a_formula_or_breaks_the_row() -> None:
    of = [
        Record(heard(b"=HYPERLINK>+APRS:\r\n\x1b[31m\xff\x00", receiver="=cmd|calc", sequence=1)),
        Record(heard(b"-1-1>@SUM:>x", sequence=2)),
        Record(heard(damaged("a test damaged it", b"=1+1"), sequence=3)),
    ]
    rows = listing(of)
    assert len(rows) == 3
    assert (rows[0]["source"], rows[0]["destination"], rows[0]["receiver"]) == ("'=HYPERLINK", "'+APRS", "'=cmd|calc")
    assert rows[0]["line"] == "'=HYPERLINK>+APRS:"
    assert (rows[1]["source"], rows[1]["line"]) == ("'-1-1", "'-1-1>@SUM:>x")
    assert (rows[2]["reason"], rows[2]["line"]) == ("damaged", "")


@given(any_frames())
def test_any_frame_makes_one_row_of_printable_cells_and_one_object(frame: Frame) -> None:
    of = [Record(heard(frame))]
    (row,) = listing(of)
    for cell in row.values():
        assert cell.isprintable()
        assert not cell.startswith(("=", "+", "-", "@"))
    (replayed_frame,) = replayed(of)[1]
    assert json.loads(json.dumps(listed(replayed_frame)))["source"] == frame.source


@given(st.lists(st.integers() | st.text()))
def test_an_array_is_json_however_long_it_is(items: list[object]) -> None:
    file = io.StringIO()
    write_array(file, map(json.dumps, items))
    assert json.loads(file.getvalue()) == items
