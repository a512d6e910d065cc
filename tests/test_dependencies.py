"""What the gateway takes from others: declared, used, and nothing of theirs that is private."""

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from pathlib import Path

TREE = Path(__file__).parents[1]
PROJECT = tomllib.loads((TREE / "pyproject.toml").read_text("utf-8"))["project"]


def _imports() -> Iterator[tuple[str, str, str]]:
    """File, module and name of everything that is imported from others."""
    for file in (TREE / "gateway").rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            names = [(alias.name, "") for alias in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom) and node.module and not node.level:
                names = [(node.module, alias.name) for alias in node.names]
            for module, name in names:
                if module.partition(".")[0] not in {*sys.stdlib_module_names, "gateway", "compression"}:  # 3.14 has it
                    yield str(file.relative_to(TREE)), module, name


def _declared(requirements: list[str]) -> set[str]:
    return {re.split(r"[^\w.-]", requirement, maxsplit=1)[0].lower() for requirement in requirements}


def test_all_that_is_imported_is_declared_and_all_that_must_be_there_is_used() -> None:
    """pydantic's core is pydantic's own affair, and `backports` is many packages under one name."""
    distributions = packages_distributions()
    imported = {
        distributions[module.partition(".")[0]][0].lower()
        for _, module, _ in _imports()
        if module.partition(".")[0] not in ("backports", "pydantic_core")
    }
    always = _declared(PROJECT["dependencies"])
    extras = set().union(*map(_declared, PROJECT["optional-dependencies"].values()))
    assert imported <= always | extras
    assert always <= imported


ALLOWED = {
    "gateway/bus/embedded.py": "broker._broadcast_queue, broker._tasks_queue",
    "gateway/commands/usage.py": "parser._actions",
}
"""What has no public way, in the one place where it stands; the broker's extra holds it to release 0.12."""


def test_nothing_is_used_that_others_keep_private() -> None:
    """What a linter lets pass as private by exception is of our own classes, or of those that are named here."""
    private = [entry for entry in _imports() if re.search(r"(^|\.)_[^_]", f"{entry[1]}.{entry[2]}")]
    excepted = [
        (str(file.relative_to(TREE)), line)
        for file in (TREE / "gateway").rglob("*.py")
        for line in file.read_text("utf-8").splitlines()
        if "noqa: SLF001" in line and not line.endswith("- the same class")
    ]
    assert private == []
    assert [line for file, line in excepted if ALLOWED.get(file, " no such ") not in line] == []
