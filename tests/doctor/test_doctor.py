"""The real thing broken, one at a time: the doctor names it, and says what to do."""

import asyncio
import json
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import pytest_asyncio

from demo.network_server import NetworkServer
from gateway.commands.watching import client
from gateway.doctor import examination
from gateway.doctor.checks import judge
from gateway.doctor.finding import Grade
from gateway.probes import broker, clock, network_server, receiver
from gateway.running.lock import held
from tests.doctor.posts import LISTEN_SECONDS, PASSCODE, Looked, Post
from tests.mosquitto_broker import Login, MosquittoBroker, free_port, publish
from tests.probes.answering import frame, in_kiss, saying
from tests.probes.test_time_server import answer, server

HERE = "!5836.00N/00355.00W>moored"
NEAR = "!5837.00N/00350.00W>under way"
FRAMES = in_kiss(*[frame(HERE, "QA1BCD-9"), frame(NEAR, "QB2CDE-8")] * (receiver.ENOUGH_FRAMES // 2))
DAMAGED = b"\xc0\x00short\xc0"


@pytest.fixture(autouse=True)
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(broker, "TELL_SECONDS", 1.0)
    monkeypatch.setattr(clock, "own_time_server", lambda: None)


@pytest_asyncio.fixture
async def post(tmp_path: Path) -> AsyncIterator[Post]:
    """Nothing is wrong with it: its decoder has heard two stations nearby."""
    async with saying(FRAMES) as port:
        yield Post(tmp_path, port)


async def test_nothing_is_wrong_with_a_post_that_works(post: Post) -> None:
    (post.folder / "passcode").write_text(PASSCODE)
    (post.folder / "passcode").chmod(0o600)
    async with NetworkServer() as server, MosquittoBroker() as house:
        post.more = [
            f"uplink: {{servers: ['tcp://127.0.0.1:{server.port}'], passcode_file: passcode}}",
            f"bus: {{broker: 'mqtt://127.0.0.1:{house.port}'}}",
            f"web: {{listen: '127.0.0.1:{free_port()}'}}",
            "journal: {path: stile.db}",
        ]
        looked = await post.looked_at()
    assert looked.wrong() == []
    assert looked.one("receivers")[0] is Grade.OK
    assert looked.one("receivers")[1].startswith("vhf: 20 good frames in")
    assert looked.one("place")[0] is Grade.OK
    assert looked.one("servers")[1].endswith("greets (stand-in 1.0) and verifies the login -> ")
    assert looked.one("broker")[1].endswith("publishes, reads back and retains stile/QX1GAT-10/# -> ")


async def test_the_other_protocol(post: Post) -> None:
    post.scheme = "tnc2+tcp"
    grade, words = (await post.looked_at()).one("receivers")
    assert grade is Grade.WRONG
    assert "they look like KISS" in words
    assert f"write kiss+tcp://127.0.0.1:{post.port}" in words


async def test_a_decoder_that_never_speaks(tmp_path: Path) -> None:
    async with saying(b"") as port:
        grade, words = (await Post(tmp_path, port).looked_at()).one("receivers")
    assert grade is Grade.LOOK
    assert "nothing came" in words
    assert "does the radio hear anything?" in words


async def test_a_decoder_that_is_not_there(tmp_path: Path) -> None:
    grade, words = (await Post(tmp_path, free_port()).looked_at()).one("receivers")
    assert grade is Grade.WRONG
    assert "Connection refused" in words
    assert "is the decoder running" in words


async def test_a_decoder_that_passes_on_damaged_frames(tmp_path: Path) -> None:
    async with saying(DAMAGED * receiver.ENOUGH_FRAMES + FRAMES) as port:
        grade, words = (await Post(tmp_path, port).looked_at()).one("receivers")
    assert grade is Grade.LOOK
    assert "50% of all were damaged" in words


@pytest.mark.parametrize(
    ("position", "slip"),
    [
        ("{latitude: -3.9167, longitude: 58.6}", "latitude and longitude are swapped"),
        ("{latitude: 58.6, longitude: 3.9167e1}", None),
        ("{latitude: -58.6, longitude: -3.9167}", "the latitude has the wrong sign"),
    ],
)
async def test_a_place_that_does_not_fit_what_is_heard_direct(post: Post, position: str, slip: str | None) -> None:
    post.position = position
    grade, words = (await post.looked_at()).one("place")
    assert grade is (Grade.WRONG if slip else Grade.LOOK)
    assert (slip or "see whether the `position:` is the antenna's") in words
    assert not slip or "write `position: {latitude: 58.6, longitude: -3.9167}`" in words


async def test_one_station_alone_makes_no_place_wrong(tmp_path: Path) -> None:
    async with saying(in_kiss(frame(HERE))) as port:
        post = Post(tmp_path, port, position="{latitude: -3.9167, longitude: 58.6}")
        grade, _ = (await post.looked_at()).one("place")
    assert grade is Grade.LOOK


async def test_a_server_that_is_none(post: Post) -> None:
    async with saying(b"SSH-2.0-open\r\n") as port:
        post.more = [f"uplink: {{servers: ['tcp://127.0.0.1:{port}']}}"]
        grade, words = (await post.looked_at()).one("servers")
    assert grade is Grade.WRONG
    assert "no server of the network: it began with 'SSH-2.0-open'" in words


async def test_a_server_that_is_gone_is_wrong_where_the_other_takes_no_login(
    post: Post, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(network_server, "LOGIN_SECONDS", 0.5)
    async with saying(b"# stand-in\r\n# logresp QX9 verified, server QX9\r\n") as port:
        post.more = [f"uplink: {{servers: ['tcp://127.0.0.1:{port}', 'tcp://127.0.0.1:{free_port()}']}}"]
        looked = await post.looked_at()
    assert [grade for grade, _ in looked.of("servers")] == [Grade.WRONG, Grade.WRONG]


async def test_a_server_that_does_not_verify_and_one_that_is_gone_beside_one_that_is_there(post: Post) -> None:
    async with NetworkServer() as server:
        post.more = [f"uplink: {{servers: ['tcp://127.0.0.1:{server.port}', 'tcp://127.0.0.1:{free_port()}']}}"]
        first, second = (await post.looked_at()).of("servers")
        assert first[0] is Grade.OK
        assert "to receive only" in first[1]
        assert second[0] is Grade.LOOK
        post.more = [f"uplink: {{servers: ['tcp://127.0.0.1:{free_port()}']}}"]
        (alone,) = (await post.looked_at()).of("servers")
        assert alone[0] is Grade.WRONG


async def test_a_name_that_leads_nowhere_and_an_engine_that_is_not_there(post: Post) -> None:
    post.more = [
        "uplink: {servers: [tcp://no.such.invalid]}",
        f"club: {{name: wrackholm, role: hub, servers: ['nats://127.0.0.1:{free_port()}']}}",
    ]
    looked = await post.looked_at()
    grade, words = looked.one("names")
    assert grade is Grade.WRONG
    assert "no.such.invalid: the name of the host cannot be resolved" in words
    assert looked.one("servers")[0] is Grade.WRONG
    grade, words = looked.one("club")
    assert grade is Grade.WRONG
    assert "it cannot be reached: Connection refused" in words


async def test_a_station_file_that_is_not_there_or_a_folder_is_named_and_the_rest_is_not_called_fine(
    tmp_path: Path,
) -> None:
    for path, said in (
        (tmp_path / "none.yaml", "cannot be read: No such file or directory"),
        (tmp_path, f"it is a folder; the station file in it may be {tmp_path}/station.yaml"),
    ):
        looked = Looked(judge(await examination.examine(path)))
        told, rest = looked.of("station file")
        assert told[0] is Grade.WRONG
        assert said in told[1]
        assert told[1].endswith("-> mend that, or name the station file: `stile doctor STATION`")
        assert rest[0] is Grade.LOOK
        assert "what it names was not looked at" in rest[1]


@pytest.mark.needs("mosquitto", "mosquitto")
async def test_a_broker_without_rights(post: Post) -> None:
    access, secret = post.folder / "access", post.folder / "bus"
    access.write_text("user stile\ntopic read #\n")
    access.chmod(0o600)
    secret.write_text("hush")
    secret.chmod(0o600)
    async with MosquittoBroker(Login("stile", "hush"), [f"acl_file {access}"]) as house:
        post.more = [f"bus: {{broker: 'mqtt://127.0.0.1:{house.port}', username: stile, password_file: bus}}"]
        grade, words = (await post.looked_at()).one("broker")
    assert grade is Grade.WRONG
    assert "let the user stile read and write stile/QX1GAT-10/# in the broker's access list" in words


@pytest.mark.needs("mosquitto", "mosquitto")
async def test_another_gateway_with_this_login(post: Post) -> None:
    greeting = b"# stand-in\r\n# logresp QX1GAT-DR verified, server QX9\r\n"
    async with saying(greeting + b"QA1BCD-9>APRS,qAO,QX1GAT-10:>x\r\n") as port, MosquittoBroker() as house:
        await publish(house, "stile/QX1GAT-10/status", b"online", retain=True)
        post.more = [
            f"uplink: {{servers: ['tcp://127.0.0.1:{port}']}}",
            f"bus: {{broker: 'mqtt://127.0.0.1:{house.port}'}}",
        ]
        seen_by_server, seen_by_broker = (await post.looked_at()).of("same login")
        assert seen_by_server[0] is seen_by_broker[0] is Grade.WRONG
        assert "1 lines came up under QX1GAT-10 while none runs here" in seen_by_server[1]
        with held([post.path]):
            looked = await post.looked_at()
    assert looked.of("same login") == []
    assert looked.one("gateway")[1].startswith(": one runs with this station file, as process")


DOCTOR = f"""
import json, pathlib, sys
from gateway.doctor.doctor import diagnose
print(json.dumps(diagnose(pathlib.Path(sys.argv[1]), listen_seconds={LISTEN_SECONDS}).to_object()))
"""
FULL = 'mount -t tmpfs -o size=64k tmpfs "$1/disk" && head -c 60000 /dev/zero > "$1/disk/filled" && shift && exec "$@"'


@pytest.mark.needs("unshare", "util-linux")
async def test_a_full_disk(post: Post) -> None:
    (post.folder / "disk").mkdir()
    post.more = ["journal: {path: disk/stile.db}"]
    alone = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c", FULL, "sh", str(post.folder)]
    doctor = [sys.executable, "-c", DOCTOR, str(post.write())]
    process = await asyncio.create_subprocess_exec(*alone, *doctor, stdout=subprocess.PIPE)
    told, _ = await process.communicate()
    (folder,) = [one for one in json.loads(told)["findings"] if one["check"] == "folders"]
    assert folder["grade"] == "wrong"
    assert folder["do"] == "make room there"


async def test_a_folder_that_is_none(post: Post) -> None:
    post.more = ["journal: {path: stile.db, captures: station.yaml/captures}"]
    looked = await post.looked_at()
    grades = [grade for grade, _ in looked.of("folders")]
    assert Grade.WRONG in grades


async def test_a_port_that_another_program_has(post: Post, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(client, "ANSWER_SECONDS", 0.2)  # no gateway answers there
    with socket.create_server(("127.0.0.1", 0)) as other:
        post.more = [f"web: {{listen: '127.0.0.1:{other.getsockname()[1]}'}}"]
        grade, words = (await post.looked_at()).one("ports")
        assert grade is Grade.WRONG
        assert "another program has this port" in words
        with held([post.path]):
            assert (await post.looked_at()).one("ports")[0] is Grade.OK


def journal_of(path: Path, time: str) -> None:
    """A journal that holds one frame, heard at `time`."""
    from gateway.journal.schema import migrate  # noqa: PLC0415

    heard = {"run": "r", "sequence": 1, "time": time, "receiver": "vhf", "source": "QA1BCD-9", "verdict": "forward"}
    with sqlite3.connect(path) as journal:
        journal.isolation_level = None
        migrate(journal, path)
        journal.execute("INSERT INTO heard (id, time_ms, object) VALUES (1, 0, ?)", (json.dumps(heard),))
    journal.close()
    path.chmod(0o600)


async def test_a_folder_of_captures_that_may_not_be_looked_for(post: Post) -> None:
    post.more = [f"journal: {{path: stile.db, captures: {'x' * 300}}}"]
    assert (await post.looked_at()).of("folders")


async def test_a_clock_behind_the_journals_newest_frame(post: Post) -> None:
    journal_of(post.folder / "stile.db", "2099-01-01T00:00:00.000Z")
    post.more = ["journal: {path: stile.db}"]
    grade, words = (await post.looked_at()).of("clock")[0]
    assert grade is Grade.WRONG
    assert "the journal holds a frame that was heard" in words


@pytest.mark.needs("faketime", "faketime")
async def test_a_clock_behind_the_packages_date(post: Post) -> None:
    doctor = [sys.executable, "-c", DOCTOR, str(post.write())]
    process = await asyncio.create_subprocess_exec(
        *("faketime", "2020-01-01 00:00:00", *doctor), stdout=subprocess.PIPE
    )
    told, _ = await process.communicate()
    first, *_ = [one for one in json.loads(told)["findings"] if one["check"] == "clock"]
    assert first["grade"] == "wrong"
    assert "which is before this program was written" in first["what"]


async def test_what_the_journal_knows_of_a_decoder_that_is_silent_now(tmp_path: Path) -> None:
    journal_of(tmp_path / "stile.db", "2026-01-02T00:00:00.000Z")
    async with saying(b"") as port:
        post = Post(tmp_path, port, more=["journal: {path: stile.db}"])
        _, words = (await post.looked_at()).one("receivers")
    assert "its last frame in the journal is" in words


async def test_no_probe_makes_the_whole_late(post: Post, monkeypatch: pytest.MonkeyPatch) -> None:
    async def never(*_: object, **__: object) -> None:
        await asyncio.Event().wait()

    monkeypatch.setattr(examination, "LONGEST_SECONDS", 0.5)
    monkeypatch.setattr(receiver, "hear", never)
    assert (await post.looked_at()).one("receivers") == (Grade.LOOK, "vhf: it could not be tried in time -> try again")


async def test_the_log_says_nothing_of_what_is_tried(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    await Post(tmp_path, free_port()).looked_at()
    assert capfd.readouterr() == ("", "")


async def test_a_clock_that_goes_ahead_of_a_time_server(post: Post) -> None:
    async with server(lambda asked: [answer(asked, time.time() - 3600)]) as port:
        evidence = await examination.examine(post.write(), time_host=f"127.0.0.1:{port}", listen_seconds=LISTEN_SECONDS)
    _, compared, *_ = Looked(judge(evidence)).of("clock")
    assert compared[0] is Grade.WRONG
    assert "the clock is 1 h ahead of this time server's" in compared[1] or "59 min 59 s" in compared[1]


@pytest.mark.parametrize(
    ("written", "place"),
    [
        ("time.example", ("time.example", 123)),
        ("127.0.0.1:1123", ("127.0.0.1", 1123)),
        ("2001:db8::1", ("2001:db8::1", 123)),
        ("[2001:db8::1]:1123", ("2001:db8::1", 1123)),
    ],
)
def test_a_time_server_is_named_with_its_port_or_without(written: str, place: tuple[str, int]) -> None:
    assert examination.host_and_port(written) == place
