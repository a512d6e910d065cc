"""A document becomes a pydantic model; whatever does not fit is said with its line, its key and what belongs there."""

import re
from collections.abc import Iterable, Iterator
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from gateway.documents import slips
from gateway.documents.document import Document
from gateway.documents.problem import MOST_PROBLEMS, DocumentError, Place, Problem, nearest

Model = TypeVar("Model", bound=BaseModel)

MOST_MISTAKES = 2000
"""With more than this, the first entries of every list are looked at alone: each mistake costs the memory of its own
description, and none but the first are told."""

LONGEST_WORDS = 400
"""Characters of what is said of one mistake."""

FIRST_ENTRIES = (10, 1000)
"""So many of every list, then."""


def check(document: Document, model: type[Model]) -> Model:
    """The content of `document` as a `model`. Raises `DocumentError` with every problem, each in its place."""
    content = {} if document.content is None else document.content
    try:
        return model.model_validate(content)
    except ValidationError as error:
        raise DocumentError(_problems(document, model, error)) from None


def _problems(document: Document, model: type[BaseModel], error: ValidationError) -> Iterator[Problem]:
    if error.error_count() > MOST_MISTAKES:
        few = _first_mistakes(document.content, model)
        if few is None or few.error_count() > MOST_MISTAKES:
            yield document.problem((), f"{error.error_count()} mistakes: is this the file that was meant?")
            return
        error = few
    details = error.errors(include_url=False)
    unknown = [detail["loc"] for detail in details if detail["type"] == "extra_forbidden"][:MOST_PROBLEMS]
    for detail in details:
        if detail["type"] != "missing" or not _is_misspelt(detail["loc"], unknown):
            yield _problem(document, model, detail)


def _first_mistakes(content: object, model: type[BaseModel]) -> ValidationError | None:
    """The mistakes of the shortest beginning of all lists that has any."""
    for entries in FIRST_ENTRIES:
        try:
            model.model_validate(_cut(content, entries))
        except ValidationError as error:
            return error
    return None


def _cut(content: object, entries: int) -> object:
    if isinstance(content, list):
        return [_cut(item, entries) for item in content[:entries]]
    if isinstance(content, dict):
        return {key: _cut(value, entries) for key, value in content.items()}
    return content


def _problem(document: Document, model: type[BaseModel], detail: ErrorDetails) -> Problem:
    location, given = detail["loc"], detail["input"]
    place = document.place_of(location)
    slip = _SLIPS.get(detail["type"])
    if isinstance(given, str) and slip is not None and (what := slip(given)) is not None:
        return document.problem(place, what, at=given)
    match detail["type"]:
        case "missing":
            return document.problem((*place, location[-1]), "this key is missing, and it is required")
        case "extra_forbidden":
            keys = _keys_at(model, location[:-1])
            listed = f"; the keys here are {', '.join(keys)}" if keys else ""
            return document.problem(place, f"unknown key{nearest(str(place[-1]), keys) or listed}")
        case "model_type" | "dict_type":
            keys = _keys_at(model, location)
            return document.problem(place, f"keys with values belong here{': ' + ', '.join(keys) if keys else ''}")
        case "enum" | "literal_error":
            words = re.findall(r"'([^']+)'", detail["msg"])
            return document.problem(place, f"{_in_our_words(detail)}{nearest(str(given), words)}")
    return document.problem(place, _in_our_words(detail))


_SLIPS = {
    "model_type": slips.no_space,
    "model_attributes_type": slips.no_space,
    "dict_type": slips.no_space,
    "float_parsing": slips.comma_in,
}
"""What may have slipped where text stands in the place of something else."""

_WHAT_BELONGS = {
    "list_type": "a list belongs here, as [one, another]",
    "string_type": "text belongs here; put it in quotation marks",
    "int_type": "a whole number belongs here",
    "float_type": "a number belongs here",
    "int_parsing": "a whole number belongs here",
    "int_from_float": "a whole number belongs here",
    "float_parsing": "a number belongs here",
    "path_type": "a path belongs here",
    "too_short": "at least one belongs here",
    "too_long": "more than {max_length} entries: this is the most that may stand here",
}


def _in_our_words(detail: ErrorDetails) -> str:
    what = _WHAT_BELONGS.get(detail["type"], "").format_map(detail.get("ctx", {})) or detail["msg"].removeprefix(
        "Value error, "
    )
    if len(what) > LONGEST_WORDS:  # what was written is repeated in them, and then what to write instead
        what = f"{what[: LONGEST_WORDS // 2]} ... {what[-LONGEST_WORDS // 2 :]}"
    return (what[:1].lower() + what[1:]).replace("input should be", "this should be", 1)


def _is_misspelt(missing: Place, unknown: Iterable[Place]) -> bool:
    """Whether a key is missing only because it is misspelt: the unknown key beside it says so, and what is right."""
    beside = (place[-1] for place in unknown if place[:-1] == missing[:-1])
    return any(nearest(str(word), [str(missing[-1])]) for word in beside)


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
        model = _model_in(argument)
        if model is not None:
            return model
    return None
