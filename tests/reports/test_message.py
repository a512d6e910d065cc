"""Messages and what travels as one."""

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.reports import BulletinReport, BulletinType, MessageReport, read, to_object

numbers = st.text(string.ascii_letters + string.digits, min_size=1, max_size=5)
words = st.text(string.ascii_letters + string.digits + " .,;", min_size=1, max_size=60).map(str.strip)


@given(words.filter(lambda text: text[:3].lower() not in {"ack", "rej"}), numbers)
def test_a_message_comes_back_with_its_number(text: str, number: str) -> None:
    report = read("APRS", f":QA1BCD-9 :{text}{{{number}".encode())
    assert isinstance(report, MessageReport)
    assert (report.addressee, report.text, report.number) == ("QA1BCD-9", text, number)


@given(numbers.filter(lambda number: len(number) == 1 or not (number.isalpha() and number.islower())))
def test_an_answer_comes_back(number: str) -> None:
    acknowledged = read("APRS", f":QA1BCD-9 :ack{number}".encode())
    assert isinstance(acknowledged, MessageReport)
    assert (acknowledged.acknowledges, acknowledged.rejects) == (number, None)
    rejected = read("APRS", f":QA1BCD-9 :rej{number}".encode())
    assert isinstance(rejected, MessageReport)
    assert (rejected.acknowledges, rejected.rejects) == (None, number)


@pytest.mark.parametrize(
    "text",
    ["Rejoin", "Acked", "reject", "rejoin us", "acked", "ACK003", "Rej003", "ack", "rej", "ack003 thank you"],
)
def test_words_that_begin_like_an_answer_are_a_message(text: str) -> None:
    report = read("APRS", f":QA1BCD-9 :{text}".encode())
    assert isinstance(report, MessageReport)
    assert (report.acknowledges, report.rejects) == (None, None)
    assert report.text == text


@pytest.mark.parametrize(
    ("addressee", "bulletin_type", "line", "group"),
    # APRS101 chapter 14.
    [
        ("BLN0", BulletinType.GENERAL, "0", None),
        ("BLN9", BulletinType.GENERAL, "9", None),
        ("BLNA", BulletinType.ANNOUNCEMENT, "A", None),
        ("BLN1RACE", BulletinType.GROUP, "1", "RACE"),
        ("BLNARACE", BulletinType.ANNOUNCEMENT, "A", "RACE"),  # ours: a letter is an announcement, whoever it is for
        ("NWS-ADVIS", BulletinType.WEATHER_SERVICE, None, None),
    ],
)
def test_an_addressee_tells_a_bulletin(
    addressee: str, bulletin_type: BulletinType, line: str | None, group: str | None
) -> None:
    report = read("APRS", f":{addressee:9}:Start at noon".encode())
    assert isinstance(report, BulletinReport)
    assert (report.bulletin_type, report.line, report.group) == (bulletin_type, line, group)


def test_a_definition_may_be_numbered_like_any_message() -> None:
    report = read("APRS", b":QA1BCD-9 :UNIT.V,m{12")
    assert isinstance(report, MessageReport)
    assert report.number == "12"
    assert report.definition is not None
    assert report.definition.telemetry_units == ("V", "m")


# APRS101 chapter 14: one to five letters and digits. APRS11: behind a brace, what is acknowledged.
@pytest.mark.parametrize(
    ("text", "words", "number", "acknowledged"),
    [
        ("Hi{1", "Hi", "1", None),
        ("Hi{12345", "Hi", "12345", None),
        ("Hi{123456", "Hi{123456", None, None),
        ("Hi{", "Hi{", None, None),
        ("Hi{1 ", "Hi", "1", None),
        ("Hi{1 2", "Hi{1 2", None, None),
        ("Hi{M1}", "Hi", "M1", None),
        ("Hi{M1}A", "Hi", "M1", "A"),
        ("Hi{M1}ABCDE", "Hi", "M1", "ABCDE"),
        ("Hi{M1}ABCDEF", "Hi{M1}ABCDEF", None, None),
        ("Hi{}AA", "Hi{}AA", None, None),
        ("{1", None, "1", None),
        ("Hi{a}{b", "Hi{a}", "b", None),
    ],
)
def test_a_number_stands_at_the_end_behind_a_brace(
    text: str, words: str | None, number: str | None, acknowledged: str | None
) -> None:
    report = to_object(read("APRS", f":QA1BCD-9 :{text}".encode()))
    assert (report.get("text"), report.get("number"), report.get("acknowledges")) == (words, number, acknowledged)


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("ack1", "1"), ("ack12345", "12345"), ("ack123456", None), ("acka", "a"), ("ackab", None), ("ackabcde", None),
        ("ackAb", "Ab"), ("acka1", "a1"), ("ackab}", "ab"), ("ackM1}", "M1"), ("ackM1}ABCDE", "M1"),
        ("ackM1}ABCDEF", None), ("ack1 ", "1"), ("ack 1", None), ("ack", None), (" ack1", None), ("ack1}2}3", None),
    ],
)  # fmt: skip
def test_an_answer_is_a_word_and_a_number_and_nothing_else(text: str, number: str | None) -> None:
    report = to_object(read("APRS", f":QA1BCD-9 :{text}".encode()))
    assert report.get("acknowledges") == number
    assert report["text"] == text.strip()
    assert "rejects" not in report
    rejected = to_object(read("APRS", f":QA1BCD-9 :{text.replace('ack', 'rej')}".encode()))
    assert (rejected.get("rejects"), rejected.get("acknowledges")) == (number, None)


@pytest.mark.parametrize(
    ("addressee", "is_bulletin"),
    # NWS-: APRS101 chapter 14; the others from memory.
    [
        ("NWS-WARN", True), ("NWS_WARN", True), ("SKYWARN", True), ("SKY-WARN", True), ("BOM-WARN", True),
        ("NWSWARN", False), ("BOMWARN", False), ("XNWS-WARN", False), ("BLN", False), ("BLN1", True), ("BLNa", False),
        ("BLN-", False), ("BLN12", True), ("BLNABC", True), ("XBLN1", False),
    ],
)  # fmt: skip
def test_only_these_addressees_are_bulletins(addressee: str, is_bulletin: bool) -> None:
    assert (read("APRS", f":{addressee:9}:Hello".encode()).kind == "bulletin") is is_bulletin
