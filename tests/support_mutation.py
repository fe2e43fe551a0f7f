"""Faults put into the source on purpose: where they may stand, what they are, and a fair draw of them.

The operators are those of the library mutmut (`mutmut.mutation.mutators`, on libcst's tree) that make a program which
still runs, and a few in the same form for what it lacks. Left out are its operators whose mutants fail wherever they
are run (None for a value or an argument, a string made another, a lambda without a body): they would only raise the
score. For the same reason an argument is dropped only where it has a keyword, or is the last of several that numpy,
math or a builtin takes.

Not touched: docstrings and other text, annotations, imports, `__all__`, blocks of TYPE_CHECKING, what a decorator
says of a class or function, and what a `raise` raises and says.
"""

from __future__ import annotations

import ast
import builtins
import random
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import libcst as cst
import libcst.matchers as match
from libcst.metadata import CodeRange, MetadataWrapper, ParentNodeProvider, PositionProvider
from mutmut.mutation import mutators as library

PACKAGES = ("enclosures", "filters")

_PAIRS = (
    ("min", "max"),
    ("minimum", "maximum"),
    ("argmin", "argmax"),
    ("sin", "cos"),
    ("sinh", "cosh"),
    ("real", "imag"),
    ("any", "all"),
    ("floor", "ceil"),
    ("zeros", "ones"),
    ("zeros_like", "ones_like"),
)
_OPPOSITES = dict(_PAIRS) | {other: one for one, other in _PAIRS}
_UNWRAPPED = {"abs", "sqrt", "conj", "fsum"}
_NEGATED: dict[type, type] = {
    cst.LessThan: cst.GreaterThanEqual,
    cst.LessThanEqual: cst.GreaterThan,
    cst.GreaterThan: cst.LessThanEqual,
    cst.GreaterThanEqual: cst.LessThan,
}
_LENIENT = match.Attribute(value=match.Name("np") | match.Name("math")) | match.MatchIfTrue(
    lambda function: isinstance(function, cst.Name) and hasattr(builtins, function.value)
)
_UNTOUCHED = (cst.Annotation, cst.Import, cst.ImportFrom, cst.Decorator, cst.Raise, cst.SimpleString)


def _name_of(node: cst.Call) -> str:
    function = node.func.attr if isinstance(node.func, cst.Attribute) else node.func
    return function.value if isinstance(function, cst.Name) else ""


def argument_dropped(node: cst.Call) -> Iterator[cst.Call]:
    """The call without one of its arguments; the library's operator drops those it cannot do without too."""
    plain = [i for i, argument in enumerate(node.args) if argument.keyword is None]
    spare = plain[-1] if len(plain) > 1 and match.matches(node.func, _LENIENT) else None
    for i, argument in enumerate(node.args):
        if argument.star == "" and (argument.keyword is not None or i == spare):
            yield node.with_changes(args=[*node.args[:i], *node.args[i + 1 :]])


def opposite_name(node: cst.Call) -> Iterator[cst.Call]:
    """min for max, sin for cos and so on."""
    other = _OPPOSITES.get(_name_of(node))
    if other:
        name = node.func.attr if isinstance(node.func, cst.Attribute) else node.func
        yield node.with_changes(func=node.func.deep_replace(name, cst.Name(other)))  # type: ignore[arg-type]


def opposite_part(node: cst.Attribute) -> Iterator[cst.Attribute]:
    """The imaginary part for the real one."""
    if node.attr.value in ("real", "imag"):
        yield node.with_changes(attr=cst.Name(_OPPOSITES[node.attr.value]))


def call_unwrapped(node: cst.Call) -> Iterator[cst.BaseExpression]:
    """The argument itself in place of its magnitude, root or conjugate."""
    if _name_of(node) in _UNWRAPPED and len(node.args) == 1:
        yield node.args[0].value.with_changes(lpar=[cst.LeftParen()], rpar=[cst.RightParen()])


def comparison_negated(node: cst.ComparisonTarget) -> Iterator[cst.ComparisonTarget]:
    """Less for not less; the library only moves the border."""
    other = _NEGATED.get(type(node.operator))
    if other:
        yield node.with_changes(operator=other())


def condition_forced(node: cst.If) -> Iterator[cst.If]:
    """One branch always, the other never."""
    if not match.matches(node.test, match.Name("TYPE_CHECKING")):
        for word in ("True", "False"):
            yield node.with_changes(test=cst.Name(word), whitespace_before_test=cst.SimpleWhitespace(" "))


def return_negated(node: cst.Return) -> Iterator[cst.Return]:
    """What is returned, with its sign or its truth turned round."""
    value = node.value
    if isinstance(value, cst.BinaryOperation | cst.Comparison | cst.BooleanOperation):
        sign = cst.Minus() if isinstance(value, cst.BinaryOperation) else cst.Not()
        inner = value if value.lpar else value.with_changes(lpar=[cst.LeftParen()], rpar=[cst.RightParen()])
        yield node.with_changes(
            value=cst.UnaryOperation(sign, inner), whitespace_after_return=cst.SimpleWhitespace(" ")
        )


OPERATORS: tuple[tuple[type[cst.CSTNode], Callable[[Any], Iterable[cst.CSTNode]]], ...] = (
    (cst.BaseNumber, library.operator_number),
    (cst.Name, library.operator_name),
    (cst.AugAssign, library.operator_augmented_assignment),
    (cst.UnaryOperation, library.operator_remove_unary_ops),
    (cst.CSTNode, library.operator_keywords),
    (cst.CSTNode, library.operator_swap_op),
    (cst.Match, library.operator_match),
    (cst.IfExp, library.operator_if_exp),
    (cst.Call, argument_dropped),
    (cst.Call, opposite_name),
    (cst.Attribute, opposite_part),
    (cst.Call, call_unwrapped),
    (cst.ComparisonTarget, comparison_negated),
    (cst.If, condition_forced),
    (cst.Return, return_negated),
)


@dataclass(frozen=True, slots=True)
class Mutant:
    """One fault: in a file (its `path` from the root), from `line` to `end`, in a function; what was and what is.

    `runs` are the lines that are run when the fault is, (first, last), the statement's or, for what is given to a
    parameter, the function's; None where it is said outside every function, under `names`.
    """

    path: str
    line: int
    end: int
    function: str
    operator: str
    before: str
    after: str
    source: str
    runs: tuple[int, int] | None
    names: tuple[str, ...]

    @property
    def key(self) -> str:
        """What it is called, the same when lines above it come or go."""
        return f"{self.path} {self.function}: `{self.before}` -> `{self.after}`"


@dataclass(slots=True)
class _Site:
    node: cst.CSTNode
    replacements: list[tuple[str, cst.CSTNode]]


class _Sites(cst.CSTVisitor):
    """Every node that some operator changes."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[_Site] = []

    def on_visit(self, node: cst.CSTNode) -> bool:
        if isinstance(node, _UNTOUCHED):
            return False
        if isinstance(node, cst.Assign) and match.matches(node.targets[0].target, match.Name("__all__")):
            return False
        if isinstance(node, cst.If) and match.matches(node.test, match.Name("TYPE_CHECKING")):
            return False
        made = [
            (operator.__name__.removeprefix("operator_"), new)
            for kind, operator in OPERATORS
            if isinstance(node, kind)
            for new in operator(node)
        ]
        if made:
            self.found.append(_Site(node, made))
        return True


def code_lines(source: str) -> int:
    """Lines that hold a statement: no blanks, comments or docstrings."""
    lines: set[int] = set()
    for node in ast.walk(ast.parse(source)):
        text = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)
        if isinstance(node, ast.stmt) and not text:
            body = getattr(node, "body", None)
            lines.update(range(node.lineno, body[0].lineno if body else (node.end_lineno or node.lineno) + 1))
    text = source.splitlines()
    return sum(1 for line in lines if (bare := text[line - 1].strip()) and not bare.startswith(('"""', "#")))


class Module:
    """A source file and the places in it where a fault may stand."""

    def __init__(self, path: str, source: str) -> None:
        self.path, self.source = path, source
        wrapper = MetadataWrapper(cst.parse_module(source))
        self._tree = wrapper.module
        self._positions = wrapper.resolve(PositionProvider)
        self._parents = wrapper.resolve(ParentNodeProvider)
        visitor = _Sites()
        self._tree.visit(visitor)
        self.sites = visitor.found
        self.lines = code_lines(source)
        self._meaning = ast.dump(ast.parse(source))

    def _span(self, node: cst.CSTNode) -> tuple[int, int]:
        place: CodeRange = self._positions[node]  # type: ignore[assignment]
        return place.start.line, place.end.line

    def _above(self, node: cst.CSTNode) -> Iterator[cst.CSTNode]:
        while node in self._parents:
            node = self._parents[node]  # type: ignore[assignment]
            yield node

    def _runs(self, node: cst.CSTNode) -> tuple[str, tuple[int, int] | None, tuple[str, ...]]:
        """The function a node stands in, the lines that are run when it is, and the names it is known by outside."""
        chain = [node, *self._above(node)]
        holders = [one.name.value for one in chain if isinstance(one, cst.FunctionDef | cst.ClassDef)]
        where = ".".join(reversed(holders)) or "the module"
        parameter = next((i for i, one in enumerate(chain) if isinstance(one, cst.Parameters)), None)
        if parameter is not None and isinstance(chain[parameter + 1], cst.FunctionDef):
            return where, self._span(chain[parameter + 1].body), ()  # type: ignore[attr-defined]
        if any(isinstance(one, cst.FunctionDef) for one in chain):
            statement = next(one for one in chain if isinstance(one, cst.BaseStatement | cst.BaseSmallStatement))
            first, last = self._span(statement)
            if isinstance(statement, cst.BaseCompoundStatement):  # only its head
                first, last = first, max(first, self._span(statement.body)[0] - 1)
            return where, (first, last), ()
        assigned = next((one for one in chain if isinstance(one, cst.Assign | cst.AnnAssign)), None)
        targets = () if assigned is None else match.findall(assigned, match.AssignTarget() | match.AnnAssign())
        names = {
            name.value
            for target in targets
            for name in match.findall(target.target, match.Name())  # type: ignore[attr-defined]
        }
        return where, None, tuple(sorted(names))  # type: ignore[arg-type]

    def mutant(self, site: _Site, choice: int) -> Mutant | None:
        """One of a site's faults; None where it changes nothing or is no Python."""
        name, new = site.replacements[choice]
        source = self._tree.deep_replace(site.node, new).code  # type: ignore[union-attr]
        try:
            if ast.dump(ast.parse(source)) == self._meaning:
                return None
        except SyntaxError:
            return None
        where, runs, names = self._runs(site.node)
        first, last = self._span(site.node.test if isinstance(site.node, cst.If) else site.node)
        before, after = self._shown(site.node, new)
        return Mutant(self.path, first, last, where, name, before, after, source, runs, names)

    def _shown(self, old: cst.CSTNode, new: cst.CSTNode) -> tuple[str, str]:
        """Enough of the code around a fault to know it by: the smallest expression of some length, or the statement."""
        if isinstance(old, cst.If):
            word = new.test.value  # type: ignore[attr-defined]
            return f"if {self._code(old.test)}", f"if {word}"
        shown = old
        for node in self._above(old):
            outside = isinstance(node, cst.BaseStatement | cst.IndentedBlock | cst.Module)
            if outside or len(self._code(shown)) > 30 or len(self._code(node)) > 160:
                break
            shown = node
        changed = new if shown is old else shown.deep_replace(old, new)
        return self._code(shown), self._code(changed)  # type: ignore[arg-type]

    def _code(self, node: cst.CSTNode) -> str:
        return " ".join(self._tree.code_for_node(node).split())

    def all(self) -> Iterator[Mutant]:
        """Every fault of the module."""
        for site in self.sites:
            for choice in range(len(site.replacements)):
                mutant = self.mutant(site, choice)
                if mutant:
                    yield mutant


def modules(root: Path) -> list[Module]:
    """All modules of the two packages that hold code a fault can stand in."""
    found = []
    for package in PACKAGES:
        for path in sorted((root / package).glob("*.py")):
            module = Module(str(path.relative_to(root)), path.read_text(encoding="utf-8"))
            if module.sites:
                found.append(module)
    return found


def shares(lines: Mapping[str, int], count: int) -> dict[str, int]:
    """`count` shared out in proportion to lines, by largest remainder."""
    whole = sum(lines.values())
    exact = {path: count * each / whole for path, each in lines.items()}
    share = {path: int(each) for path, each in exact.items()}
    short = count - sum(share.values())
    for path in sorted(exact, key=lambda path: (share[path] - exact[path], path))[:short]:
        share[path] += 1
    return share


def draw(found: list[Module], count: int, seed: int) -> list[Mutant]:
    """`count` faults: to each module by its lines of code, then a place in it, then one of the place's faults."""
    share = shares({module.path: module.lines for module in found}, count)
    drawn: list[Mutant] = []
    for module in found:
        chance = random.Random(f"{seed} {module.path}")
        sites = [(site, list(range(len(site.replacements)))) for site in module.sites]
        taken = 0
        while taken < share[module.path] and sites:
            site, choices = chance.choice(sites)
            mutant = module.mutant(site, choices.pop(chance.randrange(len(choices))))
            if not choices:
                sites = [(one, left) for one, left in sites if one is not site]
            if mutant:
                drawn.append(mutant)
                taken += 1
    return drawn
