"""Problems as an operator reads them: one line, and the place in the text where it helps."""

import pytest

from gateway.documents import DocumentError, Problem, key_of, nearest
from gateway.documents.problem import LONGEST_WORD, MOST_PROBLEMS, WIDEST_EXCERPT


def test_a_place_is_written_as_an_operator_reads_it() -> None:
    assert key_of(("rules", 2, "when", "hops")) == "rules[2].when.hops"
    assert key_of((0, "a")) == "[0].a"
    assert key_of(()) == ""


def test_the_nearest_word_is_near() -> None:
    assert nearest("ruels", ["rules", "rates"]) == ' - did you mean "rules"?'
    assert nearest("lat", ["locator", "latitude"]) == ' - did you mean "latitude"?'
    assert nearest("zebra", ["rules", "rates"]) == ""
    assert nearest("", ["rules", "rates"]) == ""


def test_a_problem_stays_one_line_on_a_terminal_whatever_stands_in_it() -> None:
    problem = Problem("house.yaml", 3, "a\x1b[31m\n", "b\u202e\ud800 ok é")
    assert str(problem) == r"house.yaml:3: a\x1b[31m\n: b\u202e\ud800 ok é"


def test_a_long_key_is_cut() -> None:
    assert key_of(("a", "k" * 1000, 1)) == f"a.{'k' * LONGEST_WORD}...[1]"


def test_no_word_is_looked_for_that_is_longer_than_any() -> None:
    assert nearest("r" * (LONGEST_WORD + 1), ["r" * LONGEST_WORD]) == ""


def test_a_place_in_a_line_is_shown_with_a_caret_under_it() -> None:
    assert Problem("a.yaml", 3, "b", "no", 4, "b: [1").shown() == "a.yaml:3: b: no\n    b: [1\n       ^"
    assert Problem("a.yaml", 3, "b", "no").shown() == "a.yaml:3: b: no"
    assert Problem("a.yaml", 3, "b", "no", 3, "\tx").shown() == "a.yaml:3: b: no\n    \\tx\n       ^"


@pytest.mark.parametrize("column", [1, 60, 300, 2000])
def test_of_a_long_line_the_part_around_the_place_is_shown(column: int) -> None:
    line = "".join(chr(0x4E00 + number) for number in range(2000))
    _, excerpt, caret = Problem("a.yaml", 3, "b", "no", column, line).shown().split("\n")
    assert len(excerpt) <= WIDEST_EXCERPT + 4
    assert excerpt[caret.index("^")] == line[column - 1]


def test_what_is_shown_of_a_line_is_one_line_of_a_terminal() -> None:
    for line in Problem("a", 1, "", "x", 2, "\x1b[31m\u202e\r").shown().split("\n"):
        assert line.isprintable()


def test_an_error_carries_the_first_problems_and_says_that_there_are_more() -> None:
    error = DocumentError(Problem("a", number, "", "x") for number in range(1, MOST_PROBLEMS + 11))
    assert len(error.problems) == MOST_PROBLEMS + 1
    assert str(error.problems[-1]) == "a:101: mend these first: there are more"
