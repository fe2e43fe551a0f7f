"""What Python use gives out: frozen values all the way down, each figure of which is told with its unit."""

from __future__ import annotations

import ast
import collections.abc
import inspect
import re
import sys
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from importlib import import_module
from typing import Any, Literal, get_args, get_origin

import numpy as np
import pytest

from system import api

WORDS_OF_UNITS = ("_db", "_hz", "_ohm")  # at the end of a name
# How a kit is solved, rather than what came out; a protocol has no fields.
WITHIN = ("enclosures", "filters", "system.build", "system.transfer")


def names(module: Any) -> dict[str, Any]:
    """Everything that the annotations of a module may mean, what it imports for them alone included."""
    found = dict(vars(module))
    for node in ast.parse(inspect.getsource(module)).body:
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            for each in (each for each in node.body if isinstance(each, ast.ImportFrom)):
                there = import_module(str(each.module))
                found |= {alias.asname or alias.name: getattr(there, alias.name) for alias in each.names}
    return found


def annotations(kind: type) -> dict[str, Any]:
    own: dict[str, Any] = {}
    for base in reversed(kind.__mro__[:-1]):
        known = names(sys.modules[base.__module__])
        own |= {name: eval(text, known) for name, text in inspect.get_annotations(base).items()}
    return {field.name: own[field.name] for field in fields(kind)}  # type: ignore[arg-type]


def parts(annotation: Any) -> Iterator[Any]:
    """The types that an annotation is made of; of a mapping those of its values, and an array is one."""
    origin = get_origin(annotation)
    if origin is None or origin is np.ndarray:
        yield origin or annotation
    elif origin is collections.abc.Mapping:
        yield from parts(get_args(annotation)[1])
    elif origin is not Literal:
        for each in get_args(annotation):
            yield from parts(each)


def reached() -> dict[type, dict[str, Any]]:
    found: dict[type, dict[str, Any]] = {}
    todo = [value for value in map(api.__getattr__, api.HOME) if isinstance(value, type)]
    while todo:
        kind = todo.pop()
        if kind not in found and is_dataclass(kind) and not kind.__module__.startswith(WITHIN):
            found[kind] = annotations(kind)
            todo += [part for annotation in found[kind].values() for part in parts(annotation)]
    return found


REACHED = reached()


def told(kind: type) -> set[str]:
    """Fields that the docstrings of a class speak of, and those that a comment stands beside."""
    own: set[str] = set()
    for base in kind.__mro__[:-1]:
        own |= set(re.findall(r"\w+", base.__doc__ or ""))
        own |= set(re.findall(r"^    (\w+): .*#", inspect.getsource(base), re.MULTILINE))
    return own


def test_it_reaches_far() -> None:
    assert len(REACHED) > 120
    assert {kind.__name__ for kind in REACHED} >= {"DriverPrediction", "Summary", "Figures", "WayRound", "Detail"}


@pytest.mark.parametrize("kind", REACHED, ids=lambda kind: f"{kind.__module__}.{kind.__name__}")
def test_values_are_frozen_and_their_figures_told(kind: type) -> None:
    assert kind.__dataclass_params__.frozen  # type: ignore[attr-defined]
    assert hasattr(kind, "__slots__")
    figures = {name for name, each in REACHED[kind].items() if {float, complex, np.ndarray} & set(parts(each))}
    assert {name for name in figures - told(kind) if not name.endswith(WORDS_OF_UNITS)} == set()
    assert not any(part in (list, dict, set) for each in REACHED[kind].values() for part in parts(each))
