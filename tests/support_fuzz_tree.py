"""A kit as a tree that can be spoilt: any mapping may hold a key twice, any scalar may be text as it stands.

`read` and `written` are not inverse on comments and layout; they are on values.
"""

from __future__ import annotations

import json
import random
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import yaml

_PLAIN = re.compile(r"[\w./+-][\w µΩ°²³·./+-]*(?: %)?")


class Raw(str):
    """Text that is written as it is."""

    __slots__ = ()


@dataclass(slots=True)
class Pairs:
    """A mapping, the keys of which may come twice."""

    items: list[list[Any]] = field(default_factory=list)


Node = Any  # Pairs, list or str
Place = tuple[Any, Any, tuple[str, ...]]  # the list that holds a node, its index there, and the path of the node


@lru_cache(maxsize=400)
def _composed(text: str) -> Node:
    return _node(yaml.compose(text, Loader=yaml.SafeLoader))


def read(text: str) -> Node:
    """A fresh tree of the values in a YAML text, scalars as typed. Raises yaml.YAMLError."""
    return copied(_composed(text))


def _node(node: Any) -> Node:
    if isinstance(node, yaml.MappingNode):
        return Pairs([[_node(key), _node(value)] for key, value in node.value])
    if isinstance(node, yaml.SequenceNode):
        return [_node(item) for item in node.value]
    return node.value if node is not None else ""


def copied(node: Node) -> Node:
    if isinstance(node, Pairs):
        return Pairs([[copied(key), copied(value)] for key, value in node.items])
    return [copied(item) for item in node] if isinstance(node, list) else node


def places(node: Node, path: tuple[str, ...] = ()) -> Iterator[Place]:
    """Every node under this one, with where it is held."""
    if isinstance(node, Pairs):
        for pair in node.items:
            here = (*path, str(pair[0]))
            yield pair, 1, here
            yield from places(pair[1], here)
    elif isinstance(node, list):
        for index, item in enumerate(node):
            here = (*path, str(index))
            yield node, index, here
            yield from places(item, here)


def mappings(node: Node) -> list[Pairs]:
    """Every mapping that holds something."""
    found = [node] if isinstance(node, Pairs) else []
    found += [holder[index] for holder, index, _ in places(node) if isinstance(holder[index], Pairs)]
    return [each for each in found if each.items]


def scalars(node: Node) -> list[Place]:
    return [place for place in places(node) if isinstance(place[0][place[1]], str)]


def at(node: Node, *path: str) -> Node:
    """The node at a path, None where there is none."""
    for part in path:
        if isinstance(node, Pairs):
            node = next((value for key, value in node.items if key == part), None)
        elif isinstance(node, list) and part.isdecimal() and int(part) < len(node):
            node = node[int(part)]
        else:
            return None
    return node


def written(node: Node, chance: random.Random) -> str:
    """As YAML: blocks down to a depth drawn at random, flow below."""
    blocks = chance.choice([0, 1, 2, 2, 3, 3, 9])
    return "\n".join(_block(node, 0, blocks)) + "\n"


def _block(node: Node, depth: int, blocks: int) -> Iterator[str]:
    indent = "  " * depth
    if isinstance(node, Pairs) and node.items and depth < blocks:
        for key, value in node.items:
            if isinstance(value, Pairs | list) and _items(value) and depth + 1 < blocks:
                yield f"{indent}{_flow(key)}:"
                yield from _block(value, depth + 1, blocks)
            else:
                yield f"{indent}{_flow(key)}: {_flow(value)}"
    elif isinstance(node, list) and node and depth < blocks:
        for item in node:
            inner = list(_block(item, depth + 1, blocks))
            yield f"{indent}- {inner[0].lstrip(' ')}"
            yield from inner[1:]
    else:
        yield f"{indent}{_flow(node)}"


def _items(node: Node) -> list[Any]:
    return node.items if isinstance(node, Pairs) else node


def _flow(node: Node) -> str:
    if isinstance(node, Pairs):
        return "{" + ", ".join(f"{_flow(key)}: {_flow(value)}" for key, value in node.items) + "}"
    if isinstance(node, list):
        return "[" + ", ".join(map(_flow, node)) + "]"
    if isinstance(node, Raw) or _PLAIN.fullmatch(node):
        return str(node)
    return _quoted(node)


def _quoted(text: str) -> str:
    """In double quotes, with what cannot stand in a text file as an escape."""
    whole = json.dumps(text, ensure_ascii=False)
    return "".join(char if char.isprintable() else _escape(ord(char)) for char in whole)


def _escape(point: int) -> str:
    return f"\\x{point:02x}" if point < 0x100 else f"\\u{point:04x}" if point < 0x10000 else f"\\U{point:08x}"
