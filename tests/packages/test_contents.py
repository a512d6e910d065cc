"""What the wheel and the source archive carry."""

import re
import tarfile
import tomllib
import zipfile
from pathlib import Path

import pytest

from gateway import __version__
from tests.packages.built import TREE, build, built


def names_in(wheel: Path) -> set[str]:
    with zipfile.ZipFile(wheel) as archive:
        return {name for name in archive.namelist() if "dist-info" not in name}


@pytest.mark.parametrize(
    "carried",
    [
        "stile.service",
        "constraints.txt",
        "py.typed",
        "policies/receive-only.yaml",
        "policies/policy.schema.json",
        "policies/README.md",
        "guide/changes.md",
        "guide/packages.md",
        "feed/schema/heard.schema.json",
        "reports/report.schema.json",
        "web/openapi.json",
        "web/page/page.html",
        "journal/migrations/0001_first.sql",
    ],
)
def test_what_a_gateway_needs_beside_its_code_is_in_the_wheel(carried: str) -> None:
    assert f"gateway/{carried}" in names_in(built("wheel"))


def test_nothing_but_the_gateway_is_in_the_wheel() -> None:
    names = names_in(built("wheel"))
    assert {name.partition("/")[0] for name in names} == {"gateway"}
    assert not [name for name in names if "__pycache__" in name or "/." in name]


def test_every_file_of_the_gateway_is_in_the_wheel() -> None:
    here = {
        str(path.relative_to(TREE))
        for path in (TREE / "gateway").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert here - names_in(built("wheel")) == set()


def test_a_wheel_made_from_the_source_archive_is_the_same(tmp_path: Path) -> None:
    with tarfile.open(built("sdist")) as archive:
        archive.extractall(tmp_path, filter="data")
    (tree,) = tmp_path.iterdir()
    assert names_in(build("wheel", tree, tmp_path / "built")) == names_in(built("wheel"))


def test_the_package_and_the_program_are_of_one_version() -> None:
    assert built("wheel").name.startswith(f"stile-{__version__}-")


def test_an_extra_for_operators_is_named_by_what_it_gives_and_is_in_the_table_of_the_guide() -> None:
    extras = tomllib.loads((TREE / "pyproject.toml").read_text("utf-8"))["project"]["optional-dependencies"]
    guide = (TREE / "gateway/guide/packages.md").read_text("utf-8")
    told = set(re.findall(r"^\| `(\w+)` \|", guide, re.MULTILINE))
    assert told == extras.keys() - {"check", "demo", "test"}


def test_no_file_that_is_carried_names_where_packages_come_from() -> None:
    text = (TREE / "gateway/constraints.txt").read_text("utf-8")
    assert not re.search(r"https?:|index-url|find-links|file:", text)
