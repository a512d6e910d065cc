"""The page over TLS, with the operator's own certificate, asked by a client of another library."""

import asyncio
import ssl
import subprocess
from pathlib import Path

import httpx
import pytest

from docker import health
from gateway.commands.station_warnings import station_warnings
from gateway.commands.watching.client import Client, gateway_of
from gateway.groundwork.certificates import CertificateError
from gateway.settings import load
from tests.web.opened import open_web

STATION = """
station: {callsign: QX1GAT-10, position: {latitude: 58.6000, longitude: -3.9167}}
receivers: [{name: vhf, from: "kiss+tcp://127.0.0.1:7581"}]
web: {listen: "127.0.0.1:%d", certificate: own.pem, key: own.key}
"""

pytestmark = pytest.mark.needs("openssl", "openssl")


@pytest.fixture
def certificate(tmp_path: Path) -> Path:
    command = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 30 -subj /CN=localhost"
    more = ["-addext", "subjectAltName=DNS:localhost", "-keyout", "own.key", "-out", "own.pem"]
    subprocess.run([*command.split(), *more], check=True, capture_output=True, cwd=tmp_path)
    return tmp_path / "own.pem"


async def test_it_shows_the_operators_certificate_and_the_watch_holds_it_to_that(certificate: Path) -> None:
    async with open_web(certificate=certificate) as web:
        context = ssl.create_default_context(cafile=certificate)
        async with httpx.AsyncClient(verify=context) as client:
            assert (await client.get(f"https://localhost:{web.port}/healthz")).json() == {"alive": True}
        station = certificate.with_name("station.yaml")
        station.write_text(STATION % web.port)
        async with Client(gateway_of(station), catch_up=False) as watch:
            assert (await watch.health()).plain["state"] == "degraded"
        await asyncio.to_thread(health.ask_page, health.page_address(station))


def test_a_certificate_that_cannot_be_used_is_said_by_check_and_keeps_the_web_from_listening(certificate: Path) -> None:
    certificate.write_text("no certificate")
    station = certificate.with_name("station.yaml")
    station.write_text(STATION % 7583)
    said = [str(problem) for problem in station_warnings(load(station))]
    assert any("own.pem" in one and "until then the page is down" in one for one in said)
    options = load(station).web
    assert options is not None
    with pytest.raises(CertificateError, match=r"own.pem and .*own.key: not what TLS can use: give a PEM certificate"):
        options.context()


def test_a_key_without_a_certificate_is_refused(tmp_path: Path) -> None:
    station = tmp_path / "station.yaml"
    station.write_text((STATION % 7583).replace("certificate: own.pem, ", ""))
    with pytest.raises(Exception, match="a key goes with a certificate"):
        load(station)
