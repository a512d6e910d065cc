"""The containers, for real: built, set up, started by the compose file, tried, updated and stopped.

    python -m pytest -o faulthandler_timeout=900 tests/docker/come_up.py

It wants root, a network for packages, and debootstrap, buildah, podman, runc and mosquitto's clients; about two
minutes. `.ci/run` calls it. The images stand on a base that debootstrap makes, since no registry of images is asked:
but for that, everything is as docker/README.md has it. The host's network is here one that the test makes for itself,
with a loopback alone, so that no port is taken; limits are those of a sandbox that raises none.

With ARCH=arm64 before it, the same images are built and tried for an ARM board: on an Intel computer with
qemu-user-static, in about twenty minutes.
"""

import functools
import json
import re
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.docker.reading import FOLDER

pytestmark = [
    pytest.mark.timeout(3600),
    pytest.mark.needs("debootstrap", "debootstrap"),
    pytest.mark.needs("buildah", "buildah"),
    pytest.mark.needs("podman", "podman"),
    pytest.mark.needs("mosquitto_sub", "mosquitto-clients"),
]

PROJECT = "stile-comes-up"
IN_A_SANDBOX = "--runtime runc --ulimit nofile=1024:1024 --ulimit nproc=1024:1024"
PATIENCE_SECONDS = 60.0
HEALTH = (
    "import sys, urllib.request as r; sys.stdout.write(r.urlopen('http://127.0.0.1:7583/api/health').read().decode())"
)


class Network:
    """A network with nothing but a loopback; whatever is run `inside` it has it as the host's."""

    def __init__(self) -> None:
        self._holder = subprocess.Popen(["unshare", "--net", "sleep", "infinity"])
        self.inside = ("nsenter", "--net", "--target", str(self._holder.pid))
        while Path(f"/proc/{self._holder.pid}/ns/net").readlink() == Path("/proc/self/ns/net").readlink():
            time.sleep(0.01)  # it has not left ours yet
        run(*self.inside, "ip", "link", "set", "lo", "up")

    def close(self) -> None:
        self._holder.kill()
        self._holder.wait()


def run(*command: str | Path, told: str = "") -> str:
    """What a command prints; it must end well."""
    ended = subprocess.run(list(map(str, command)), input=told, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, f"{command}\n{ended.stdout}\n{ended.stderr}"
    return ended.stdout


def compose(profile: str, *command: str, told: str = "") -> str:
    reader = Path(sys.executable).parent / "podman-compose"
    files = ("-f", FOLDER / "compose.yaml")
    podman = ("--in-pod", "false", f"--podman-run-args={IN_A_SANDBOX}")
    return run(*network().inside, reader, "-p", PROJECT, *podman, *files, "--profile", profile, *command, told=told)


@functools.cache
def network() -> Network:
    return Network()


def name_of(service: str) -> str:
    return f"{PROJECT}_{service}_1"


def health() -> dict[str, Any]:
    told: dict[str, Any] = json.loads(run(*network().inside, sys.executable, "-c", HEALTH))
    return told


def volume(name: str) -> Path:
    return Path(run("podman", "volume", "inspect", "--format", "{{.Mountpoint}}", f"{PROJECT}_{name}").strip())


def until_healthy(service: str) -> None:
    """Where no service manager calls the health checks, this does."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    said = ""
    while time.monotonic() < deadline:
        asked = subprocess.run(
            [*network().inside, "podman", "healthcheck", "run", name_of(service)],
            capture_output=True,
            text=True,
            check=False,
        )
        if asked.returncode == 0:
            return
        said = asked.stdout + asked.stderr
        time.sleep(0.2)
    raise AssertionError(f"{service} is not healthy: {said}\n{run('podman', 'logs', name_of(service))}")


def until_said(service: str, pattern: str) -> None:
    """It says how it is now and then: wait until its last line is like that."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    said = ""
    while time.monotonic() < deadline:
        said = run("podman", "logs", "--tail", "1", name_of(service)).strip()
        if re.search(pattern, said):
            return
        time.sleep(0.2)
    raise AssertionError(f"{service} says last: {said}")


@pytest.fixture(scope="module")
def images() -> None:
    run(FOLDER / "build-without-an-engine")


@pytest.fixture(scope="module")
def house_password(images: None) -> Iterator[str]:  # noqa: ARG001 - the images must be there
    compose("setup", "down", "--volumes")
    said = compose("setup", "run", "-T", "--rm", "setup", told="21161\n")
    (password,) = re.findall(r"^    (\S{24})$", said, re.MULTILINE)
    yield password
    compose("demo", "down", "--volumes")
    network().close()


@pytest.fixture(scope="module")
def stack(house_password: str) -> str:
    """Everything, the demo too; the value is the password of the house."""
    compose("demo", "up", "--detach", "--no-build")
    return house_password


def test_set_up_makes_secrets_that_each_container_alone_can_read(house_password: str) -> None:
    assert house_password
    for name, user in (("secrets-of-gateway", 10001), ("secrets-of-broker", 1883)):
        files = list(volume(name).iterdir())
        assert len(files) == 2
        assert {(path.stat().st_uid, path.stat().st_mode & 0o777) for path in files} == {(user, 0o400)}


def test_set_up_again_changes_nothing(house_password: str) -> None:
    assert house_password
    volumes = [volume("secrets-of-gateway"), volume("secrets-of-broker")]
    before = [path.read_bytes() for folder in volumes for path in sorted(folder.iterdir())]
    assert "Everything is there" in compose("setup", "run", "-T", "--rm", "setup")
    assert before == [path.read_bytes() for folder in volumes for path in sorted(folder.iterdir())]


def test_all_turn_healthy(stack: str) -> None:
    assert stack
    until_healthy("broker")
    until_healthy("gateway")
    shown = run("podman", "ps", "--format", "{{.Names}} {{.Status}}")
    assert shown.count("(healthy)") >= 2


def test_frames_go_through_to_the_network_and_to_the_house(stack: str) -> None:
    guest = (*network().inside, "mosquitto_sub", "-h", "127.0.0.1", "-u", "house", "-P", stack)
    asked = ("-t", "stile/+/forwarded", "-C", "3", "-W", f"{PATIENCE_SECONDS:.0f}")
    forwarded = [json.loads(line) for line in run(*guest, *asked).splitlines()]
    assert len(forwarded) == 3
    assert all(",qAO,QX1GAT-10:" in each["line"] for each in forwarded)
    parts = {part["kind"]: part for part in health()["parts"]}
    assert parts["uplink"]["figures"]["octets_sent"] > 0
    assert parts["bus"]["state"] == "ok"
    until_said("demo-network", r"^1 connections \(1 verified, 0 not\), [1-9]\d* lines: .* 0 rejected$")


def test_the_house_may_not_speak_for_the_gateway(stack: str) -> None:
    guest = ("-h", "127.0.0.1", "-u", "house", "-P", stack, "-V", "5", "-q", "1")
    said = subprocess.run(
        [*network().inside, "mosquitto_pub", *guest, "-t", "stile/QX1GAT-10/status", "-m", "forged"],
        capture_output=True,
        check=False,
    )
    assert b"Not authorized" in said.stderr + said.stdout


def test_the_journal_outlives_an_update(stack: str) -> None:
    assert stack
    run("podman", "stop", "--time", "5", name_of("gateway"))
    before = kept()
    run("podman", "rm", name_of("gateway"))
    compose("demo", "up", "--detach", "--no-build")
    until_healthy("gateway")
    after = kept()
    assert before["heard"] > 0
    assert after["heard"] >= before["heard"]
    assert after["runs"] == before["runs"] + 1


def kept() -> dict[str, int]:
    journal = sqlite3.connect(volume("gateway") / "stile.db")
    try:
        return {table: journal.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in ("runs", "heard")}
    finally:
        journal.close()


def test_a_stop_is_clean(stack: str) -> None:
    assert stack
    run("podman", "stop", "--time", "5", name_of("gateway"))
    status = run("podman", "inspect", "--format", "{{.State.ExitCode}}", name_of("gateway")).strip()
    logged = subprocess.run(
        ["podman", "logs", name_of("gateway")], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=True
    ).stdout
    told = json.loads(logged.splitlines()[-1])
    assert status == "0"
    assert told["event"] == "stopped"
    assert told["heard"] == told["forward"] + told["keep"] > 0


def test_the_words_of_the_page_take_all_of_it_away(stack: str) -> None:
    assert stack
    compose("demo", "down", "--volumes")
    for kind in (("ps", "--all"), ("volume", "ls")):
        assert PROJECT not in run("podman", *kind), kind
