"""How a station comes to the engine of its club: over TLS, with a token in a file, with one of its own; and its login.

The engine is the real one. Tokens are made as its documentation says (JWT authentication): three claims,
each signed with the key of who stands above; from memory, and the engine is the judge.
"""

import asyncio
import base64
import contextlib
import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("nats")

import nkeys

from demo.engine_servers import EngineServers
from demo.network_server import NetworkServer
from gateway import settings
from gateway.club.embedded import free_port
from gateway.club.engine import EngineOptions, connected
from gateway.club.subjects import Subjects
from gateway.documents import DocumentError
from gateway.feed.health import Health
from gateway.groundwork.part import PartKind, State
from gateway.running.service import Service
from tests.bus.test_tls import make_certificates
from tests.waiting import until
from tests.whole_gateway import running

CLUB = Subjects("wrackholm")
LOGIN_TAKEN = 75
FAILED = 70
BEATS = 4
PASSCODE = "18096"
"""Of QX1HUB-10, by the algorithm in common use (from memory)."""

PRIVATE = "dees"[::-1]
"""What the engine calls a private key."""

KINDS = {
    1: nkeys.PREFIX_BYTE_OPERATOR,
    2: nkeys.PREFIX_BYTE_ACCOUNT,
    3: nkeys.PREFIX_BYTE_USER,
    4: nkeys.PREFIX_BYTE_ACCOUNT,
}

HUB = f"""station: {{callsign: QX1HUB-10}}
uplink: {{servers: ["tcp://127.0.0.1:PORT"], passcode: "{PASSCODE}"}}
club: {{name: wrackholm, servers: [ENGINE], role: hub, lease: 2sMORE}}
"""


def station_at(folder: Path, engine: str, network: int, more: str = "") -> Path:
    folder.mkdir(exist_ok=True)
    path = folder / "station.yaml"
    text = HUB.replace("PORT", str(network)).replace("ENGINE", repr(engine)).replace("MORE", more)
    path.write_text(text.replace(f', passcode: "{PASSCODE}"', ", passcode_file: passcode"), "utf-8")
    (folder / "passcode").write_text(PASSCODE, "utf-8")
    (folder / "passcode").chmod(0o600)
    return path


def club_of(health: Health) -> tuple[State, str]:
    part = next(part for part in health.parts if part.kind is PartKind.CLUB)
    return part.state, part.why


def holds(service: Service) -> bool:
    return bool(service.health().watched["club"]["holds"])


@pytest.mark.needs("openssl", "openssl")
async def test_a_station_trusts_the_engine_whose_certificate_its_authority_signed_and_no_other(tmp_path: Path) -> None:
    folder = make_certificates(tmp_path / "certificates")
    tls = f'tls {{ cert_file: "{folder}/broker.pem", key_file: "{folder}/broker.key" }}\n'
    async with EngineServers(1, tls) as servers, NetworkServer() as network:
        engine = f"tls://127.0.0.1:{servers.ports[0]}"
        trusting = settings.load(station_at(tmp_path / "one", engine, network.port, f", ca: {folder}/authority.pem"))
        async with running(trusting) as hub:
            await until(lambda: holds(hub))
        async with running(settings.load(station_at(tmp_path / "other", engine, network.port))) as hub:
            await until(lambda: "certificate" in club_of(hub.health())[1])
            assert not holds(hub)


async def test_a_token_in_a_file_opens_the_engine(tmp_path: Path) -> None:
    operator, account, user, of_engine = map(_key, KINDS)
    no_bound = dict.fromkeys(("subs", "data", "payload", "imports", "exports", "conn", "leaf", "streams"), -1)
    limits = no_bound | {"wildcards": True, "mem_storage": -1, "disk_storage": -1, "consumer": -1}
    of_account = _token(operator, account, {"type": "account", "version": 2, "limits": limits})
    of_system = _token(operator, of_engine, {"type": "account", "version": 2, "limits": no_bound | {"wildcards": True}})
    of_user = _token(account, user, {"type": "user", "version": 2, "subs": -1, "data": -1, "payload": -1})
    more = (
        f"operator: {_token(operator, operator, {'type': 'operator', 'version': 2})}\n"
        f"system_account: {_name(of_engine)}\nresolver: MEMORY\n"
        f"resolver_preload: {{ {_name(account)}: {of_account}, {_name(of_engine)}: {of_system} }}\n"
    )
    file = tmp_path / "club.creds"
    file.write_text(
        f"-----BEGIN NATS USER JWT-----\n{of_user}\n------END NATS USER JWT------\n\n"
        f"-----BEGIN USER NKEY {PRIVATE.upper()}-----\n{_private(3)}\n------END USER NKEY {PRIVATE.upper()}------\n",
        "ascii",
    )
    file.chmod(0o600)
    async with EngineServers(1, more) as servers, NetworkServer() as network:
        with_token = EngineOptions(servers.urls, "qx1hub-10", credentials=str(file), holds_token=True)
        async with connected(with_token, Subjects("wrackholm"), servers.urls[0]) as engine:
            assert await engine.make_what_is_absent(1)
        path = station_at(tmp_path / "station", servers.urls[0], network.port, f", credentials_file: {file}")
        async with running(settings.load(path)) as hub:
            await until(lambda: holds(hub))


def _private(number: int) -> str:
    """The private key of the octet `number`, 32 times over: it opens nothing but the engine of this test."""
    encode = getattr(nkeys, f"encode_{PRIVATE}")
    return bytes(encode(bytes([number]) * 32, KINDS[number])).decode()


def _key(number: int) -> nkeys.KeyPair:
    return getattr(nkeys, f"from_{PRIVATE}")(bytearray(_private(number).encode()))


def _name(key: nkeys.KeyPair) -> str:
    return bytes(key.public_key).decode()


def _token(signer: nkeys.KeyPair, subject: nkeys.KeyPair, claims: dict[str, object]) -> str:
    says = {"jti": "x", "iat": 1, "iss": _name(signer), "sub": _name(subject), "name": "club", "nats": claims}
    parts = [_base64(json.dumps(part).encode()) for part in ({"typ": "JWT", "alg": "ed25519-nkey"}, says)]
    return ".".join((*parts, _base64(signer.sign(".".join(parts).encode()))))


def _base64(octets: bytes) -> str:
    return base64.urlsafe_b64encode(octets).rstrip(b"=").decode()


async def test_a_hub_may_bring_its_own_engine(tmp_path: Path) -> None:
    async with NetworkServer() as network:
        path = station_at(tmp_path / "station", f"embedded:{free_port()}", network.port)
        async with running(settings.load(path)) as hub:
            await until(lambda: holds(hub))
            assert club_of(hub.health())[0] is State.OK
        assert (path.parent / "engine").is_dir()


async def test_an_engine_of_its_own_whose_port_is_taken_is_told_with_file_and_key(tmp_path: Path) -> None:
    async with NetworkServer() as other:
        station = settings.load(station_at(tmp_path / "station", f"embedded:{other.port}", 1))
        with pytest.raises(DocumentError, match=r"club\.servers"):
            async with running(station):
                pass


async def test_of_two_hubs_with_one_login_one_waits_and_who_loses_it_ends(tmp_path: Path) -> None:
    async with EngineServers(1) as servers, NetworkServer() as network:
        with _process(station_at(tmp_path / "first", servers.urls[0], network.port)) as first:
            await network.until(lambda: network.counts.verified == 1, 20)
            second = settings.load(station_at(tmp_path / "second", servers.urls[0], network.port))
            async with running(second) as hub:
                await until(lambda: "another hub has this login" in club_of(hub.health())[1])
                assert network.counts.connections == 1, "the network's server sees one of them only"
                first.send_signal(signal.SIGSTOP)  # as a computer that stands still
                await until(lambda: holds(hub))
                first.send_signal(signal.SIGCONT)
                await until(lambda: first.poll() is not None)
                assert first.returncode == LOGIN_TAKEN
                assert first.stderr is not None
                assert "another hub of the club has this one's login" in first.stderr.read()
                await until(lambda: holds(hub))


async def test_a_hub_whose_stream_was_lost_ends_to_start_again_with_what_all_know(tmp_path: Path) -> None:
    async with EngineServers(1) as servers, NetworkServer() as network:
        with _process(station_at(tmp_path / "station", servers.urls[0], network.port)) as hub:
            await network.until(lambda: network.counts.verified == 1, 20)
            async with connected(EngineOptions(servers.urls, "operator"), CLUB, servers.urls[0]) as engine:
                async with asyncio.timeout(20):
                    while (await engine.bounds())[1] < BEATS:  # noqa: ASYNC110 - the engine tells nobody
                        await asyncio.sleep(0.1)
                await engine.stream.delete_stream(CLUB.stream)
                await engine.make_what_is_absent(1)
            await until(lambda: hub.poll() is not None)
            assert hub.returncode == FAILED
            assert hub.stderr is not None
            assert "the club's engine lost its stream" in hub.stderr.read()


@contextlib.contextmanager
def _process(station: Path) -> Iterator[subprocess.Popen[str]]:
    command = [sys.executable, "-m", "gateway.cli", "run", str(station)]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
        try:
            yield process
        finally:
            process.kill()
