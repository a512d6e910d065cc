"""A newcomer follows the guide on a bare Debian, word by word, to a service that runs, and to its removal.

    python -m pytest -o faulthandler_timeout=900 tests/guide/from_nothing.py

It wants root, a network for packages, debootstrap, podman and runc, and the ports that the pages name; about two
minutes once `tests/docker/come_up.py` has made the base. The bare Debian is a container with nothing in it but what
debootstrap brings and systemd, which runs as it does on a board; `sudo` is a line of shell there. Every command comes
from the pages: what they leave out fails here. At the end it says how long each step took.
"""

import shlex
import subprocess
import sys
import time
from collections.abc import Iterator

import pytest

from tests.guide.newcomer import FORWARDED, Record, clone, run
from tests.guide.pages import TREE, Block, blocks

pytestmark = [
    pytest.mark.timeout(900),
    pytest.mark.needs("debootstrap", "debootstrap"),
    pytest.mark.needs("podman", "podman"),
    pytest.mark.needs("buildah", "buildah"),
]

BOARD = "stile-board"
FOLDER = "/srv/stile"
PATIENCE_SECONDS = 60.0
DOCKERFILE = """\
FROM localhost/stile-base
RUN apt-get update && apt-get install --yes --no-install-recommends systemd && rm -rf /var/lib/apt/lists/*
RUN printf '#!/bin/sh\\n[ "$1" != -u ] || exec runuser -u "$2" -- "$3" "$4" "$5"\\nexec env "$@"\\n' \\
    > /usr/local/bin/sudo && chmod +x /usr/local/bin/sudo
"""


class Board:
    """A bare Debian computer, and who sits before it, in the folder of a clone."""

    def __init__(self) -> None:
        self.record = Record("of a bare Debian with Python's packages at hand")
        self._stays = 0

    def say(self, commands: str) -> str:
        """Type commands; they must end well."""
        return run("podman", "exec", "-i", BOARD, "sh", "-euc", f"cd {FOLDER}; . /dev/stdin", told=commands.encode())

    def ends_well(self, commands: str) -> bool:
        asked = ("podman", "exec", "-i", BOARD, "sh", "-euc", f"cd {FOLDER}; . /dev/stdin")
        return subprocess.run(asked, input=commands.encode(), capture_output=True, check=False).returncode == 0

    def until(self, commands: str) -> None:
        """Say it again and again until it ends well."""
        deadline = time.monotonic() + PATIENCE_SECONDS
        while not self.ends_well(commands):
            assert time.monotonic() < deadline, f"{commands}\n{self.say('tail -n 20 /tmp/stays-*')}"
            time.sleep(0.3)

    def write(self, path: str, text: str) -> None:
        where = shlex.quote(path)
        self.say(f"mkdir -p $(dirname {where}); cat > {where} <<'THE END'\n{text}THE END\n")

    def follow(self, block: Block) -> None:
        """Do what a block says, in the way that its first line says."""
        if block.how == "asks":
            return  # the same answers come from a file in the block below it
        with self.record.step(block.how if block.language == "yaml" else block.text.strip().splitlines()[-1]):
            self._do(block)

    def _do(self, block: Block) -> None:
        if block.language == "yaml":
            if block.how:
                self.write(block.how, block.text)
        elif block.how == "stays":
            self._stays += 1
            name = f"/tmp/stays-{self._stays}"
            self.say(f"nohup sh -c {shlex.quote('exec ' + block.text.strip())} > {name} 2>&1 & echo $! > {name}.pid\n")
        elif block.how == "soon":
            self.until(block.text)
        elif block.how == "look":
            self.say(f"{block.text.rstrip()} || [ $? -eq 1 ]\n")
        else:
            self.say(block.text)

    def heard(self, journal: str = "/var/lib/stile/stile.db") -> int:
        counting = (
            f"import sqlite3; print(*sqlite3.connect('{journal}').execute('SELECT count(*) FROM heard').fetchone())"
        )
        return int(self.say(f'/opt/stile/bin/python -c "{counting}"'))


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Board]:
    run(TREE / "docker/build-without-an-engine", "base")
    file = tmp_path_factory.mktemp("board") / "Dockerfile"
    file.write_text(DOCKERFILE)
    run("buildah", "bud", "--isolation", "chroot", "--layers", "--tag", BOARD, "-f", file, file.parent)
    run("podman", "rm", "--force", "--time", "0", "--ignore", BOARD)
    limits = ("--ulimit", "nofile=1024:1024", "--ulimit", "nproc=1024:1024")
    how = ("--runtime", "runc", "--network", "host", "--systemd", "always", *limits)
    run("podman", "run", "--detach", "--name", BOARD, *how, BOARD, "/lib/systemd/systemd")
    try:
        run("podman", "exec", "-i", BOARD, "sh", "-euc", f"mkdir {FOLDER}; tar -x -C {FOLDER}", told=clone())
        yield Board()
    finally:
        run("podman", "rm", "--force", "--time", "0", BOARD)


def test_the_first_post_forwards_frames(board: Board) -> None:
    for block in blocks("first-post.md"):
        board.follow(block)
        if block.how == "stays" and "/stile run" in block.text:
            with board.record.step("the first frame forwarded, by hand"):
                board.until(f"grep -q '{FORWARDED}' /tmp/stays-*")
    board.say("kill -INT $(cat /tmp/stays-3.pid)")  # as Ctrl-C does


def test_what_setup_writes_forwards_frames_too(board: Board) -> None:
    """Its answers come from the page, as do the decoder and the server, which go on running."""
    board.until("! kill -0 $(cat /tmp/stays-3.pid)")
    board.say("tail -n 1 /tmp/stays-2 > /tmp/before")
    board.say("nohup /opt/stile/bin/stile run ~/post/station.yaml > /tmp/stays-4 2>&1 & echo $! > /tmp/stays-4.pid")
    with board.record.step("the first frame forwarded, by setup"):
        board.until("grep -q 'uplink is up' /tmp/stays-4 && ! tail -n 1 /tmp/stays-2 | cmp -s - /tmp/before")
    board.say("kill -INT $(cat /tmp/stays-4.pid)")


def test_the_steps_that_setup_tells_make_a_service(board: Board) -> None:
    board.until("! kill -0 $(cat /tmp/stays-4.pid)")
    board.say("sed 's/^service: no/service: yes/' answers.yaml > of-a-service.yaml")
    told = board.say("/opt/stile/bin/stile setup /etc/stile --answers of-a-service.yaml")
    steps = [line.strip().partition("    ")[0] for line in told.splitlines() if line.startswith("  sudo ")]
    for step in steps:
        board.say(f"{step}\n" if " doctor " not in step else f"{step} || [ $? -eq 1 ]\n")
    with board.record.step("the first frame heard by the service that setup wrote"):
        board.until("systemctl show stile --property StatusText | grep -q 'heard [1-9]'")
    board.say("systemctl disable --now stile; rm -r /etc/stile /var/lib/stile /etc/systemd/system/stile.service")
    board.say("userdel stile; systemctl daemon-reload")


def test_the_service_runs_is_kept_and_put_back_and_removed(board: Board, capsys: pytest.CaptureFixture[str]) -> None:
    by_name = {block.how: block for block in blocks("alone-for-a-year.md")}
    ordinary = [block for block in blocks("alone-for-a-year.md") if block.how in {"", "/etc/stile/station.yaml"}]
    for block in ordinary:
        board.follow(block)
    with board.record.step("the first frame heard by the service"):
        board.until(
            "systemctl is-active --quiet stile && systemctl show stile --property StatusText | grep -q 'heard [1-9]'"
        )
    board.say("systemctl show stile --property Result | grep -qx Result=success")

    board.say("sudo systemctl stop stile")
    before = board.heard()
    board.say("sudo systemctl start stile")
    board.follow(by_name["backup"])
    board.say("systemctl stop stile; rm /var/lib/stile/stile.db*")
    board.follow(by_name["restore"])
    assert board.heard() >= before > 0

    board.follow(by_name["upgrade"])
    board.say("systemctl is-active stile; systemctl stop stile")
    newer = "import sqlite3; sqlite3.connect('/var/lib/stile/stile.db').execute('PRAGMA user_version = 99')"
    board.say(f'/opt/stile/bin/python -c "{newer}"')
    assert not board.ends_well(by_name["downgrade"].text)
    board.say("systemctl show stile --property ExecMainStatus | grep -qx ExecMainStatus=78")
    board.say(
        "journalctl --unit stile --no-pager | grep -q 'is a journal of version 99, and this Stile knows versions up to'"
    )
    board.follow(by_name["restore"])
    assert board.heard() >= before

    board.follow(by_name["remove"])
    board.say("test ! -e /opt/stile; test ! -e /etc/stile; test ! -e /var/lib/stile; ! id stile")
    with capsys.disabled():
        sys.stdout.write(str(board.record))
