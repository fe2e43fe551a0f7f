"""What the shell offers at a tab: names that stand in the kit file of the command line.

A tab must never fail or print: where the file cannot be read, there is nothing to offer. It is read as it is written,
without being checked, so that a kit with a fault offers its names too.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import typer

ENDINGS = (".yaml", ".yml")


def is_kit(word: str) -> bool:
    """Whether a word of the command line can only be a kit file: by its ending, or because there is such a file."""
    return _ends_like_a_kit(word) or os.path.exists(word)


def _ends_like_a_kit(word: str) -> bool:
    return word.lower().endswith(ENDINGS)


def variants(ctx: typer.Context, incomplete: str) -> list[str]:
    return _beginning(incomplete, _under(ctx, "variants"))


def places(ctx: typer.Context, incomplete: str) -> list[str]:
    """References of the crossover's parts."""
    return _beginning(incomplete, _under(ctx, "crossover", "parts"))


def replaceable(ctx: typer.Context, incomplete: str) -> list[str]:
    """References, and drivers by their own and their hookup names."""
    names = [*_under(ctx, "crossover", "parts"), *_under(ctx, "drivers"), *_under(ctx, "crossover", "hookup")]
    return _beginning(incomplete, dict.fromkeys(names))


def settings(ctx: typer.Context, incomplete: str) -> list[str]:
    """The next key of a path=value."""
    *path, _ = incomplete.split(".")
    before = "".join(f"{part}." for part in path)
    return [] if "=" in incomplete else _beginning(incomplete, (before + name for name in _under(ctx, *path)))


def codes(incomplete: str) -> list[str]:
    from system.codes import CODES

    return _beginning(incomplete, ("units", *CODES))


def _beginning(incomplete: str, names: Iterable[str]) -> list[str]:
    return [name for name in names if name.startswith(incomplete)]


def _under(ctx: typer.Context, *path: str) -> Iterable[str]:
    """The keys under a path of the kit file, or how its list's items are counted."""
    from system.document import ListAt, MapAt, child

    node: Any = _tree(ctx)
    for part in path:
        node = child(node, part)
    return node if isinstance(node, MapAt) else map(str, range(len(node))) if isinstance(node, ListAt) else ()


def _tree(ctx: typer.Context) -> Any:
    # an option whose value is still to come leaves the words before it among the context's loose ones
    file = ctx.params.get("kit") or next(filter(_ends_like_a_kit, _words([*ctx.params.values(), ctx.args])), None)
    if not file:
        return None
    from system.findings import KitError
    from system.kitfile import kit_as_written

    try:
        return kit_as_written(file)
    except (KitError, OSError):
        return None


def _words(values: Iterable[Any]) -> Iterator[str]:
    for value in values:
        for word in value if isinstance(value, list | tuple) else (value,):
            if isinstance(word, str | Path):
                yield str(word)
