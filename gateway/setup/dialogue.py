"""Goes through the questions: asks, reads, tries, and asks again until an answer is kept; and back, where asked to."""

from collections.abc import Callable

from gateway.setup.answers import GivenAnswers
from gateway.setup.console import Console
from gateway.setup.questions import QUESTIONS, Question, in_words, is_yes
from gateway.setup.surroundings import ThisComputer
from gateway.setup.trials import Trial

Try = Callable[[str, GivenAnswers], Trial]
"""Tries the answers to the question of this key."""

BACK = "back"
"""What is typed to be asked the question before once more."""

HOW_TO_LEAVE = (
    f"Enter takes what stands in brackets; {BACK} leads to the question before; Ctrl-C leaves, and nothing is written."
)


class _BackError(Exception):
    """The operator wants the question before."""


def hold(console: Console, around: ThisComputer, try_it: Try) -> GivenAnswers:
    """Ask all that is wanted. Raises `LeftError`."""
    answers, number = GivenAnswers(), 0
    answered: list[tuple[int, GivenAnswers]] = []
    """The questions so far, each with the answers before it."""
    while number < len(QUESTIONS):
        question = QUESTIONS[number]
        if question.wanted(answers):
            try:
                given = _answered(question, answers, console, around, try_it)
            except _BackError:
                number, answers = answered.pop() if answered else (number, answers)
                continue
            answered.append((number, answers))
            answers = given
        number += 1
    return answers


def _line(ask: Callable[[str], str], prompt: str) -> str:
    """One line, unless it leads back. Raises `LeftError` and `_BackError`."""
    text = ask(prompt).strip()
    if text.lower() == BACK:
        raise _BackError
    return text


def _yes_or_no(console: Console, asks: str, *, default: bool) -> bool:
    """Ask until it is answered by yes or no. Raises `LeftError` and `_BackError`."""
    while True:
        text = _line(console.ask, f"{asks} [{'yes' if default else 'no'}] ")
        try:
            return is_yes(text) if text else default
        except ValueError as error:
            console.say(str(error))


def _answered(
    question: Question, answers: GivenAnswers, console: Console, around: ThisComputer, try_it: Try
) -> GivenAnswers:
    console.say("")
    if explained := in_words(question.explains, answers, around):
        console.say(explained)
    default = in_words(question.default, answers, around)
    prompt = f"{question.asks}{f' [{default}]' if default else ''}: "
    ask = console.ask_secretly if question.is_secret else console.ask
    while True:
        try:
            answered = question.answered(_line(ask, prompt), answers, around)
        except ValueError as error:
            console.say(str(error))
            continue
        if question.trying:
            console.say(f"  {question.trying}")
        if _is_kept(try_it(question.key, answered), console):
            return answered


def _is_kept(trial: Trial, console: Console) -> bool:
    for line in trial.lines:
        console.say(f"  {line}")
    if not trial.is_fine:
        return _yes_or_no(console, "  Keep this answer all the same?", default=False)
    return not trial.asks or _yes_or_no(console, f"  {trial.asks}", default=True)
