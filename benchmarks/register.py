"""The benchmarks by name, in the order of the page."""

from __future__ import annotations

from importlib import import_module
from typing import Any, Protocol, cast

from benchmarks.rows import Row

NAMES = ("start", "chain", "commands", "builds", "line", "diffraction", "large_signal", "growth")


class Benchmark(Protocol):
    """A module whose docstring says how its figures are taken. `FULL` and `SMALL` are sizes for `rows`."""

    TITLE: str
    FULL: Any
    SMALL: Any

    def rows(self, sizes: Any = ...) -> list[Row]:
        """Measure."""
        ...


def benchmark(name: str) -> Benchmark:
    """The one of that name. Raises KeyError for a name that is none."""
    if name not in NAMES:
        raise KeyError(name)
    return cast(Benchmark, import_module(f"benchmarks.{name}"))
