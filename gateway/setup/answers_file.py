"""GivenAnswers from a file, for where there is no terminal: YAML, by the keys of the questions; secrets apart."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from gateway.documents import Document, DocumentError, Problem, check, parse, read_text
from gateway.documents.values import Section
from gateway.settings.secret import read_secret
from gateway.setup.answers import GivenAnswers
from gateway.setup.questions import QUESTIONS, Around, Question

_FILE = "_file"
_Words = str | int | float | bool | list[str] | None


class AnswersSection(Section):
    """The keys, each as a word, a number, yes or no, or a list; what is left out is answered by its default."""

    callsign: _Words = None
    name: _Words = None
    place: _Words = None
    receivers: _Words = None
    servers: _Words = None
    passcode_file: Path | None = None
    broker: _Words = None
    broker_user: _Words = None
    broker_password_file: Path | None = None
    page: _Words = None
    journal: _Words = None
    service: _Words = None


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

    def answer(self, question: Question, answers: GivenAnswers, around: Around) -> GivenAnswers:
        """The answers with the one to `question`. Raises `DocumentError`."""
        key = f"{question.key}{_FILE}" if question.is_secret else question.key
        try:
            return question.answered(self._words(key, question), answers, around)
        except ValueError as error:
            raise DocumentError([self._document.problem((key,), str(error))]) from None

    def _words(self, key: str, question: Question) -> str:
        value: Any = getattr(self._section, key)
        if question.is_secret:
            return "" if value is None else read_secret(self._folder, value).get_secret_value()
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, list):
            return " ".join(value)
        return "" if value is None else str(value)


def answers_in(file: AnswersFile, around: Around, told: Callable[[str, GivenAnswers], None]) -> GivenAnswers:
    """All that is wanted; `told` hears of each. Raises `DocumentError`."""
    answers = GivenAnswers()
    for question in QUESTIONS:
        if question.wanted(answers):
            answers = file.answer(question, answers, around)
            told(question.key, answers)
    return answers
