"""The package installs in each of the ways that gateway/guide/packages.md names, on every Python that is here."""

import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from gateway import __version__
from tests.guide.pages import blocks
from tests.packages.built import TREE, built
from tests.setup.at_a_terminal import at_a_terminal

pytestmark = pytest.mark.one_python  # each of them is tried here

TOOLS = Path(sys.executable).parent
STATION = "station: {callsign: QX1GAT-10}\nreceivers: [{name: vhf, from: kiss+tcp://127.0.0.1:7581}]\n"


def pythons() -> list[str]:
    """Of 3.11 to 3.14, those on the path or among pyenv's."""
    versions = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    found = []
    for name in ("3.11", "3.12", "3.13", "3.14"):
        for candidate in (f"python{name}", *map(str, versions.glob(f"{name}.*/bin/python3"))):
            if subprocess.run(["sh", "-c", f"{candidate} -c ''"], capture_output=True, check=False).returncode == 0:
                found.append(candidate)
                break
    return found


def run(*command: str | Path, **more: str) -> str:
    """What a command prints; it must end well."""
    environment = {**os.environ, "PATH": f"{TOOLS}:{os.environ['PATH']}", **more}
    ended = subprocess.run(list(map(str, command)), env=environment, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stderr
    return ended.stdout


def works(program: Path, folder: Path) -> bool:
    """Whether the installed program finds its policies and knows its version, far from the tree."""
    (folder / "station.yaml").write_text(STATION)
    assert run(program, "--version") == f"stile {__version__}\n"
    return "policy receive-only@" in run(program, "check", folder / "station.yaml").replace("\n", " ")


def test_what_is_pinned_is_all_that_the_package_and_its_extras_ask_for(tmp_path: Path) -> None:
    """Installed by hash alone, as the guide has it with pip."""
    python = tmp_path / "stile/bin/python"
    run("uv", "venv", "--quiet", "--python", sys.executable, tmp_path / "stile")
    pip = ("uv", "pip", "install", "--quiet", "--python", python)
    run(*pip, "--require-hashes", "--requirement", TREE / "gateway/constraints.txt")
    run(*pip, "--no-deps", f"{built('wheel')}[broker,club,zstd]")
    assert works(tmp_path / "stile/bin/stile", tmp_path)
    run("uv", "pip", "check", "--python", python)


async def test_the_words_of_the_readme_install_it_and_lead_to_a_post(tmp_path: Path) -> None:
    """From a tree, in an empty home: its two lines as they stand there, the second one at a terminal."""
    (block,) = [block for block in blocks(TREE / "README.md") if "stile setup" in block.text]
    installs, sets_up = block.text.splitlines()
    cache = run(sys.executable, "-m", "pip", "cache", "dir").strip()
    home = {"HOME": str(tmp_path), "PIP_CACHE_DIR": cache, "PIP_NO_COMPILE": "1"}
    run("sh", "-ec", f"cd {shlex.quote(str(TREE))}\n{installs}", **home)
    async with at_a_terminal(["sh", "-ec", sets_up], {**os.environ, **home}) as terminal:
        await terminal.answer("Your callsign")
        await terminal.answer("A name for the post")
        await terminal.answer("Where the antenna is")
        await terminal.answer("Which decoder, or decoders", "kiss+tcp://127.0.0.1:9")  # nothing serves frames there
        await terminal.answer("Keep this answer all the same?", "yes")
        await terminal.answer("An MQTT broker", "embedded")
        await terminal.answer("The page", "no")
        await terminal.answer("Keep a journal")
        await terminal.answer("Write a service", "no")
        assert await terminal.status() == 0
    assert "policy receive-only@" in run(tmp_path / "stile/bin/stile", "check", tmp_path / "post/station.yaml")


def test_pipx_installs_it(tmp_path: Path) -> None:
    places = {"PIPX_HOME": str(tmp_path / "home"), "PIPX_BIN_DIR": str(tmp_path / "bin")}
    run("pipx", "install", f"{built('wheel')}", **places)
    assert works(tmp_path / "bin/stile", tmp_path)


@pytest.mark.parametrize("python", pythons())
def test_uv_installs_the_source_archive_as_it_is_pinned(tmp_path: Path, python: str) -> None:
    places = {"UV_TOOL_DIR": str(tmp_path / "tools"), "UV_TOOL_BIN_DIR": str(tmp_path / "bin")}
    pinned = ("--constraints", TREE / "gateway/constraints.txt")
    run("uv", "tool", "install", "--quiet", "--python", python, *pinned, built("sdist"), **places)
    assert works(tmp_path / "bin/stile", tmp_path)


@pytest.mark.parametrize("processor", ["x86_64", "aarch64"])
def test_what_the_gateway_stands_on_is_there_ready_made_for_64_bit_boards_too(processor: str) -> None:
    """Nothing is built from source: no compiler is in an image, nor on a small computer."""
    platform = ("--python-platform", f"{processor}-unknown-linux-gnu", "--python-version", "3.11")
    pinned = run("uv", "pip", "compile", "--only-binary", ":all:", *platform, TREE / "docker/requirements.txt")
    assert "pydantic-core==" in pinned
