import json
import os
import re
import shutil
import subprocess
import tomllib
from fnmatch import fnmatch
from itertools import chain
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from tests.docker.reading import FOLDER, TREE, dockerfile

INSTRUCTIONS = dockerfile()


def only(stage: str, name: str) -> str:
    (found,) = [each.text for each in INSTRUCTIONS if (each.stage, each.name) == (stage, name)]
    return found


def stages() -> dict[str, str]:
    """Each stage and the image or stage that it starts from, in their order."""
    return {each.stage: each.text.split()[0] for each in INSTRUCTIONS if each.name == "FROM"}


def copied_from_the_tree() -> list[str]:
    copies = [each.text.split() for each in INSTRUCTIONS if each.name == "COPY"]
    return [source for words in copies if not words[0].startswith("--from=") for source in words[:-1]]


def is_seen_by_a_build(path: str) -> bool:
    """As .dockerignore is read: the last line that matches the path, or a folder that it lies in, decides."""
    seen = True
    folders = [path, *(str(parent) for parent in (TREE / path).relative_to(TREE).parents if str(parent) != ".")]
    for line in (FOLDER / "Dockerfile.dockerignore").read_text("utf-8").splitlines():
        pattern = line.removeprefix("!")
        if line and line[0] != "#" and any(fnmatch(each, pattern) for each in folders):
            seen = line[0] == "!"
    return seen


def test_the_base_is_named_by_its_digest_and_names_no_registry() -> None:
    assert INSTRUCTIONS[0].name == "ARG"
    name, _, base = INSTRUCTIONS[0].text.partition("=")
    assert name == "BASE"
    assert re.fullmatch(r"[a-z]+:[\w.-]+@sha256:[0-9a-f]{64}", base)
    assert stages()["base"] == "${BASE}"


def test_the_gateway_is_what_is_built_unless_another_target_is_named() -> None:
    assert list(stages()) == ["base", "build", "runtime", "broker", "demo", "gateway"]


def test_what_a_build_needs_does_not_get_into_the_images() -> None:
    assert stages()["runtime"] == "base"
    assert stages()["gateway"] == stages()["demo"] == "runtime"
    for each in INSTRUCTIONS:
        if each.name == "RUN" and each.stage in {"runtime", "demo", "gateway"}:
            assert not re.search(r"\b(apt-get|pip)\b", each.text)
        if each.name == "COPY" and "--from=" in each.text:
            assert each.text == "--from=build /opt/stile /opt/stile"
    assert any("venv --without-pip /opt/stile" in each.text for each in INSTRUCTIONS if each.name == "RUN")


@pytest.mark.parametrize("source", copied_from_the_tree())
def test_what_is_copied_exists_and_a_build_may_see_it(source: str) -> None:
    assert (TREE / source).exists()
    assert is_seen_by_a_build(source)


@pytest.mark.parametrize(
    "path", ["docker/secrets/passcode", "docker/.env", ".git/config", ".venv/bin/python", "tests/run"]
)
def test_no_build_sees_what_is_not_for_it(path: str) -> None:
    assert not is_seen_by_a_build(path)


def test_all_that_the_wheel_is_made_of_is_copied() -> None:
    project = tomllib.loads((TREE / "pyproject.toml").read_text("utf-8"))
    wheel = project["tool"]["hatch"]["build"]["targets"]["wheel"]
    needed = {
        "pyproject.toml",
        project["project"]["readme"],
        *project["project"]["license-files"],
        *wheel["packages"],
        *wheel["force-include"],
    }
    assert needed <= set(copied_from_the_tree())


def test_it_runs_as_a_user_that_is_not_root_and_is_named_by_number() -> None:
    users = {each.stage: each.text for each in INSTRUCTIONS if each.name == "USER"}
    assert users == {"runtime": "10001:10001", "broker": "1883:1883"}


def test_it_runs_the_station_file_and_is_stopped_by_sigterm() -> None:
    assert json.loads(only("gateway", "ENTRYPOINT")) == ["stile"]
    assert json.loads(only("gateway", "CMD")) == ["run", "/etc/stile/station.yaml"]
    assert only("runtime", "STOPSIGNAL") == "SIGTERM"
    assert only("gateway", "VOLUME") == only("runtime", "WORKDIR") == "/var/lib/stile"


def test_its_health_check_is_the_script_that_was_copied() -> None:
    command = json.loads(only("gateway", "HEALTHCHECK").partition("CMD ")[2])
    assert command == ["python", "-I", "/opt/stile/health.py"]
    assert "docker/health.py docker/set_up.py /opt/stile/" in [
        each.text for each in INSTRUCTIONS if each.name == "COPY"
    ]


def pip_commands() -> list[list[str]]:
    """Every command of the build that lets pip fetch or install something, as its words."""
    commands = [one.split() for each in INSTRUCTIONS if each.name == "RUN" for one in each.text.split("&&")]
    return [words for words in commands if any(word.endswith("/pip") for word in words)]


def test_nothing_is_installed_but_what_has_the_pinned_hash_or_lies_in_the_build_already() -> None:
    commands = pip_commands()
    assert len(commands) == 4
    for words in commands:
        assert "--require-hashes" in words or {"--no-deps", "--no-index"} <= {*words} or "wheel" in words
        if "wheel" in words:  # made of the tree, by tools that have their hashes
            assert {"--no-deps", "--no-build-isolation", "."} <= {*words}


def pins(name: str) -> dict[str, str]:
    """The pinned version of each package in a file of requirements, each of which has a hash and nothing else."""
    text = re.sub(r"^ *#.*\n", "", (FOLDER / name).read_text("utf-8"), flags=re.MULTILINE)
    found = {}
    for entry in re.sub(r"\s*\\\n\s*", " ", text).splitlines():
        match = re.fullmatch(r"([a-z0-9-]+)==([\w.]+)( ; [^@:/]+?)?(?: --hash=sha256:[0-9a-f]{64})+", entry)
        assert match is not None, entry
        found[match[1]] = match[2]
    return found


def test_the_pinned_packages_are_those_that_the_project_asks_for() -> None:
    project = tomllib.loads((TREE / "pyproject.toml").read_text("utf-8"))
    extras: dict[str, list[str]] = project["project"]["optional-dependencies"]
    for_operators = [extras[name] for name in extras.keys() - {"check", "demo", "test"}]
    asked = {
        "requirements.txt": project["project"]["dependencies"],
        "../gateway/constraints.txt": [*project["project"]["dependencies"], *chain(*for_operators)],
        "requirements-build.txt": project["build-system"]["requires"],
    }
    for name, requirements in asked.items():
        pinned = pins(name)
        for requirement in map(Requirement, requirements):
            version = pinned.get(requirement.name.lower().replace("_", "-").replace(".", "-"))
            assert version is not None, f"docker/pin has not been run since {requirement.name} was asked for"
            assert requirement.specifier.contains(version), f"docker/pin has not been run since {requirement} changed"


DOCKER = """#!/bin/sh
[ "$*" = "buildx imagetools inspect --format {{.Manifest.Digest}} python:3.99-slim" ] && echo sha256:0123
"""


def test_a_newer_base_is_taken_up_wherever_it_is_named(tmp_path: Path) -> None:
    files = ["Dockerfile", "compose.yaml"]
    for name in ["pin-base", *files]:
        shutil.copy(FOLDER / name, tmp_path)
    docker = tmp_path / "docker"
    docker.write_text(DOCKER)
    docker.chmod(0o755)
    path = f"{tmp_path}:{os.environ['PATH']}"
    subprocess.run([tmp_path / "pin-base", "python:3.99-slim"], env={"PATH": path}, check=True, capture_output=True)
    base = INSTRUCTIONS[0].text.removeprefix("BASE=")
    for name in files:
        before = (FOLDER / name).read_text("utf-8")
        assert (tmp_path / name).read_text("utf-8") == before.replace(base, "python:3.99-slim@sha256:0123") != before


@pytest.mark.parametrize("script", ["build-without-an-engine", "pin", "pin-base"])
def test_the_scripts_are_proper_shell_and_can_be_run(script: str) -> None:
    path = FOLDER / script
    assert path.read_text("utf-8").startswith("#!/bin/sh\n")
    assert path.stat().st_mode & 0o111
    subprocess.run(["sh", "-n", str(path)], check=True)


def test_the_build_without_an_engine_names_stages_that_exist() -> None:
    script = (FOLDER / "build-without-an-engine").read_text("utf-8")
    assert set(re.findall(r"^build (\w+) [\w-]+$", script, re.MULTILINE)) == {"gateway", "demo", "broker"}
