"""Reads the files of docker/ for the tests, each as its engine would."""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

TREE = Path(__file__).parents[2]
FOLDER = TREE / "docker"


@dataclass(frozen=True, slots=True)
class Instruction:
    """One line of a Dockerfile, continued lines joined, and the stage that it belongs to ("" before the first)."""

    stage: str
    name: str
    text: str


def dockerfile() -> list[Instruction]:
    text = re.sub(r"^#.*\n", "", (FOLDER / "Dockerfile").read_text("utf-8"), flags=re.MULTILINE)
    stage = ""
    instructions = []
    for line in re.sub(r"\\\n\s*", "", text).splitlines():
        name, _, rest = line.strip().partition(" ")
        if name == "FROM":
            stage = rest.partition(" AS ")[2]
        if name:
            instructions.append(Instruction(stage, name, rest.strip()))
    return instructions


def compose_text() -> str:
    """The compose file as it is without any variable set."""
    return re.sub(r"\$\{\w+:-([^}]*)\}", r"\1", (FOLDER / "compose.yaml").read_text("utf-8"))


def compose() -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load(compose_text())
    return loaded
