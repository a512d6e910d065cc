"""What a test reads of whoever answers for a part."""

from gateway.groundwork.part import Answers


def figure(answers: Answers, name: str, **labels: str) -> float:
    """The value of one figure, or the sum of those that share a name where no label tells which."""
    values = [each.value for each in answers.figures() if each.name == name and labels.items() <= each.labels.items()]
    assert values, f"no figure {name} {labels}"
    return sum(values)


def figure_names(answers: Answers) -> set[str]:
    """The names of all figures."""
    return {each.name for each in answers.figures()}
