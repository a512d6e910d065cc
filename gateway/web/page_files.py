"""The files of the page: what a browser loads of it, each under its name in `/page/`."""

import json
from collections.abc import Iterator
from importlib import resources
from importlib.resources.abc import Traversable

from gateway.reports import symbol

KINDS = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
"""Of a browser's files, by how their names end. HTML is not among them: it is filled in before it goes out."""


def text_of(name: str) -> bytes:
    """One file of the page's folder, as it is."""
    return resources.files(__package__).joinpath("page", name).read_bytes()


def page_files() -> dict[str, tuple[bytes, str]]:
    """By path: the octets and the media type of every file."""
    files = {f"/page/{name}": (file.read_bytes(), KINDS[_ending(name)]) for name, file in _walk(_folder(), "")}
    return files | {"/page/symbols.json": (json.dumps(symbol.NAMES).encode(), "application/json")}


def _folder() -> Traversable:
    return resources.files(__package__).joinpath("page")


def _walk(folder: Traversable, before: str) -> Iterator[tuple[str, Traversable]]:
    for entry in folder.iterdir():
        name = before + entry.name
        if entry.is_dir():
            yield from _walk(entry, f"{name}/")
        elif _ending(name) in KINDS:
            yield name, entry


def _ending(name: str) -> str:
    return name[name.rfind(".") :]
