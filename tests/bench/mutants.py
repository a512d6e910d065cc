"""Mutants: what a wrong implementation of a module could look like, each one small change away from the right one.

A change replaces the text of one expression or statement and leaves all else as it stands. Texts for people are left
alone (messages, docstrings), and so is what only the type checker reads.
"""

import ast
import copy
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change to a module."""

    line: int
    """Counted from 1."""

    was: str
    becomes: str
    source: str
    """The module with the change."""

    function: range | None
    """The lines of the outermost function around it; None where there is none, or where its results are remembered
    (a decorator): then who calls it is not seen."""


def mutants_of(source: str) -> list[Mutant]:
    """Every mutant of a module, in the order of its lines."""
    finder = _Finder(source)
    finder.visit(ast.parse(source))
    return sorted(finder.found, key=lambda mutant: mutant.line)


_Change = tuple[ast.expr | ast.stmt, ast.AST | None]
"""What is changed, and what stands there then: None for nothing at all."""

_COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
_OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.FloorDiv,
    ast.FloorDiv: ast.Mult,
    ast.Div: ast.Mult,
    ast.Mod: ast.Mult,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.BitXor: ast.BitOr,
}
_SWAPPED = {"min": "max", "max": "min", "any": "all", "all": "any", "startswith": "endswith", "endswith": "startswith"}
_SWAPPED |= {"partition": "rpartition", "rpartition": "partition", "upper": "lower", "lower": "upper"}
_LEFT_OUT = {"upper", "lower", "casefold", "strip", "lstrip", "rstrip", "removeprefix", "removesuffix"}
"""Methods that give back a value like the one that they are asked of."""

_WITHOUT_ARGUMENTS = {"strip", "lstrip", "rstrip", "split"}
LARGE = 1000
"""A number from here on is a bound or a length of time: one more is change enough."""

_QUANTITY = re.compile(r"(?<=[{,])([0-9]+)(?=[,}])")


_SAID_TO_PEOPLE = (ast.JoinedStr, ast.Raise, ast.Import, ast.ImportFrom, ast.MatchValue, ast.Assert)
"""Nothing in these is changed: messages, and what would be an error at once."""


class _Finder(ast.NodeVisitor):
    """Walks a module and notes every change."""

    def __init__(self, source: str) -> None:
        self.found: list[Mutant] = []
        self._source = source
        self._octets = source.encode()
        self._line_starts = [0]
        for line in source.splitlines(keepends=True):
            self._line_starts.append(self._line_starts[-1] + len(line.encode()))
        self._function: range | None = None
        self._in_function = False
        self._in_pattern = False

    def visit(self, node: ast.AST) -> None:
        """Note the changes of a node, and go on to what stands in it."""
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            return
        if isinstance(node, ast.expr | ast.stmt):
            for name, changes in _CHANGES.items():
                if isinstance(node, name):
                    for target, becomes in changes(node):
                        self._note(target, becomes)
        if not isinstance(node, _SAID_TO_PEOPLE):
            super().visit(node)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        """Defaults and body; not decorators and types."""
        outermost = not self._in_function
        if outermost:
            self._in_function = True
            seen = all(isinstance(one, ast.Name) and one.id == "property" for one in node.decorator_list)
            first = min([node.lineno, *(one.lineno for one in node.decorator_list)])
            self._function = range(first, (node.end_lineno or node.lineno) + 1) if seen else None
        for part in (*node.args.defaults, *node.args.kw_defaults, *node.body):
            if part is not None:
                self.visit(part)
        if outermost:
            self._in_function, self._function = False, None

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        """The body; the words of an enumeration are what it is."""
        if not any(isinstance(base, ast.Name) and base.id.endswith("Enum") for base in node.bases):
            for part in node.body:
                self.visit(part)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        """The value; not the type."""
        if node.value is not None:
            self.visit(node.value)

    def visit_Expr(self, node: ast.Expr) -> None:
        """No docstring."""
        if not isinstance(node.value, ast.Constant):
            self.generic_visit(node)

    def _note(self, target: ast.expr | ast.stmt, becomes: ast.AST | None) -> None:
        start, end = (
            self._place(target.lineno, target.col_offset),
            self._place(target.end_lineno, target.end_col_offset),
        )
        text = "pass" if becomes is None else ast.unparse(becomes)
        if isinstance(becomes, ast.expr) and not isinstance(becomes, ast.Constant | ast.Name):
            text = f"({text})"
        was = self._octets[start:end].decode()
        changed = (self._octets[:start] + text.encode() + self._octets[end:]).decode()
        if text != was:
            self.found.append(Mutant(target.lineno, was, text, changed, self._function))

    def _place(self, line: int | None, column: int | None) -> int:
        return self._line_starts[(line or 1) - 1] + (column or 0)


def _of_comparison(node: ast.Compare) -> Iterator[_Change]:
    for place, operator in enumerate(node.ops):
        changed = copy.copy(node)
        changed.ops = [*node.ops[:place], _COMPARISONS[type(operator)](), *node.ops[place + 1 :]]
        yield node, changed


def _of_boolean(node: ast.BoolOp) -> Iterator[_Change]:
    yield node, ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
    for place in range(len(node.values)):
        left = [*node.values[:place], *node.values[place + 1 :]]
        yield node, left[0] if len(left) == 1 else ast.BoolOp(node.op, left)


def _of_not(node: ast.UnaryOp) -> Iterator[_Change]:
    if isinstance(node.op, ast.Not | ast.USub):
        yield node, node.operand


def _of_operation(node: ast.BinOp) -> Iterator[_Change]:
    if all(isinstance(one, ast.BinOp | ast.operator | ast.Constant) for one in ast.walk(node)):
        return  # `8 * 1024 * 1024` is a bound: its numbers are changed
    operator = _OPERATORS.get(type(node.op))
    is_text = any(isinstance(side, ast.JoinedStr) or _is_text(side) for side in (node.left, node.right))
    if operator is not None and not is_text:
        yield node, ast.BinOp(node.left, operator(), node.right)


def _of_sum(node: ast.AugAssign) -> Iterator[_Change]:
    yield node, None
    operator = _OPERATORS.get(type(node.op))
    if operator is not None:
        yield node, ast.AugAssign(node.target, operator(), node.value)


def _of_constant(node: ast.Constant) -> Iterator[_Change]:
    value = node.value
    if isinstance(value, bool):
        yield node, ast.Constant(not value)
    elif isinstance(value, int | float):
        yield node, ast.Constant(value + 1)
        if 1 < value < LARGE:
            yield node, ast.Constant(value - 1)
    elif isinstance(value, str) and len(value.split()) <= 1:
        yield node, ast.Constant(f"{value}X")
    elif isinstance(value, bytes) and len(value.split()) <= 1:
        yield node, ast.Constant(value + b"X")


def _of_choice(node: ast.If | ast.IfExp | ast.While) -> Iterator[_Change]:
    """A condition that asks no more than one thing, which none of the other changes turns round."""
    if not isinstance(node.test, ast.Compare | ast.BoolOp | ast.UnaryOp):
        yield node.test, ast.UnaryOp(ast.Not(), node.test)


def _of_call(node: ast.Call) -> Iterator[_Change]:
    function = node.func
    name = function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")
    if name in _SWAPPED:
        other = _SWAPPED[name]
        called: ast.expr = ast.Name(other)
        if isinstance(function, ast.Attribute):
            called = ast.Attribute(function.value, other)
        yield node, ast.Call(called, node.args, node.keywords)
    if isinstance(function, ast.Attribute) and name in _LEFT_OUT:
        yield node, function.value
    if name in _WITHOUT_ARGUMENTS and node.args:
        yield node, ast.Call(function, [], [])
    if name == "compile" and node.args and isinstance(node.args[0], ast.Constant):
        yield from _of_expression(node.args[0])


def _of_expression(node: ast.Constant) -> Iterator[_Change]:
    """A regular expression: without its end, and with each quantity one more."""
    is_text = isinstance(node.value, str)
    text = node.value if isinstance(node.value, str) else node.value.decode("latin-1")  # type: ignore[union-attr]
    changed = [text.replace(r"\Z", "")] if r"\Z" in text else []
    changed += [
        f"{text[: quantity.start()]}{int(quantity[0]) + 1}{text[quantity.end() :]}"
        for quantity in _QUANTITY.finditer(text)
    ]
    for each in changed:
        yield node, ast.Constant(each if is_text else each.encode("latin-1"))


def _of_return(node: ast.Return) -> Iterator[_Change]:
    if node.value is not None and not (isinstance(node.value, ast.Constant) and node.value.value is None):
        yield node, ast.Return(None)


def _left_out(node: ast.stmt) -> Iterator[_Change]:
    yield node, None


def _of_statement(node: ast.Expr) -> Iterator[_Change]:
    if isinstance(node.value, ast.Call | ast.Yield | ast.YieldFrom):
        yield node, None


def _of_assignment(node: ast.Assign) -> Iterator[_Change]:
    """What is kept beyond the function: a local name left out would be an error at once."""
    if all(isinstance(target, ast.Attribute | ast.Subscript) for target in node.targets):
        yield node, None


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str | bytes)


_CHANGES: dict[type[ast.AST], Callable[..., Iterator[_Change]]] = {
    ast.Compare: _of_comparison,
    ast.BoolOp: _of_boolean,
    ast.UnaryOp: _of_not,
    ast.BinOp: _of_operation,
    ast.AugAssign: _of_sum,
    ast.Constant: _of_constant,
    ast.If: _of_choice,
    ast.IfExp: _of_choice,
    ast.While: _of_choice,
    ast.Call: _of_call,
    ast.Return: _of_return,
    ast.Raise: _left_out,
    ast.Break: _left_out,
    ast.Continue: _left_out,
    ast.Expr: _of_statement,
    ast.Assign: _of_assignment,
}
"""What may be changed at each kind of node."""
