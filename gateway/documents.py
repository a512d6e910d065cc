"""YAML text becomes a checked model; what is wrong in it is said with the file, the line, the key and what to do."""

import difflib
import errno
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import yaml
from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from gateway.printable import printable

Model = TypeVar("Model", bound=BaseModel)
Place = tuple[str | int, ...]
"""The way to a value from the top of a document: keys and list positions."""

MAXIMUM_TEXT = 4 * 1024 * 1024
"""Characters of one document; a list of 100,000 callsigns takes about 1.5 million."""

MAXIMUM_VALUES = 1_000_000
"""Values of one document, whatever an alias stands for counted each time."""

MAXIMUM_DEPTH = 32
"""How deep values may stand in one another."""


SHORTEST_BEGINNING = 3
"""So many letters of a word, `lat`, say which word was meant."""


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
        """One line for a terminal: what is not printable in it is escaped."""
        return printable(f"{self.file}:{self.line}: {self.key + ': ' if self.key else ''}{self.what}")


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


def _integer(text: str) -> int:
    return int(text, {"0x": 16, "0o": 8}.get(text[:2], 10))


def _number(text: str) -> float:
    return float(text.lower().replace(".inf", "inf").replace(".nan", "nan"))


def _constructor(pattern: re.Pattern[str], make: Callable[[str], object]) -> Callable[[Any, yaml.ScalarNode], object]:
    """Reads a scalar of one type; text that is none, under a tag that says it is, is an error with its place."""

    def construct(loader: Any, node: yaml.ScalarNode) -> object:  # noqa: ANN401 - one of PyYAML's two loaders
        text: str = loader.construct_scalar(node)
        if pattern.match(text) is not None:
            try:
                return make(text)
            except ValueError:  # Python reads no whole number of more than 4300 digits
                pass
        kind = node.tag.rpartition(":")[2]
        raise yaml.constructor.ConstructorError(None, None, f"{text[:40]!r} is no {kind}", node.start_mark)

    return construct


_SCALARS: tuple[tuple[str, str, str, Callable[[str], object]], ...] = (
    ("bool", r"(?:true|True|TRUE|false|False|FALSE)\Z", "tTfF", lambda text: text.lower() == "true"),
    ("int", r"(?:[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+)\Z", "-+0123456789", _integer),
    (
        "float",
        r"(?:[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?|[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN))\Z",
        "-+0123456789.",
        _number,
    ),
    ("null", r"(?:~|null|Null|NULL|)\Z", "~nN", lambda _: None),
)
"""Type, the text that means it, the characters that this begins with, and what makes the value."""

for _tag, _text, _first, _make in _SCALARS:
    _pattern = re.compile(_text)
    _CoreLoader.add_implicit_resolver(
        f"tag:yaml.org,2002:{_tag}", _pattern, [*_first, ""] if _tag == "null" else [*_first]
    )
    _CoreLoader.add_constructor(f"tag:yaml.org,2002:{_tag}", _constructor(_pattern, _make))

_CORE_TAGS = frozenset(f"tag:yaml.org,2002:{tag}" for tag in ("str", "bool", "int", "float", "null", "seq", "map"))
_TEXT_TAG = "tag:yaml.org,2002:str"
_NULL_TAG = "tag:yaml.org,2002:null"

_UNACCEPTABLE = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What no YAML text holds (YAML 1.2.2 section 5.1)."""


def read_text(path: Path, longest: int = MAXIMUM_TEXT) -> str:
    """The text of a file of no more than `longest` octets. Raises `OSError`, whose `strerror` says why it cannot."""
    try:
        with path.open("rb") as file:
            octets = file.read(longest + 1)
        text = octets.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise OSError(errno.EILSEQ, "it is no UTF-8 text") from None
    except ValueError:
        raise OSError(errno.EINVAL, "no file can have such a name") from None
    if len(octets) > longest:
        raise OSError(errno.EFBIG, f"it is longer than {longest} octets")
    return text


def parse(text: str, file: str) -> Document:
    """Read one YAML document. Raises `DocumentError` where it is no YAML, or where a value may not stand in one."""
    if len(text) > MAXIMUM_TEXT:
        raise DocumentError([Problem(file, 1, "", f"longer than {MAXIMUM_TEXT} characters")])
    if (bad := _UNACCEPTABLE.search(text)) is not None:
        line = text.count("\n", 0, bad.start()) + 1
        raise DocumentError([Problem(file, line, "", f"not YAML: the character {ord(bad[0]):#04x} is no text")])
    survey = _Survey(file)
    loader = _CoreLoader(text)
    try:
        node = loader.get_single_node()
        if node is not None:
            survey.walk(node, ())
        content = None if node is None or survey.problems else loader.construct_document(node)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = (
            min(mark.line, text.count("\n")) + 1 if mark else 1
        )  # what is missing at the end is said of the last line
        raise DocumentError([Problem(file, line, "", f"not YAML: {error.problem}")]) from None
    except yaml.YAMLError as error:
        raise DocumentError([Problem(file, 1, "", f"not YAML: {_first_line(error)}")]) from None
    except RecursionError:
        raise DocumentError([Problem(file, 1, "", f"values stand more than {MAXIMUM_DEPTH} deep")]) from None
    finally:
        loader.dispose()
    if survey.problems:
        raise DocumentError(survey.problems)
    return Document(file, text, content, survey.lines)


class _Survey:
    """Walks through the nodes of a document: notes the line of each value, and what may not stand in a document."""

    def __init__(self, file: str) -> None:
        self.lines: dict[Place, int] = {}
        self.problems: list[Problem] = []
        self._file = file
        self._values = 0

    def walk(self, node: yaml.Node, place: Place) -> None:
        """Look at a node and all below it."""
        line = node.start_mark.line + 1
        self.lines.setdefault(place, line)
        self._values += 1
        if self._values > MAXIMUM_VALUES:
            raise DocumentError([Problem(self._file, line, "", f"holds more than {MAXIMUM_VALUES} values")])
        if len(place) > MAXIMUM_DEPTH:
            raise DocumentError([Problem(self._file, line, "", f"values stand more than {MAXIMUM_DEPTH} deep")])
        if node.tag not in _CORE_TAGS:
            self._problem(line, place, f"the tag {node.tag} has no meaning here")
        if node.tag == _NULL_TAG and place:
            self._problem(self.lines[place], place, "there is no value: give one, or leave this out")
        if isinstance(node, yaml.SequenceNode):
            for position, item in enumerate(node.value):
                self.walk(item, (*place, position))
        elif isinstance(node, yaml.MappingNode):
            self._walk_mapping(node, place)

    def _walk_mapping(self, node: yaml.MappingNode, place: Place) -> None:
        seen: set[str] = set()
        for key, value in node.value:
            line = key.start_mark.line + 1
            if key.tag != _TEXT_TAG:
                self._problem(line, place, "a key that is no text: put it in quotation marks")
                continue
            below = (*place, key.value)
            if key.value in seen:
                self._problem(line, below, "this key stands twice")
            seen.add(key.value)
            self.lines[below] = line
            self.walk(value, below)

    def _problem(self, line: int, place: Place, what: str) -> None:
        self.problems.append(Problem(self._file, line, key_of(place), what))


def check(document: Document, model: type[Model]) -> Model:
    """The content of `document` as a `model`. Raises `DocumentError` with every problem, each in its place."""
    content = {} if document.content is None else document.content
    try:
        return model.model_validate(content)
    except ValidationError as error:
        details = error.errors(include_url=False, include_context=True)
        told = [detail for detail in details if not _is_told_by_another(detail, details)]
        raise DocumentError([_problem(document, model, detail) for detail in told]) from None


def key_of(place: Place) -> str:
    """A place as an operator reads it: `rules[2].when.hops`, list positions counted from 0."""
    text = ""
    for part in place:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def nearest(word: str, known: Iterable[str]) -> str:
    """A hint at the word that was meant: ` - did you mean "rules"?`, or nothing."""
    words = list(known)
    begun = [whole for whole in words if whole.startswith(word)] if len(word) >= SHORTEST_BEGINNING else []
    near = begun or difflib.get_close_matches(word, words, n=1, cutoff=0.6)
    return f' - did you mean "{near[0]}"?' if near else ""


def _problem(document: Document, model: type[BaseModel], detail: ErrorDetails) -> Problem:
    location = detail["loc"]
    place: Place = ()
    for part in location:  # pydantic also names the types it tried: those parts are no places in the text
        if (*place, part) in document.lines:
            place = (*place, part)
    match detail["type"]:
        case "missing":
            return document.problem((*place, location[-1]), "this key is missing, and it is required")
        case "extra_forbidden":
            known = _keys_at(model, location[:-1])
            listed = f"; the keys here are {', '.join(known)}" if known else ""
            return document.problem(place, f"unknown key{nearest(str(place[-1]), known) or listed}")
        case "model_type" | "dict_type":
            known = _keys_at(model, location)
            return document.problem(place, f"keys with values belong here{': ' + ', '.join(known) if known else ''}")
        case "enum" | "literal_error":
            words = re.findall(r"'([^']+)'", detail["msg"])
            return document.problem(place, f"{_in_our_words(detail)}{nearest(str(detail['input']), words)}")
    return document.problem(place, _in_our_words(detail))


_WHAT_BELONGS = {
    "list_type": "a list belongs here, as [one, another]",
    "string_type": "text belongs here; put it in quotation marks",
    "int_type": "a whole number belongs here",
    "float_type": "a number belongs here",
    "float_parsing": "a number belongs here",
    "path_type": "a path belongs here",
    "too_short": "at least one belongs here",
}


def _in_our_words(detail: ErrorDetails) -> str:
    what = _WHAT_BELONGS.get(detail["type"]) or detail["msg"].removeprefix("Value error, ")
    return (what[:1].lower() + what[1:]).replace("input should be", "this should be", 1)


def _is_told_by_another(detail: ErrorDetails, details: Iterable[ErrorDetails]) -> bool:
    """Whether a key is missing only because it is misspelt: the unknown key beside it says so, and what is right."""
    if detail["type"] != "missing":
        return False
    parents, key = detail["loc"][:-1], str(detail["loc"][-1])
    unknown = (other["loc"] for other in details if other["type"] == "extra_forbidden")
    return any(place[:-1] == parents and nearest(str(place[-1]), [key]) for place in unknown)


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
