"""The house as DEVELOPERS.md draws it: which room imports which, what each holds, and how large a file may be."""

import ast
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

TREE = Path(__file__).parent.parent
GATEWAY = TREE / "gateway"
LONGEST_FILE = 500
NOTHING = "nothing of ours"

_ROW = re.compile(r"^\| `gateway/(?P<room>\w+)(?:/|\.py)` \|[^|]*\| (?P<imports>[^|]*) \|$", re.MULTILINE)


def rooms() -> dict[str, set[str]]:
    """By room, from the ground up: the rooms that it may import, as DEVELOPERS.md says."""
    page = (TREE / "DEVELOPERS.md").read_text("utf-8")
    return {
        row["room"]: set() if row["imports"] == NOTHING else set(re.findall(r"`(\w+)`", row["imports"]))
        for row in _ROW.finditer(page)
    }


def files(*folders: str) -> Iterator[Path]:
    for folder in folders:
        yield from sorted((TREE / folder).rglob("*.py"))


def imported_by(path: Path) -> set[str]:
    """The rooms that a file imports from, wherever in it that stands."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module == "gateway":
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("gateway."):
            found.add((node.module or "").split(".")[1])
        elif isinstance(node, ast.Import):
            found |= {name.name.split(".")[1] for name in node.names if name.name.startswith("gateway.")}
    return found - {"__version__"}


def room_of(path: Path) -> str:
    return path.relative_to(GATEWAY).parts[0].removesuffix(".py")


@pytest.mark.parametrize("room", rooms())
def test_a_room_imports_what_the_table_says_and_nothing_else(room: str) -> None:
    own = [path for path in files("gateway") if room_of(path) == room]
    assert own
    assert set().union(*map(imported_by, own)) - {room} == rooms()[room]


def test_every_room_stands_in_the_table() -> None:
    assert {room_of(path) for path in files("gateway")} - {"__init__"} == rooms().keys()


def test_no_arrow_points_upward_and_there_is_no_circle() -> None:
    below: set[str] = set()
    for room, imports in rooms().items():
        assert imports <= below, f"{room} imports what stands below it in the table"
        below.add(room)


@pytest.mark.parametrize("face", sorted(GATEWAY.rglob("__init__.py")), ids=lambda path: path.parent.name)
def test_the_face_of_a_room_maps_its_files(face: Path) -> None:
    if face.parent == GATEWAY:
        return
    held = {path.name for path in face.parent.glob("*.py")} - {"__init__.py"}
    held |= {f"{path.parent.name}/" for path in face.parent.glob("*/__init__.py")}
    text = ast.get_docstring(ast.parse(face.read_text("utf-8"))) or ""
    assert set(re.findall(r"`([\w/]+(?:\.py|/))`", text)) == held


@pytest.mark.parametrize("folder", ["gateway", "demo", "docker", "tests"])
def test_no_file_is_longer_than_can_be_read_at_a_sitting(folder: str) -> None:
    lengths = {str(path.relative_to(TREE)): len(path.read_text("utf-8").splitlines()) for path in files(folder)}
    assert {name: length for name, length in lengths.items() if length > LONGEST_FILE} == {}


def test_a_class_has_a_name_of_its_own() -> None:
    names = Counter(
        node.name.lstrip("_")
        for path in files("gateway")
        for node in ast.parse(path.read_text("utf-8")).body
        if isinstance(node, ast.ClassDef)
    )
    assert {name for name, count in names.items() if count > 1} == set()
