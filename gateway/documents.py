"""YAML text becomes a checked model; what is wrong in it is said with the file, the line, the key and what to do."""

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

import yaml
from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

Model = TypeVar("Model", bound=BaseModel)
Place = tuple[str | int, ...]
"""The way to a value from the top of a document: keys and list positions."""

MAXIMUM_TEXT = 16 * 1024 * 1024
"""Characters of one document; a list of 100,000 callsigns takes about 1.5 million."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong in a document."""

    file: str
    line: int
    """Counted from 1."""

    key: str
    """The way to the value, `rules[2].when.hops`; empty for the document as a whole."""

    what: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.key + ': ' if self.key else ''}{self.what}"


class DocumentError(ValueError):
    """A document cannot be used; `problems` says why, each with its place."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(map(str, self.problems)))


@dataclass(frozen=True, slots=True)
class Document:
    """A YAML document as plain values, with the line of each."""

    file: str
    text: str
    content: Any
    lines: Mapping[Place, int]

    def problem(self, place: Place, what: str) -> Problem:
        """A problem at `place`, or at the nearest place above it that has a line."""
        known = next((place[:depth] for depth in range(len(place), -1, -1) if place[:depth] in self.lines), ())
        return Problem(self.file, self.lines.get(known, 1), key_of(place), what)


_Loader: type[yaml.SafeLoader] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
"""The parser in C where PyYAML was built with it: a list of 100,000 callsigns takes seconds otherwise."""


class _CoreLoader(_Loader):  # type: ignore[misc,valid-type]  # which of the two it is, is known at run time only
    """YAML with the types of its 1.2 core schema only: `no` is text, and so is `12:30` (YAML 1.2.2 section 10.3.2)."""

    yaml_implicit_resolvers: dict[str, list[tuple[str, re.Pattern[str]]]] = {}  # noqa: RUF012 - PyYAML's way


for _tag, _pattern, _first in (
    ("bool", r"(?:true|True|TRUE|false|False|FALSE)\Z", "tTfF"),
    ("int", r"(?:[-+]?[0-9]+|0x[0-9a-fA-F]+)\Z", "-+0123456789"),
    ("float", r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?\Z", "-+0123456789."),
    ("null", r"(?:~|null|Null|NULL|)\Z", ["~", "n", "N", ""]),
):
    _CoreLoader.add_implicit_resolver(f"tag:yaml.org,2002:{_tag}", re.compile(_pattern), list(_first))


def _integer(loader: yaml.SafeLoader, node: yaml.ScalarNode) -> int:
    text = loader.construct_scalar(node)
    return int(text, 16 if text.startswith("0x") else 10)


_CoreLoader.add_constructor("tag:yaml.org,2002:int", _integer)


def parse(text: str, file: str) -> Document:
    """Read one YAML document. Raises `DocumentError` where it is no YAML, or a key stands twice."""
    if len(text) > MAXIMUM_TEXT:
        raise DocumentError([Problem(file, 1, "", f"longer than {MAXIMUM_TEXT} characters")])
    lines: dict[Place, int] = {}
    problems: list[Problem] = []
    loader = _CoreLoader(text)
    try:
        node = loader.get_single_node()
        if node is not None:
            _note_lines(node, (), lines, problems, file)
        content = None if node is None or problems else loader.construct_document(node)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        raise DocumentError([Problem(file, mark.line + 1 if mark else 1, "", f"not YAML: {error.problem}")]) from None
    except (yaml.YAMLError, ValueError, RecursionError) as error:
        raise DocumentError([Problem(file, 1, "", f"not YAML: {_first_line(error)}")]) from None
    finally:
        loader.dispose()
    if problems:
        raise DocumentError(problems)
    return Document(file, text, content, lines)


def _note_lines(node: yaml.Node, place: Place, lines: dict[Place, int], problems: list[Problem], file: str) -> None:
    lines.setdefault(place, node.start_mark.line + 1)
    if isinstance(node, yaml.SequenceNode):
        for position, item in enumerate(node.value):
            _note_lines(item, (*place, position), lines, problems, file)
    elif isinstance(node, yaml.MappingNode):
        seen: set[str] = set()
        for key, value in node.value:
            name = str(key.value)
            below = (*place, name)
            if name in seen:
                problems.append(Problem(file, key.start_mark.line + 1, key_of(below), "this key stands twice"))
            seen.add(name)
            lines[below] = key.start_mark.line + 1
            _note_lines(value, below, lines, problems, file)


def check(document: Document, model: type[Model]) -> Model:
    """The content of `document` as a `model`. Raises `DocumentError` with every problem, each in its place."""
    content = {} if document.content is None else document.content
    try:
        return model.model_validate(content)
    except ValidationError as error:
        details = error.errors(include_url=False, include_context=True)
        raise DocumentError([_problem(document, model, detail) for detail in details]) from None


def key_of(place: Place) -> str:
    """A place as an operator reads it: `rules[2].when.hops`, list positions counted from 0."""
    text = ""
    for part in place:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def nearest(word: str, known: Iterable[str]) -> str:
    """A hint at the word that was meant: ` - did you mean "rules"?`, or nothing."""
    near = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f' - did you mean "{near[0]}"?' if near else ""


def _problem(document: Document, model: type[BaseModel], detail: ErrorDetails) -> Problem:
    location = detail["loc"]
    place: Place = ()
    for part in location:  # pydantic also names the types it tried: those parts are no places in the text
        if (*place, part) in document.lines:
            place = (*place, part)
    if detail["type"] == "missing":
        return document.problem((*place, location[-1]), "this key is missing, and it is required")
    if detail["type"] == "extra_forbidden":
        known = _keys_at(model, location[:-1])
        listed = f"; the keys here are {', '.join(known)}" if known else ""
        return document.problem(place, f"unknown key{nearest(str(place[-1]), known) or listed}")
    what = detail["msg"].removeprefix("Value error, ")
    return document.problem(place, what[:1].lower() + what[1:])


def _keys_at(model: type[BaseModel], location: Place) -> list[str]:
    """The keys that the model at `location` takes; empty where that cannot be told."""
    here: type[BaseModel] | None = model
    for part in location:
        if here is None:
            return []
        field = next((field for name, field in here.model_fields.items() if part in {name, field.alias}), None)
        if field is not None:
            here = _model_in(field.annotation)
    return [field.alias or name for name, field in here.model_fields.items()] if here else []


def _model_in(annotation: Any) -> type[BaseModel] | None:  # noqa: ANN401 - any type may stand in an annotation
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for argument in getattr(annotation, "__args__", ()):
        found = _model_in(argument)
        if found is not None:
            return found
    return None


def _first_line(error: Exception) -> str:
    return (str(error) or type(error).__name__).splitlines()[0]
