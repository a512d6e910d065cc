"""The frame check sequence, held to the catalogue and to a general CRC library."""

import random

import pytest
from crccheck.crc import CrcX25  # type: ignore[import-untyped] # it ships no types
from hypothesis import given
from hypothesis import strategies as st

from gateway.frames.fcs import fcs, strip_fcs
from tests.check_sequence import append_fcs


def test_the_catalogued_check_value_comes_out() -> None:
    # X.25 FCS: ITU-T V.42, ISO 3309; catalogued check value of "123456789".
    assert fcs(b"123456789") == 0x906E


def test_it_agrees_with_a_general_crc_library() -> None:
    chance = random.Random(3309)
    for _ in range(5000):
        octets = chance.randbytes(chance.randrange(0, 330))
        assert fcs(octets) == CrcX25.calc(octets)


@given(st.binary(max_size=400))
def test_a_good_sequence_is_stripped(octets: bytes) -> None:
    assert strip_fcs(append_fcs(octets)) == octets


def test_the_low_octet_travels_first() -> None:
    assert append_fcs(b"123456789")[-2:] == b"\x6e\x90"


@given(st.binary(max_size=100), st.data())
def test_any_one_bit_that_was_turned_is_noticed(octets: bytes, data: st.DataObject) -> None:
    sent = bytearray(append_fcs(octets))
    bit = data.draw(st.integers(0, len(sent) * 8 - 1))
    sent[bit // 8] ^= 1 << bit % 8
    assert strip_fcs(bytes(sent)) is None


@pytest.mark.parametrize("octets", [b"", b"\x00", b"\xff"])
def test_what_is_too_short_has_no_sequence(octets: bytes) -> None:
    assert strip_fcs(octets) is None
