"""Symbols: every code has a name, and destinations name the symbols that the standard's tables give."""

import pytest

from gateway.reports import symbol


def test_every_printable_code_has_a_name_in_both_tables() -> None:
    codes = {chr(octet) for octet in range(33, 127)}
    for names in symbol.NAMES.values():
        assert set(names) == codes
        assert all(names.values())


@pytest.mark.parametrize(
    ("text", "name"),
    # APRS101 appendix 2, from memory; the words are ours.
    [
        ("/-", "house"),
        ("/>", "car"),
        ("/_", "weather station"),
        ("/a", "ambulance"),
        ("/\\", "direction finder"),
        ("\\!", "emergency"),
        ("\\N", "navigation buoy"),
        ("\\\\", "reserved"),
        ("\\L", "lighthouse"),
    ],
)
def test_a_symbol_has_its_name(text: str, name: str) -> None:
    assert symbol.name(text) == name
    assert symbol.overlay(text) is None


def test_an_overlay_is_drawn_over_a_picture_of_the_alternate_table() -> None:
    assert symbol.overlay("D#") == "D"
    assert symbol.name("D#") == "digital repeater with overlay marked D"


@pytest.mark.parametrize(
    ("destination", "expected"),
    # APRS101 chapter 20 and appendix 2: the table of pairs, from memory.
    [
        ("GPSBB", "/!"), ("GPSBP", "//"), ("GPSP0", "/0"), ("GPSP9", "/9"), ("GPSMR", "/:"), ("GPSMX", "/@"),
        ("GPSPA", "/A"), ("GPSPZ", "/Z"), ("GPSHS", "/["), ("GPSHX", "/`"), ("GPSLA", "/a"), ("GPSLZ", "/z"),
        ("GPSJ1", "/{"), ("GPSJ4", "/~"), ("GPSOB", "\\!"), ("GPSOP", "\\/"), ("GPSA0", "\\0"), ("GPSA9", "\\9"),
        ("GPSNR", "\\:"), ("GPSNX", "\\@"), ("GPSAA", "\\A"), ("GPSAZ", "\\Z"), ("GPSDS", "\\["), ("GPSDX", "\\`"),
        ("GPSSA", "\\a"), ("GPSSZ", "\\z"), ("GPSQ1", "\\{"), ("GPSQ4", "\\~"),
        ("SPCMV", "/>"), ("SYMMV", "/>"), ("GPSMV-3", "/>"), ("GPSC01", "/!"), ("GPSC94", "/~"), ("GPSE30", "\\>"),
        ("SPCOD3", "3#"), ("SPCODA", "A#"), ("GPSMV3", "/>"),
    ],
)  # fmt: skip
def test_a_destination_names_a_symbol(destination: str, expected: str) -> None:
    assert symbol.of_destination(destination) == expected


@pytest.mark.parametrize(
    "destination",
    ["", "APRS", "GPS", "GPSMVXX", "ABCMV", "GPSC00", "GPSC95", "GPSZZ", "GPSC3", "S32UVT", "GPSC³0", "GPSOD "],
)
def test_any_other_destination_names_none(destination: str) -> None:
    named = symbol.of_destination(destination)
    assert named is None or named == "\\#"


def test_every_pair_names_a_symbol_of_its_own() -> None:
    pairs = [f"GPS{first}{second}" for first in map(chr, range(48, 91)) for second in map(chr, range(48, 91))]
    named = [code for code in map(symbol.of_destination, pairs) if code is not None]
    assert len(named) == len(set(named)) == 2 * 94
