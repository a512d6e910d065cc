"""Goes through the questions: asks, reads, tries, and asks again until an answer is kept."""

from collections.abc import Callable

from gateway.setup.answers import GivenAnswers
from gateway.setup.console import Console
from gateway.setup.questions import QUESTIONS, Around, Question, is_yes
from gateway.setup.trials import Trial

Try = Callable[[str, GivenAnswers], Trial]
"""Tries the answers to the question of this key."""


def hold(console: Console, around: Around, try_it: Try) -> GivenAnswers:
    """Ask all that is wanted. Raises `LeftError`."""
    answers = GivenAnswers()
    for question in QUESTIONS:
        if question.wanted(answers):
            answers = _answered(question, answers, console, around, try_it)
    return answers


def yes_or_no(console: Console, asks: str, *, default: bool) -> bool:
    """Ask until it is answered by yes or no. Raises `LeftError`."""
    while True:
        text = console.ask(f"{asks} [{'yes' if default else 'no'}] ")
        try:
            return is_yes(text) if text.strip() else default
        except ValueError as error:
            console.say(str(error))


def _answered(question: Question, answers: GivenAnswers, console: Console, around: Around, try_it: Try) -> GivenAnswers:
    console.say("")
    if explained := question.explains(answers, around):
        console.say(explained)
    default = question.default(answers, around)
    prompt = f"{question.asks}{f' [{default}]' if default else ''}: "
    ask = console.ask_secretly if question.is_secret else console.ask
    while True:
        try:
            answered = question.answered(ask(prompt), answers, around)
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
        return yes_or_no(console, "  Keep this answer all the same?", default=False)
    return not trial.asks or yes_or_no(console, f"  {trial.asks}", default=True)
