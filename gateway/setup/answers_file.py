"""GivenAnswers from a file, for where there is no terminal: YAML, by the keys of the questions; secrets apart."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, create_model

from gateway.documents import DocumentError, Problem, check, parse, read_text
from gateway.documents.values import Section
from gateway.settings.secret import read_secret
from gateway.setup.answers import GivenAnswers
from gateway.setup.questions import QUESTIONS, Question
from gateway.setup.surroundings import ThisComputer

_NEEDED = {"passcode": "servers", "broker_password": "broker_user"}
"""A secret is of use beside the answer to another question alone."""


def _as_typed(value: object) -> str:
    """What would be typed at a terminal. Raises `ValueError`."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return " ".join(map(_as_typed, value))
    if isinstance(value, str | int | float):
        return str(value)
    if value is None:
        return ""
    raise ValueError("a word or a number belongs here, or a list of these")


_Typed = Annotated[str, BeforeValidator(_as_typed)]


def _key(question: Question) -> str:
    return f"{question.key}_file" if question.is_secret else question.key


_FIELDS: dict[str, Any] = {
    _key(question): (Path | None, None) if question.is_secret else (_Typed, "") for question in QUESTIONS
}
AnswersSection = create_model("AnswersSection", __base__=Section, **_FIELDS)
"""A key for each question; what is left out is answered by its default."""


def answers_in(path: Path, around: ThisComputer, on_answer: Callable[[str, GivenAnswers], None]) -> GivenAnswers:
    """All that is wanted, from the file at `path`; `on_answer` hears of each. Raises `DocumentError`."""
    try:
        document = parse(read_text(path), str(path))
    except OSError as error:
        raise DocumentError([Problem(str(path), 1, "", f"cannot be read: {error.strerror}")]) from None
    section = check(document, AnswersSection)
    answers = GivenAnswers()
    for question in QUESTIONS:
        key = _key(question)
        given = getattr(section, key)
        if question.wanted(answers):
            try:
                answers = question.answered(_words(path.parent, given), answers, around)
            except ValueError as error:
                raise DocumentError([document.problem((key,), str(error))]) from None
            on_answer(question.key, answers)
        elif question.is_secret and given is not None:
            what = f"nothing asks for it without {_NEEDED[question.key]}: it would not be used"
            raise DocumentError([document.problem((key,), what)])
    return answers


def _words(folder: Path, given: str | Path | None) -> str:
    """What would be typed; a secret stands in a file of its own."""
    return read_secret(folder, given).get_secret_value() if isinstance(given, Path) else given or ""
