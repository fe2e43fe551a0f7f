"""No test that cannot fail: each of them states something, by itself or through a helper that does.

Read from the syntax of the tests (Python Language Reference, 7.3, 8.4), so what is found is what stands there.
"""

from __future__ import annotations

import ast
import textwrap
from collections.abc import Iterator
from functools import cache
from pathlib import Path

HERE = Path(__file__).parent
FILES = sorted(HERE.glob("*.py"))
STATES = ("pytest.raises", "pytest.warns", "pytest.fail")  # calls that state something, as does any name in assert_
Function = ast.FunctionDef | ast.AsyncFunctionDef


def dotted(node: ast.expr) -> str:
    """The name that is called: `np.testing.assert_allclose`; empty for what is no name."""
    if isinstance(node, ast.Attribute):
        return f"{dotted(node.value)}.{node.attr}"
    return node.id if isinstance(node, ast.Name) else ""


class Module:
    """The functions of a file of tests, those that it imports from other files of them, and idle assertions."""

    def __init__(self, text: str) -> None:
        self.functions: dict[str, Function] = {}
        self.imported: dict[str, tuple[str, str]] = {}
        self.idle: list[int] = []
        self._states: dict[ast.AST, bool] = {}
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, Function):
                self.functions[node.name] = node
            elif isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("tests."):
                file = node.module.removeprefix("tests.")
                self.imported |= {name.asname or name.name: (file, name.name) for name in node.names}
            elif isinstance(node, ast.Assert) and is_idle(node.test):
                self.idle.append(node.lineno)

    @property
    def tests(self) -> Iterator[Function]:
        return (function for name, function in self.functions.items() if name.startswith("test_"))

    def states(self, function: ast.AST) -> bool:
        """Whether something is stated in a function or in one that it calls."""
        if function not in self._states:
            self._states[function] = False  # a call that comes back here states nothing new
            self._states[function] = any(map(self._is_statement, ast.walk(function)))
        return self._states[function]

    def _is_statement(self, node: ast.AST) -> bool:
        if isinstance(node, ast.Assert):
            return not is_idle(node.test)
        if not isinstance(node, ast.Call):
            return False
        name = dotted(node.func)
        if name in STATES or name.rpartition(".")[2].startswith("assert_"):
            return True
        if name in self.functions:
            return self.states(self.functions[name])
        if name in self.imported:
            file, its = self.imported[name]
            other = module(HERE / f"{file}.py")
            return its in other.functions and other.states(other.functions[its])
        return False


@cache
def module(path: Path) -> Module:
    return Module(path.read_text(encoding="utf-8"))


def is_idle(test: ast.expr) -> bool:
    """Whether what is asserted holds whatever the code does: a constant, a display that is never empty, a thing that
    is itself."""
    match test:
        case ast.Constant(value=value):
            return bool(value)
        case ast.JoinedStr() | ast.Lambda():
            return True
        case ast.Tuple(elts=inside) | ast.List(elts=inside) | ast.Set(elts=inside):
            return bool(inside)
        case ast.BoolOp(op=ast.Or(), values=sides):
            return any(map(is_idle, sides))
        case ast.BoolOp(op=ast.And(), values=sides):
            return all(map(is_idle, sides))
        case ast.Compare(left=left, ops=[ast.Eq() | ast.Is() | ast.LtE() | ast.GtE()], comparators=[right]):
            is_call = any(isinstance(node, ast.Call) for node in ast.walk(left))  # the same call twice may differ
            return not is_call and ast.dump(left) == ast.dump(right)
    return False


def test_every_test_states_something() -> None:
    silent = [
        f"{path.name}:{each.lineno} {each.name}"
        for path in FILES
        for each in module(path).tests
        if not module(path).states(each)
    ]
    assert silent == []


def test_no_statement_holds_by_itself() -> None:
    assert [f"{path.name}:{line}" for path in FILES for line in module(path).idle] == []


def test_the_check_finds_what_it_is_for() -> None:
    """Functions that state nothing, and ones that do, by any of the ways that count."""
    text = textwrap.dedent("""
        import pytest
        import numpy as np

        def helper(): return other()
        def other(): assert found == 1
        def again(): return again()

        def test_silent(): compute()
        def test_constant(): assert True
        def test_pair(): assert (found == 1, "a message")
        def test_itself(): assert found.value == found.value
        def test_or(): assert found or 1
        def test_round(): again()

        def test_assert(): assert found
        def test_call_twice(): assert compute() == compute()
        def test_array(): np.testing.assert_allclose(found, 1)
        def test_helper(): helper()
        def test_raises():
            with pytest.raises(ValueError): compute()
    """)
    made = Module(text)
    silent = {each.name for each in made.tests if not made.states(each)}
    assert silent == {f"test_{name}" for name in ("silent", "constant", "pair", "itself", "or", "round")}
    assert len(made.idle) == 4
