import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo.network_server import passcode_belongs
from gateway.uplink import passcode
from gateway.uplink.passcode import belongs

CALLSIGNS = st.from_regex(r"[A-Za-z0-9]{1,6}(-[0-9]{1,2})?", fullmatch=True)


@pytest.mark.parametrize(
    ("callsign", "code"),
    [
        # 73E2, exclusive-or'd with 5158 (QX), 3147 (1G) and 4154 (AT), is 22BA, then 13FD, then 52A9.
        ("QX1GAT", 0x52A9),
        ("QX1GAT-10", 0x52A9),
        ("qx1gat", 0x52A9),
        # 73E2, exclusive-or'd with 5141 (QA), 3142 (1B) and 4300 (C and no more), is 22A3, then 13E1, then 50E1.
        ("QA1BC", 0x50E1),
        # 73E2 and 5100 (Q and no more).
        ("Q", 0x22E2),
    ],
)
def test_a_passcode_belongs_to_its_callsign_whatever_the_ssid_and_the_case(callsign: str, code: int) -> None:
    # Ours: the algorithm, which is from memory, worked by hand in hexadecimal.
    assert belongs(callsign, code)


@pytest.mark.parametrize("code", [-1, 0, 21160, 21162, 21161 + 32768, 32768])
def test_no_other_number_belongs_to_it(code: int) -> None:
    assert not belongs("QX1GAT", code)


@pytest.mark.parametrize("callsign", ["", "-", "-5", "QX1GÄT", "TOOLONGBYFAR", "QX1GAT-10-1", "QX 1GAT"])
def test_nothing_belongs_to_what_is_no_callsign(callsign: str) -> None:
    assert not any(belongs(callsign, code) for code in range(-1, 32768, 7))
    assert not belongs(callsign, 21161)


@given(CALLSIGNS, st.integers(0, 32767))
def test_it_agrees_with_the_stand_in_server_which_reckons_for_itself(callsign: str, code: int) -> None:
    assert belongs(callsign, code) == passcode_belongs(callsign, code)


def test_exactly_one_passcode_belongs_to_a_callsign() -> None:
    assert [code for code in range(-1, 65536) if belongs("QX1GAT", code)] == [21161]


def test_the_room_offers_no_way_to_ask_for_a_passcode() -> None:
    public = {name for name, value in vars(passcode).items() if callable(value) and not name.startswith("_")}
    assert public == {"belongs", "base_of", "is_network_callsign"}
