"""The mutants that the bench of mistakes tries."""

import ast
from pathlib import Path
from textwrap import dedent

import pytest

from tests.bench.mutants import mutants_of


def changes(source: str) -> list[tuple[str, str]]:
    return [(mutant.was, mutant.becomes) for mutant in mutants_of(dedent(source))]


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("DEEPEST = 4", [("4", "5"), ("4", "3")]),
        ("LONGEST = 65_536", [("65_536", "65537")]),
        ("x = a <= b", [("a <= b", "(a < b)")]),
        ("x = not a", [("not a", "a")]),
        ("x = a or b", [("a or b", "(a and b)"), ("a or b", "b"), ("a or b", "a")]),
        ("x = text.rstrip(b)", [("text.rstrip(b)", "text"), ("text.rstrip(b)", "(text.rstrip())")]),
        ("x = text.upper()", [("text.upper()", "(text.lower())"), ("text.upper()", "text")]),
        ("if a:\n    b.c = d", [("a", "(not a)"), ("b.c = d", "pass")]),
        ("def f():\n    return a", [("return a", "return")]),
        ("if a > b:\n    raise E(f'no {c} at 3')", [("a > b", "(a >= b)"), ("raise E(f'no {c} at 3')", "pass")]),
        (r"P = re.compile('x{1,9}\\Z')", [
            ("'x{1,9}\\\\Z'", "'x{1,9}'"), ("'x{1,9}\\\\Z'", "'x{2,9}\\\\Z'"), ("'x{1,9}\\\\Z'", "'x{1,10}\\\\Z'"),
            ("'x{1,9}\\\\Z'", "'x{1,9}\\\\ZX'"),
        ]),
    ],
)  # fmt: skip
def test_what_decides_is_changed(source: str, expected: list[tuple[str, str]]) -> None:
    assert sorted(changes(source)) == sorted(expected)


@pytest.mark.parametrize(
    "source",
    [
        '"""A docstring of 3 words."""',
        "x: Literal['a'] = y",
        "@lru_cache(maxsize=4)\ndef f(): pass",
        "class Colour(Enum):\n    RED = 'red'",
        "if TYPE_CHECKING:\n    x = 1",
        "message = 'several words for people'",
    ],
)
def test_what_is_for_people_or_the_type_checker_is_left_alone(source: str) -> None:
    assert changes(source) == []


def test_a_mutant_knows_its_line_and_the_function_around_it() -> None:
    source = dedent("""\
        BOUND = 1

        def outer():
            def inner():
                return 2

        @lru_cache
        def remembered():
            return 3
    """)
    found = {(mutant.line, mutant.function) for mutant in mutants_of(source)}
    assert found == {(1, None), (5, range(3, 6)), (9, None)}


def test_every_mutant_of_a_module_of_ours_is_a_module_and_differs_in_its_place_alone() -> None:
    source = Path(__file__, "../../../gateway/judge/network_rules.py").resolve().read_text("utf-8")
    mutants = mutants_of(source)
    assert len(mutants) > 50
    for mutant in mutants:
        assert ast.dump(ast.parse(mutant.source)) != ast.dump(ast.parse(source))
        assert len(mutant.source) - len(source) == len(mutant.becomes) - len(mutant.was)
