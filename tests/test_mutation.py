"""The tool that puts faults into the source, on a little tree of its own where it is known what must come of each."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests import support_mutation_runs as runs
from tests.support_mutation import Module, Mutant, code_lines, draw, shares

_SOURCE = '''\
"""Areas 1 + 1."""

from __future__ import annotations

SIDES = 2


def area(width: float, height: float = 1.0) -> float:
    """Width * height."""
    if width < 0:
        raise ValueError("below zero by " + str(0 - width))
    return width * height


def larger(one: int, other: int) -> int:
    return one if one > other else other


def halvings(number: int) -> int:
    count = 0
    while number > 1:
        number //= SIDES
        count += 1
    return count
'''
_TESTS = """\
import pytest
from enclosures.area import area, halvings, larger


def test_area():
    assert area(3.0, 2.0) == 6.0


def test_larger():
    assert larger(2, 1) == larger(1, 2) == larger(2, 2) == 2


def test_halvings():
    assert halvings(16) == 4
"""


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    (tmp_path / "enclosures").mkdir()
    (tmp_path / "enclosures" / "__init__.py").write_text("")
    (tmp_path / "enclosures" / "area.py").write_text(_SOURCE)
    (tmp_path / "tests").mkdir()
    (tmp_path / "tests" / "test_area.py").write_text(_TESTS)
    return tmp_path


def _mutants() -> dict[str, Mutant]:
    return {f"{m.function} {m.before} -> {m.after}": m for m in Module("enclosures/area.py", _SOURCE).all()}


def test_known_faults_are_killed_and_one_that_changes_nothing_survives(
    tree: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(runs, "LIMIT", 2)
    touches = runs.record(tree, ["tests/test_area.py"], tree / "kept", lambda line: None)
    assert set(touches) == {f"tests/test_area.py::test_{name}" for name in ("area", "larger", "halvings")}
    choose = runs.Chooser(tree, touches)
    mutants = _mutants()

    def outcome(key: str) -> runs.Outcome:
        return runs.run_mutant(tree, mutants[key], choose(mutants[key]))

    product = outcome("area return width * height -> return width / height")
    assert (product.how, product.killers) == ("killed", ["tests/test_area.py::test_area"])
    assert product.given[0] == product.killers[0]  # what runs the line comes first
    # of two equal numbers either is the larger
    assert (
        outcome("larger return one if one > other else other -> return one if one >= other else other").how
        == "survived"
    )
    # nothing gives area a default height, or a width below zero
    assert outcome("area width: float, height: float = 1.0 -> width: float, height: float = 2.0").how == "survived"
    # without dividing it never ends
    assert outcome("halvings number //= SIDES -> number = SIDES").how == "timeout"
    # said outside functions, seen by the test that runs the line where the name stands
    sides = outcome("the module SIDES = 2 -> SIDES = 3")
    assert (
        (sides.how, sides.killers) == ("killed", [sides.given[0]]) == ("killed", ["tests/test_area.py::test_halvings"])
    )


def test_where_no_fault_is_put() -> None:
    changed = {line for m in Module("enclosures/area.py", _SOURCE).all() for line in range(m.line, m.end + 1)}
    text = _SOURCE.splitlines()
    untouched = ('"""', "from", "raise", "def larger")
    assert changed
    assert not [text[line - 1] for line in changed if text[line - 1].strip().startswith(untouched)]


def test_lines_of_code_and_what_each_module_gets_of_them() -> None:
    assert code_lines(_SOURCE) == 14  # counted by hand: the source less blanks and docstrings
    assert shares({"a": 100, "b": 50, "c": 51}, 4) == {"a": 2, "b": 1, "c": 1}
    assert sum(shares({"a": 1, "b": 1, "c": 1}, 400).values()) == 400


def test_the_draw_is_seeded_and_draws_nothing_twice() -> None:
    module = Module("enclosures/area.py", _SOURCE)
    first, again, other = (draw([module], 8, seed) for seed in (1, 1, 2))
    assert [m.source for m in first] == [m.source for m in again] != [m.source for m in other]
    assert len({m.source for m in first}) == len(first) == 8
