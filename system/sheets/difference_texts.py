"""What two kit files say otherwise, in words; and the variants of two kits by name."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from system.compare import Comparison
from system.differences import Difference
from system.sheets import match_texts, texts
from system.sheets.tables import WIDTH, table, wrap
from system.wording import NOTHING

NARROWEST = 12  # characters of a value


def differences(found: Sequence[Difference], files: Sequence[Path]) -> str:
    """A row for every key whose values differ."""
    first, second = files
    if not found:
        return f"{first} and {second} say the same"
    widest = max(NARROWEST, (WIDTH - 6 - max(len(each.path) for each in found)) // 2)
    rows = [
        [each.path, *(text if len(text) <= widest else f"{text[: widest - 3]}..." for text in _shown(each))]
        for each in found
    ]
    lines = ["what the two files say otherwise", f"  the first: {first}", f"  the second: {second}"]
    return "\n".join([*lines, *table(["", "the first", "the second"], rows, indent="  ")])


def namesakes(result: Comparison) -> str:
    """Of every name that both kits have: the two variants side by side, and how the second sounds beside the first."""
    blocks = [texts.columns((each.first, each.second), result) for each in result.namesakes]
    told = [
        "\n".join(wrap(match_texts.sentence(each.second, each.first, each.match), "    ", "  "))
        for each in result.namesakes
    ]
    alone = [name for name in result.columns if not any(name in (each.first, each.second) for each in result.namesakes)]
    lines = [f"{block}\n{words}" for block, words in zip(blocks, told, strict=True)]
    return "\n\n".join([*lines, *([texts.columns(alone, result)] if alone else [])])


def cells(each: Difference) -> list[str]:
    """Path and both values in full; what a file does not have is empty."""
    first, second = ("" if value is None else _flow(value) for value in (each.first, each.second))
    return [each.path, first, "another table" if each.contents else second]


def _shown(each: Difference) -> tuple[str, str]:
    first, second = (NOTHING if value is None else _flow(value) for value in (each.first, each.second))
    return first, "another table" if each.contents else second


def _flow(value: Any) -> str:
    """As it could be written on one line of a kit."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {_flow(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_flow, value)) + "]"
    return " ".join(str(value).split())
