from pathlib import Path

import pytest

from gateway.bus.options import BusOptions, BusOptionsError, Tls
from tests.options import bus_options


def test_the_password_is_not_shown() -> None:
    options = bus_options(host="broker.example", username="stile", password="open sesame")
    assert "sesame" not in repr(options)
    assert "sesame" not in options.broker


@pytest.mark.parametrize(
    ("options", "address"),
    [
        (bus_options(), "mqtt://127.0.0.1:1883"),
        (bus_options(8883, host="::1", tls=Tls()), "mqtts://[::1]:8883"),
    ],
)
def test_the_broker_is_named_by_its_address(options: BusOptions, address: str) -> None:
    assert options.broker == address


def test_the_client_identifier_is_the_same_at_every_start_and_fits_every_broker() -> None:
    identifier = bus_options(callsign="QX1GATEW-1").client_identifier
    assert identifier == bus_options(callsign="QX1GATEW-1").client_identifier
    assert len(identifier) <= 23  # MQTT 3.1.1 section 3.1.3.1


def test_gateways_with_another_base_are_other_clients() -> None:
    identifiers = {bus_options(base=base).client_identifier for base in ("stile", "bench")}
    assert len(identifiers) == 2


def test_a_file_that_tls_cannot_use_is_named_with_its_key(tmp_path: Path) -> None:
    missing, wrong = tmp_path / "missing.pem", tmp_path / "wrong.pem"
    wrong.write_text("not a certificate")
    with pytest.raises(BusOptionsError, match=r"bus\.ca: .*missing\.pem: No such file"):
        Tls(ca=missing).context()
    with pytest.raises(BusOptionsError, match=r"bus\.ca: .*wrong\.pem: "):
        Tls(ca=wrong).context()
    with pytest.raises(BusOptionsError, match=r"bus\.certificate, bus\.key: .*missing\.pem and .*wrong\.pem"):
        Tls(certificate=missing, key=wrong).context()
