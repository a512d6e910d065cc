"""Messages and what travels as one."""

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.reports import BulletinReport, BulletinType, MessageReport, read

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
