"""A newcomer follows docker/README.md word by word, with an engine of containers, to frames that are forwarded.

    python -m pytest -o faulthandler_timeout=900 tests/docker/from_nothing.py

It wants root, git, a network for packages, debootstrap, buildah, podman and runc, and the ports that the page names;
about eight minutes, of which two pass before the first frame is forwarded. Every command comes from the page: what it
leaves out fails here. Podman and a reader of compose files stand in for Docker, with a memory of their own that begins
empty, so that everything is built. In the place of the base that a registry would give stands one made by debootstrap.
At the end it says how long each step took.
"""

import os
import pty
import re
import shlex
import subprocess
import sys
import tarfile
import tempfile
import time
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import pytest

from tests.docker.come_up import IN_A_SANDBOX, pytestmark  # noqa: F401 - it needs the same
from tests.guide.newcomer import FORWARDED, Record, clone, run
from tests.guide.pages import TREE, Block, blocks

PAGE = TREE / "docker/README.md"
PATIENCE_SECONDS = 60.0

DOCKER = f"""\
#!/bin/sh
[ "$1" = compose ] || exec podman "$@"
shift
case " $* " in *" run "*" setup "*) set -- --profile setup "$@";; esac # Docker starts what is asked for by its name
exec {Path(sys.executable).parent}/podman-compose --in-pod false --podman-run-args='{IN_A_SANDBOX}' "$@"
"""
STORAGE = '[storage]\ndriver = "overlay"\nrunroot = "{0}/run"\ngraphroot = "{0}/images"\n'


class Newcomer:
    """Who sits before the computer, at first at the top of a clone."""

    def __init__(self, folder: Path) -> None:
        self.record = Record("of the containers, built from nothing, with Python's packages at hand")
        self._place = folder / "clone"
        self._went = folder / "went"
        self._password = ""

    def say(self, commands: str) -> subprocess.CompletedProcess[str]:
        """Type commands, where the last ones led to."""
        asked = f"{commands.replace('PASSWORD', self._password)}\npwd > {self._went}\n"
        ended = subprocess.run(
            ["sh", "-euc", asked],
            cwd=self._place,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
        )
        if ended.returncode == 0:
            self._place = Path(self._went.read_text().strip())
        self._note_password(ended.stdout)
        return ended

    def says(self, commands: str) -> str:
        """Type commands that must end well; the value is what they print."""
        ended = self.say(commands)
        assert ended.returncode == 0, f"{commands}\n{ended.stdout}\n{ended.stderr}"
        return ended.stdout

    def until(self, commands: str) -> None:
        """Type them again and again until they end well."""
        deadline = time.monotonic() + PATIENCE_SECONDS
        while (ended := self.say(commands)).returncode != 0:
            assert time.monotonic() < deadline, f"{commands}\n{ended.stdout}\n{ended.stderr}"
            time.sleep(0.3)

    def answer(self, commands: str, prompt: bytes, line: bytes) -> None:
        """Type commands at a terminal, and a line where they ask for it."""
        shown = b""
        answered = False

        def read(terminal: int) -> bytes:
            nonlocal shown, answered
            octets = os.read(terminal, 1024)
            shown += octets
            if prompt in shown and not answered:
                answered = True
                time.sleep(0.3)  # what is typed before the asking begins is thrown away
                os.write(terminal, line)
            return octets

        status = pty.spawn(["sh", "-euc", f"cd {shlex.quote(str(self._place))}; {commands}"], read)
        assert (os.waitstatus_to_exitcode(status), answered) == (0, True), shown.decode()
        self._note_password(shown.decode().replace("\r", ""))

    def follow(self, block: Block) -> None:
        """Do what a block says, in the way that its first line says."""
        for line in block.text.strip().splitlines():
            with self.record.step(line.partition(" #")[0].strip()):
                self._do(line, block.how)

    def _do(self, line: str, how: str) -> None:
        if how == "soon":
            self.until(line)
        elif how == "asks":
            self.answer(line, b"The passcode of your callsign", b"21161\n")
        elif how == "look":
            self.says(f"{line.partition(' #')[0]} || [ $? -eq 1 ]")
        else:
            self.says(line)

    def _note_password(self, shown: str) -> None:
        for password in re.findall(r"^    (\S{24})$", shown, re.MULTILINE):
            self._password = password


@pytest.fixture
def newcomer(monkeypatch: pytest.MonkeyPatch) -> Iterator[Newcomer]:
    with tempfile.TemporaryDirectory(prefix="stile-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        clone_into(folder)
        (folder / "storage.conf").write_text(STORAGE.format(folder))
        docker = folder / "bin/docker"
        docker.parent.mkdir()
        docker.write_text(DOCKER)
        docker.chmod(0o755)
        monkeypatch.setenv("PATH", f"{docker.parent}:{os.environ['PATH']}")
        monkeypatch.setenv("CONTAINERS_STORAGE_CONF", str(folder / "storage.conf"))
        monkeypatch.setenv("BUILDAH_ISOLATION", "chroot")
        monkeypatch.setenv("BUILDAH_FORMAT", "docker")
        newcomer = Newcomer(folder)
        try:
            with newcomer.record.step("(the base, in the place of what a registry gives)"):
                take_base(folder)
            yield newcomer
        finally:
            run("podman", "rm", "--all", "--force", "--time", "0")


def clone_into(folder: Path) -> None:
    """Make a repository of the tree as it is now, and a clone of that, into which an update can be pulled."""
    with tarfile.open(fileobj=BytesIO(clone())) as packed:
        packed.extractall(folder / "origin", filter="data")
    git = ("git", "-C", folder / "origin", "-c", "user.name=Stile", "-c", "user.email=stile@example.org")
    run(*git, "init", "--quiet")
    run(*git, "add", "--all")
    run(*git, "commit", "--quiet", "--message", "The tree as it is now")
    run("git", "clone", "--quiet", folder / "origin", folder / "clone")


def take_base(folder: Path) -> None:
    """Make what would be fetched, and choose it."""
    run(TREE / "docker/build-without-an-engine", "base")
    (folder / "clone/docker/.env").write_text("BASE=localhost/stile-base\n")


def test_the_page_leads_from_a_clone_to_frames_that_are_forwarded(
    newcomer: Newcomer, capsys: pytest.CaptureFixture[str]
) -> None:
    for block in blocks(PAGE):
        if block.language == "yaml":
            continue
        newcomer.follow(block)
        if "--profile demo up" in block.text:
            with newcomer.record.step("the first frame forwarded"):
                newcomer.until(f"docker compose --profile demo logs demo-network | grep -q '{FORWARDED}'")
    newcomer.says("docker compose stop")
    with capsys.disabled():
        sys.stdout.write(str(newcomer.record))
