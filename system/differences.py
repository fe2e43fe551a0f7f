"""What two kit files say otherwise, key by key, as they are written."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from system.document import ListAt, MapAt, TextAt, Value

Path_ = tuple[str, ...]
Folders = tuple[Path, Path]


@dataclass(frozen=True, slots=True, eq=False)
class Difference:
    """`path` with its values in the two files: text, lists and mappings; None in the file that does not have it.

    `contents`: both name the same table beside the kit, and the two tables differ.
    """

    path: str
    first: Any
    second: Any
    contents: bool = False


def differences(first: Value, second: Value, folders: Folders) -> tuple[Difference, ...]:
    """Every place in which two trees differ, in the order of the first and then what only the second has.

    Keys are compared by name, items of lists by number; a list of words is one value. `folders` are those of the kits.
    """
    return tuple(_differing(first, second, (), folders))


def _differing(first: Value | None, second: Value | None, path: Path_, folders: Folders) -> Iterator[Difference]:
    pieces = [_pieces(value) for value in (first, second)]
    if pieces[0] is not None and pieces[1] is not None and type(first) is type(second):
        for key in [*pieces[0], *(key for key in pieces[1] if key not in pieces[0])]:
            yield from _differing(pieces[0].get(key), pieces[1].get(key), (*path, key), folders)
        return
    if first != second:
        yield Difference(".".join(path), first, second)
    elif isinstance(first, TextAt) and _other_contents(first, folders):
        yield Difference(".".join(path), first, second, contents=True)


def _pieces(value: Value | None) -> dict[str, Value] | None:
    """What is compared one by one: a mapping, or a list that holds more than words."""
    if isinstance(value, MapAt):
        return value
    if isinstance(value, ListAt) and not all(isinstance(item, TextAt) for item in value):
        return {str(index): item for index, item in enumerate(value)}
    return None


def _other_contents(name: str, folders: Folders) -> bool:
    try:
        tables = [folder / name for folder in folders]
        return all(table.is_file() for table in tables) and tables[0].read_bytes() != tables[1].read_bytes()
    except (OSError, ValueError):  # what is no file's name
        return False
