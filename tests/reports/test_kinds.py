"""What kind a report is, told from its first octets: the same as reading all of it says, whatever follows."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.reports import Kind, kind_of, kinds, read
from tests.reports.examples.row import Row
from tests.reports.test_hostile_information import PIECES
from tests.reports.test_worked_examples import ROWS

SURE = [(form, kind) for forms in kinds._SURE.values() for form, kind in forms]  # noqa: SLF001 - each of them is tried

_TAILS = st.lists(PIECES | st.binary(max_size=12), max_size=6).map(b"".join)


@pytest.mark.parametrize("row", ROWS, ids=[row.source for row in ROWS])
def test_of_every_worked_example(row: Row) -> None:
    assert kind_of(row.destination, row.information) is read(row.destination, row.information).kind


@pytest.mark.parametrize(("form", "kind"), SURE, ids=[form.pattern.decode() for form, _ in SURE])
@given(data=st.data())
@settings(max_examples=40, deadline=None)
def test_what_follows_a_sure_form_does_not_change_the_kind(
    form: re.Pattern[bytes], kind: Kind, data: st.DataObject
) -> None:
    first = next(octet for octet, forms in kinds._SURE.items() if any(one is form for one, _ in forms))  # noqa: SLF001
    information = first + data.draw(st.from_regex(form, fullmatch=True))[1:] + data.draw(_TAILS)
    assert kind_of("APRS", information) is read("APRS", information).kind
    if form.match(information) is not None:
        assert kind_of("APRS", information) is kind


@given(
    destination=st.from_regex(kinds._MIC_E_LATITUDE, fullmatch=True) | st.from_regex(r"[0-9A-LP-Z]{6}", fullmatch=True),  # noqa: SLF001
    first=st.sampled_from([b"`", b"'"]),
    octets=st.from_regex(kinds._MIC_E, fullmatch=True) | st.binary(min_size=7, max_size=9),  # noqa: SLF001
    tail=_TAILS,
)
@settings(max_examples=200, deadline=None)
def test_of_mic_e_reports(destination: str, first: bytes, octets: bytes, tail: bytes) -> None:
    information = first + octets[1:] + tail
    assert kind_of(destination, information) is read(destination, information).kind


@pytest.mark.parametrize("row", ROWS, ids=[row.source for row in ROWS])
def test_of_every_worked_example_with_an_octet_changed(row: Row) -> None:
    information, destination = row.information, row.destination
    for place in range(len(information)):
        for octet in b"0 _:?":
            changed = information[:place] + bytes([octet]) + information[place + 1 :]
            assert kind_of(destination, changed) is read(destination, changed).kind


def test_what_is_too_long_to_go_up_is_of_no_kind() -> None:
    assert kind_of("APRS", b">" + b"x" * 511) is Kind.STATUS
    assert kind_of("APRS", b">" + b"x" * 512) is Kind.UNKNOWN
