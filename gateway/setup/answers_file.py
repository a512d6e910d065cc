"""GivenAnswers from a file, for where there is no terminal: YAML, by the keys of the questions; secrets apart."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, create_model

from gateway.documents import Document, DocumentError, Problem, check, parse, read_text
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


_Words = Annotated[str, BeforeValidator(_as_typed)]


def _key(question: Question) -> str:
    return f"{question.key}_file" if question.is_secret else question.key


_FIELDS: dict[str, Any] = {
    _key(question): (Path | None, None) if question.is_secret else (_Words, "") for question in QUESTIONS
}
AnswersSection = create_model("AnswersSection", __base__=Section, **_FIELDS)
"""A key for each question; what is left out is answered by its default."""


class AnswersFile:
    """A file of answers that was read."""

    def __init__(self, path: Path) -> None:
        """Raises `DocumentError`."""
        try:
            text = read_text(path)
        except OSError as error:
            raise DocumentError([Problem(str(path), 1, "", f"cannot be read: {error.strerror}")]) from None
        self._folder = path.parent
        self._document: Document = parse(text, str(path))
        self._section = check(self._document, AnswersSection)

    def answer(self, question: Question, answers: GivenAnswers, around: ThisComputer) -> GivenAnswers:
        """The answers with the one to `question`. Raises `DocumentError`."""
        try:
            return question.answered(self._words(question), answers, around)
        except ValueError as error:
            raise DocumentError([self._document.problem((_key(question),), str(error))]) from None

    def refuse_unused(self, question: Question) -> None:
        """Raises `DocumentError` where a secret is given that nothing asks for."""
        if question.is_secret and getattr(self._section, _key(question)) is not None:
            what = f"nothing asks for it without {_NEEDED[question.key]}: it would not be used"
            raise DocumentError([self._document.problem((_key(question),), what)])

    def _words(self, question: Question) -> str:
        value: Any = getattr(self._section, _key(question))
        if question.is_secret:
            return "" if value is None else read_secret(self._folder, value).get_secret_value()
        words: str = value
        return words


def answers_in(file: AnswersFile, around: ThisComputer, on_answer: Callable[[str, GivenAnswers], None]) -> GivenAnswers:
    """All that is wanted; `on_answer` hears of each. Raises `DocumentError`."""
    answers = GivenAnswers()
    for question in QUESTIONS:
        if not question.wanted(answers):
            file.refuse_unused(question)
            continue
        answers = file.answer(question, answers, around)
        on_answer(question.key, answers)
    return answers
