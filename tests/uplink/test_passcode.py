import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo.network_server import passcode_belongs
from gateway.uplink import passcode
from gateway.uplink.passcode import belongs

CALLSIGNS = st.from_regex(r"[A-Za-z0-9]{1,6}(-[0-9]{1,2})?", fullmatch=True)


@pytest.mark.parametrize(
    ("callsign", "code"),
    [("N0CALL", 13023), ("N0CALL-10", 13023), ("n0call", 13023), ("QX1GAT", 21161), ("QX1GAT-10", 21161)],
)
def test_a_passcode_belongs_to_its_callsign_whatever_the_ssid_and_the_case(callsign: str, code: int) -> None:
    # N0CALL's is the check value that is known in the trade, from memory; QX1GAT's follows from the algorithm.
    assert belongs(callsign, code)


@pytest.mark.parametrize("code", [-1, 0, 13022, 13024, 13023 + 32768, 32768])
def test_no_other_number_belongs_to_it(code: int) -> None:
    assert not belongs("N0CALL", code)


@pytest.mark.parametrize("callsign", ["", "-", "-5", "N0CÄLL", "TOOLONGBYFAR", "N0CALL-10-1", "N0 CALL"])
def test_nothing_belongs_to_what_is_no_callsign(callsign: str) -> None:
    assert not any(belongs(callsign, code) for code in range(-1, 32768, 7))
    assert not belongs(callsign, 13023)


@given(CALLSIGNS, st.integers(0, 32767))
def test_it_agrees_with_the_stand_in_server_which_reckons_for_itself(callsign: str, code: int) -> None:
    assert belongs(callsign, code) == passcode_belongs(callsign, code)


def test_exactly_one_passcode_belongs_to_a_callsign() -> None:
    assert [code for code in range(-1, 65536) if belongs("QX1GAT", code)] == [21161]


def test_the_room_offers_no_way_to_ask_for_a_passcode() -> None:
    public = {name for name, value in vars(passcode).items() if callable(value) and not name.startswith("_")}
    assert public == {"belongs", "base_of", "is_network_callsign"}
