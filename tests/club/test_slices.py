"""Into which slice a frame falls: by who sent it, and by nothing that differs between those who heard it."""

import string
from collections import Counter
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.club import message
from gateway.club.message import Handed
from gateway.club.slices import ALL, SLICES, Slices, read_slices, slice_of, slice_of_sender
from gateway.frames import tnc2
from gateway.frames.frame import Frame, damaged

CALLSIGNS = st.from_regex(r"Q[A-Z][0-9][A-Z]{3}(-([1-9]|1[0-5]))?", fullmatch=True)
PATHS = st.sampled_from([b"", b",WIDE1-1", b",QD1RPT*,WIDE2-1", b",QD1RPT,QD2RPT*"])


def frame(text: bytes) -> Frame:
    read = tnc2.read(text)
    assert isinstance(read, Frame)
    return read


def test_the_number_is_that_of_the_standard_so_it_is_the_same_everywhere_and_in_every_version() -> None:
    # the check value of CRC-32 in the catalogue of CRC algorithms (reveng), of the digits 1 to 9: cbf43926
    assert slice_of_sender("123456789") == 0xCBF43926 % SLICES


def test_stations_fall_into_all_slices_about_alike() -> None:
    callsigns = [f"Q{a}{d}{b}CD" for a, d, b in product(string.ascii_uppercase, "0123456789", string.ascii_uppercase)]
    counts = Counter(map(slice_of_sender, callsigns))
    assert sorted(counts) == list(range(SLICES))
    assert max(counts.values()) < 1.3 * min(counts.values())


@given(CALLSIGNS, PATHS, PATHS, st.binary(max_size=40))
def test_copies_of_a_transmission_fall_into_one_slice_whatever_way_they_came(
    callsign: str, path: bytes, other: bytes, information: bytes
) -> None:
    one, two = (callsign.encode() + b">APRS" + way + b":>" + information for way in (path, other))
    inside = b"QB1RLY>APRS,QD1RPT*:}" + one
    found = {slice_of(tnc2.read(text)) for text in (one, two, inside)}
    assert found == {slice_of_sender(callsign.removesuffix("-0"))}


@given(CALLSIGNS, PATHS, st.binary(max_size=40))
def test_a_hub_reckons_as_the_post_did(callsign: str, path: bytes, information: bytes) -> None:
    heard = tnc2.read(callsign.encode() + b">APRS" + path + b":" + information)
    octets = message.write(Handed("vhf", 0, 1_780_747_200_000, None, heard))
    assert slice_of(message.read(octets).frame) == slice_of(heard)


def test_what_cannot_be_read_has_the_first_slice() -> None:
    assert slice_of(damaged("no header", b"\x00\xff")) == 0


def test_a_frame_whose_inside_cannot_be_read_falls_where_its_own_sender_does() -> None:
    assert slice_of(frame(b"QB1RLY>APRS:}no header here")) == slice_of_sender("QB1RLY")


def test_hubs_of_the_same_slices_stand_by_for_one_another_and_share_their_names() -> None:
    assert Slices.of([3, 1, 1]) == Slices.of([1, 3])
    assert Slices.of([3, 1]).name("lease") == "lease.1-3"
    assert ALL.name("lease") == "lease", "a club that is not divided keeps its names"
    assert Slices.of(range(16)).are_all


@pytest.mark.parametrize(
    ("one", "other", "overlap"),
    [([0, 1], [0, 1], False), ([0, 1], [2], False), ([0, 1], [1, 2], True), ([0], range(16), True)],
)
def test_slices_overlap_where_they_share_some_and_are_not_the_same(
    one: list[int], other: list[int], overlap: bool
) -> None:
    assert Slices.of(one).overlap(Slices.of(other)) is overlap
    assert Slices.of(other).overlap(Slices.of(one)) is overlap


def test_a_beat_says_which_and_reads_back() -> None:
    for slices in (ALL, Slices.of([4]), Slices.of([0, 15])):
        assert read_slices(slices.to_octets()) == slices


@pytest.mark.parametrize(
    "octets",
    [b"", b"[]", b"[16]", b"[-1]", b"[1.0]", b"[true]", b'["1"]', b"{}", b"1", b"[" * 30, b"[0," * 9, b"\xff"],
)
def test_what_says_no_slices_is_passed_over(octets: bytes) -> None:
    assert read_slices(octets) is None


def test_slices_out_of_bounds_are_refused() -> None:
    for numbers in ([], [-1], [16]):
        with pytest.raises(ValueError, match="from 0 to 15"):
            Slices.of(numbers)
