"""Who may import whom, read from the source itself; and that no two modules are each other's keeper."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

HOME = Path(__file__).parent.parent
ROOMS = ("enclosures", "filters", "system")
# Reading and checking a kit file stays instant: these load no numpy, and nothing that does.
LIGHT = {f"enclosures.{name}" for name in ("air", "bends", "ends", "materials", "parameters", "tuning")}
HEAVY = {"numpy", "scipy", "matplotlib"}


def imports(path: Path, top_only: bool = False) -> set[str]:
    """Modules that a file imports; `top_only` leaves out what stands inside functions or under TYPE_CHECKING."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = tree.body if top_only else ast.walk(tree)
    found: set[str] = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def modules(room: str) -> dict[str, Path]:
    return {
        ".".join(path.relative_to(HOME).with_suffix("").parts).removesuffix(".__init__"): path
        for path in (HOME / room).rglob("*.py")
    }


ALL = {name: path for room in ROOMS for name, path in modules(room).items()}

COMMAND_LINE = {
    name for name in ALL if name in ("system.cli", "system.commandline") or name.startswith("system.commands")
}
# Python use is an edge as the command line is: values go out there, as plain data and onto axes too.
EDGES = COMMAND_LINE | {"system.api"}


@pytest.mark.parametrize(
    ("room", "strangers"), [("enclosures", ("filters", "system")), ("filters", ("enclosures", "system"))]
)
def test_the_lower_rooms_know_nothing_of_each_other(room: str, strangers: tuple[str, ...]) -> None:
    for name, path in modules(room).items():
        wrong = {each for each in imports(path) if each.split(".")[0] in strangers}
        assert not wrong, f"{name} imports {wrong}"


def test_nothing_imports_the_edges() -> None:
    """Nor the one the other: neither is made by way of the other."""
    for name, path in ALL.items():
        strangers = EDGES if name not in COMMAND_LINE else EDGES - COMMAND_LINE
        assert not imports(path) & strangers, name


def test_sheets_are_imported_by_the_edges_only() -> None:
    """Output formats values; nothing below it depends on how they look."""
    for name, path in ALL.items():
        if name not in EDGES and not name.startswith("system.sheets"):
            assert not {each for each in imports(path) if each.startswith("system.sheets")}, name


def test_reading_a_kit_needs_nothing_heavy() -> None:
    """Everything that `system.kitfile` reaches through imports at the top of a module."""
    reached, todo = set(), ["system.kitfile", *EDGES]
    while todo:
        name = todo.pop()
        if name in reached or name not in ALL:
            continue
        reached.add(name)
        found = imports(ALL[name], top_only=True)
        assert not {each.split(".")[0] for each in found} & HEAVY, name
        todo += found
    assert reached >= LIGHT


def test_no_module_imports_itself_round_a_corner() -> None:
    edges = {name: imports(path, top_only=True) & set(ALL) for name, path in ALL.items()}
    done: set[str] = set()

    def visit(name: str, trail: tuple[str, ...]) -> None:
        assert name not in trail, " -> ".join((*trail, name))
        if name not in done:
            for other in edges[name] - {name}:
                visit(other, (*trail, name))
            done.add(name)

    for name in edges:
        visit(name, ())


def test_modules_stay_small() -> None:
    """Five hundred lines is where one module wants to be two; units are a table."""
    long = {name: n for name, path in ALL.items() if (n := len(path.read_text(encoding="utf-8").splitlines())) > 500}
    assert long == {}
