"""The heard object, held to its schema; JSON is read back with the standard library (RFC 8259)."""

import base64
import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.feed.heard_object import HeardPayload, encode, encoded_heard_object, heard_object
from gateway.feed.reader import ReportReader
from gateway.feed.schemas import Schema
from gateway.frames.frame import Damaged
from gateway.frames.heard import Heard, Moment, Place
from gateway.frames.plain import PlainObject, from_object
from gateway.judge import conditions
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.judge import Judge
from gateway.judge.policy import Policy
from gateway.judge.verdict import Judged, Reason
from gateway.reports import read, to_object
from tests.frames.strategies import any_frames, ui_frames
from tests.judged_frames import Post
from tests.payload_schemas import held_to
from tests.reports.test_worked_examples import ROWS

BOAT = b"QA1BCD-9>APRS,QD1RPT*,WIDE2-1:!5836.00N/00355.00W>088/036"
RELAYED = b"QD2GAT>APZ001,QD1RPT*:}QB2BCD-7>APRS,TCPIP,QD2GAT*:>on the water"


def test_a_frame_judged_forward_says_so_and_names_the_policy() -> None:
    assert heard_object(Post().hear(BOAT)) == {
        "run": "0f1e2d3c4b5a",
        "sequence": 1,
        "elapsed_ms": 0,
        "time": "2026-06-06T12:00:00.000Z",
        "receiver": "vhf",
        "source": "QA1BCD-9",
        "destination": "APRS",
        "path": ["QD1RPT*", "WIDE2-1"],
        "information": "!5836.00N/00355.00W>088/036",
        "verdict": "forward",
        "policy": "receive-only@3fa9c1",
    }


def test_a_frame_kept_by_a_rule_says_why_and_by_which() -> None:
    plain = heard_object(Post().hear(BOAT, reason=Reason.RULE, rule="bench-beacon"))
    assert (plain["verdict"], plain["reason"], plain["rule"]) == ("keep", "rule", "bench-beacon")


def test_what_came_relayed_is_the_innermost_frame_and_names_its_relay_in_the_report() -> None:
    judged = Post().hear(RELAYED, reason=Reason.THIRD_PARTY_INTERNET)
    plain = heard_object(judged, {"kind": "status", "text": "on the water"})
    assert (plain["source"], plain["outer"]["source"]) == ("QB2BCD-7", "QD2GAT")
    assert plain["report"] == {"kind": "status", "text": "on the water", "relayed_by": "QD2GAT"}
    held_to(Schema.HEARD, encode(plain))


def test_the_report_of_a_frame_from_its_own_sender_names_no_relay() -> None:
    assert heard_object(Post().hear(BOAT), {"kind": "position"})["report"] == {"kind": "position"}


def test_a_frame_is_shown_with_what_the_reports_room_reads_in_it() -> None:
    judged = Post().hear(b"QA1BCD-9>APRS:!4903.50N/07201.75W-")  # ours, after APRS101 chapter 8
    plain = heard_object(judged, to_object(read("APRS", b"!4903.50N/07201.75W-")))
    assert held_to(Schema.HEARD, encode(plain))["report"]["kind"] == "position"


def test_what_was_damaged_is_shown_by_its_octets() -> None:
    payload = HeardPayload(Post().hear(b"no frame at all")).encoded()
    plain = held_to(Schema.HEARD, payload)
    assert (plain["damage"], plain["octets_base64"]) == (
        "the line has no colon after its header",
        "bm8gZnJhbWUgYXQgYWxs",
    )
    assert "source" not in plain


@given(st.one_of(st.binary(max_size=600), st.binary(max_size=300).map(lambda information: BOAT + information)))
def test_whatever_is_heard_becomes_json_of_the_schema_from_which_it_can_be_read_again(line: bytes) -> None:
    judged = _judge(line)
    plain = held_to(Schema.HEARD, HeardPayload(judged).encoded())
    assert from_object(plain) == judged.heard


@given(st.binary(max_size=100), st.integers(0, 2**40))
def test_whatever_went_up_becomes_json_of_the_schema_with_its_exact_octets(information: bytes, sent_at_ms: int) -> None:
    line = b"QA1BCD-9>APRS,qAO,QX1GAT-10:>" + information.replace(b"\r", b"").replace(b"\n", b"")
    payload = HeardPayload(Post().hear(BOAT), line=line + b"\r\n").forwarded(sent_at_ms)
    plain = held_to(Schema.FORWARDED, payload)
    assert _octets(plain, "line") == line


def test_an_object_is_encoded_once_for_all_that_carry_it() -> None:
    asked = []

    def read(judged: Judged) -> PlainObject:
        asked.append(judged)
        return {"kind": "position"}

    payload = HeardPayload(Post().hear(BOAT), read)
    assert asked == []
    assert payload.encoded() is payload.encoded()
    assert json.loads(payload.encoded_with({"line": "x"})) == {**json.loads(payload.encoded()), "line": "x"}
    assert len(asked) == 1


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_a_number_that_json_has_no_word_for_becomes_null(number: float) -> None:
    assert encode({"speed_kmh": number}) == b'{"speed_kmh":null}'


@given(st.text(st.characters(codec="utf-8")))
def test_text_comes_back_as_it_was(text: str) -> None:
    assert json.loads(encode({"text": text})) == {"text": text}


POST = conditions.Post("QX1GAT-10", 58.6, -3.9167)
JUDGE = Judge(CompiledPolicy(Policy(version=1, name="empty"), "000000", POST))
READER = ReportReader(POST)

heards = st.builds(
    Heard,
    st.text(st.characters(codec="utf-8")),
    st.integers(1, 2**53),
    st.builds(Moment, st.integers(-(2**40), 2**40), st.integers(0, 2**47)),
    st.text(st.characters(codec="utf-8")),
    st.sampled_from([0, 0, 3]),
    ui_frames | any_frames() | st.builds(Damaged, st.just("it is noise"), st.binary(max_size=9)),
    st.sampled_from([None, None, Place(57.5, -3.0)]),
)


@given(heards)
def test_the_short_way_to_json_gives_the_octets_of_the_long_one(heard: Heard) -> None:
    judged = JUDGE.judge(heard)
    report = READER(judged)
    assert encoded_heard_object(judged, report) == encode(heard_object(judged, report))
    assert encoded_heard_object(judged) == encode(heard_object(judged))


def test_the_short_way_to_json_gives_the_octets_of_the_long_one_for_every_worked_example() -> None:
    for row in ROWS:
        heard = b"QA1BCD-9>" + row.destination.encode() + b",QD1RPT*:" + row.information
        for judged in (Post().hear(heard), Post().hear(heard, reason=Reason.RULE, rule='a "rule"')):
            report = READER(judged)
            assert encoded_heard_object(judged, report) == encode(heard_object(judged, report))


def _judge(line: bytes) -> Judged:
    judged = Post().hear(line)
    return judged if isinstance(judged.heard.frame, Damaged) else Post().hear(line, reason=Reason.DUPLICATE)


def _octets(plain: dict[str, Any], name: str) -> bytes:
    exact = plain.get(f"{name}_base64")
    return base64.b64decode(str(exact)) if exact is not None else str(plain[name]).encode("utf-8")
