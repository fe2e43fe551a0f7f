"""Spoiling a kit file: its tree, its text, its bytes. Each mutation has a name, which the table of outcomes counts."""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import cache

import yaml

from tests.support_fuzz_tree import Node, Pairs, Raw, at, copied, mappings, places, read, scalars, written
from tests.support_fuzz_values import FREE_TEXTS, MARKUP, NUMBERS, TEXTS, UNITS, parts, scaled
from tests.test_kitfile import mutate

TreeMutation = Callable[[Node, random.Random], None]

OUTSIDE = ("../secret.txt", "../../../../../../etc/passwd", "/etc/passwd", "leads_out.txt", "deeper/../../secret.txt")


def _delete(tree: Node, chance: random.Random) -> None:
    held = chance.choice(mappings(tree)).items
    del held[chance.randrange(len(held))]


def _duplicate_key(tree: Node, chance: random.Random) -> None:
    held = chance.choice(mappings(tree)).items
    held.insert(chance.randrange(len(held) + 1), copied_pair(chance.choice(held)))


def copied_pair(pair: list[Node]) -> list[Node]:
    return [pair[0], copied(pair[1])]


def _rename(tree: Node, chance: random.Random) -> None:
    pair = chance.choice(chance.choice(mappings(tree)).items)
    other = chance.choice(chance.choice(mappings(tree)).items)[0]
    key = str(pair[0])
    cut = chance.randrange(len(key) + 1)
    pair[0] = chance.choice([key[:cut] + key[cut + 1 :], key[:cut] + "x" + key[cut:], other, chance.choice(TEXTS)])


def _swap(tree: Node, chance: random.Random) -> None:
    """Two values, or two whole branches neither of which holds the other."""
    every = list(places(tree))
    (one, i, path), (other, j, its) = chance.choice(every), chance.choice(every)
    if path[: len(its)] != its and its[: len(path)] != path:
        one[i], other[j] = other[j], one[i]


def _unit(tree: Node, chance: random.Random) -> None:
    holder, index, _ = chance.choice(_quantities(tree))
    number, _ = parts(holder[index]) or ("", "")
    holder[index] = f"{number}{chance.choice([' ', ' ', ' ', ''])}{chance.choice(UNITS)}"


def _quantities(tree: Node) -> list[tuple[Node, int, tuple[str, ...]]]:
    every = scalars(tree)
    return [place for place in every if parts(place[0][place[1]])] or every


def _number(tree: Node, chance: random.Random) -> None:
    holder, index, _ = chance.choice(_quantities(tree))
    found = parts(holder[index])
    unit = found[1] if found and chance.random() < 0.8 else ""
    holder[index] = f"{chance.choice(NUMBERS)} {unit}".strip()


def _scale(tree: Node, chance: random.Random) -> None:
    """Several values another size, so that most kits still load."""
    most = chance.choice([1.3, 3.0, 30.0, 1000.0])
    for holder, index, _ in chance.choices(_quantities(tree), k=chance.choice([1, 1, 2, 5])):
        holder[index] = scaled(holder[index], chance, most)


def _kind(tree: Node, chance: random.Random) -> None:
    holder, index, _ = chance.choice(list(places(tree)))
    old = holder[index]
    new = ["", [], Pairs(), [copied(old)], Pairs([["a", copied(old)]]), Raw("~"), Raw("null"), Raw("true"), [[], []]]
    holder[index] = chance.choice([*new, Raw("2020-01-01"), Raw("12:30"), Raw(""), Raw("0o17"), Raw("-.inf")])


def _text(tree: Node, chance: random.Random) -> None:
    holder, index, _ = chance.choice(scalars(tree))
    holder[index] = chance.choice(TEXTS)


def _key_text(tree: Node, chance: random.Random) -> None:
    """A name of the builder's own choosing, such as a driver's, everywhere it is used."""
    old = chance.choice(_own_names(tree))
    _renamed_everywhere(tree, old, chance.choice(TEXTS))


def _own_names(tree: Node) -> list[str]:
    sections = [("drivers",), ("cabinets",), ("variants",), ("crossover", "parts"), ("crossover", "hookup")]
    found = [str(pair[0]) for path in sections if isinstance(part := at(tree, *path), Pairs) for pair in part.items]
    return found or ["kit"]


def _renamed_everywhere(tree: Node, old: str, new: str) -> None:
    for mapping in mappings(tree):
        for pair in mapping.items:
            pair[0] = new if pair[0] == old else pair[0]
    for holder, index, _ in scalars(tree):
        holder[index] = new if holder[index] == old else holder[index]


def _reference(tree: Node, chance: random.Random) -> None:
    names = _own_names(tree)
    used = [place for place in scalars(tree) if place[0][place[1]] in names] or scalars(tree)
    holder, index, _ = chance.choice(used)
    holder[index] = chance.choice([*names, "nobody", "woofer_z", ""])


def _nodes(tree: Node) -> list[tuple[Node, int, tuple[str, ...]]]:
    """Where the network's terminals are named."""
    every = scalars(tree)
    return [place for place in every if set(place[2][-2:]) & {"between", "plus", "minus", "input"}] or every


def _disconnect(tree: Node, chance: random.Random) -> None:
    for holder, index, _ in chance.choices(_nodes(tree), k=chance.choice([1, 2])):
        holder[index] = f"nowhere{chance.randrange(3)}"


def _short(tree: Node, chance: random.Random) -> None:
    """Terminals joined: one named as another is, once or everywhere."""
    every = _nodes(tree)
    (holder, index, _), (other, at_, _) = chance.choice(every), chance.choice(every)
    if chance.random() < 0.5:
        _renamed_everywhere(tree, str(holder[index]), str(other[at_]))
    else:
        holder[index] = other[at_]


def _states(tree: Node, chance: random.Random) -> None:
    """Places linked and left out at random, with the reason that this takes: boards that carry nothing, too."""
    board, variants = at(tree, "crossover", "parts"), at(tree, "variants")
    if not isinstance(board, Pairs) or not isinstance(variants, Pairs):
        return
    for _, entry in variants.items:
        if isinstance(entry, Pairs):
            words = chance.choice([["omit"], ["link"], ["fit", "link", "omit"]])
            parts = [[str(name), chance.choice(words)] for name, _ in board.items if chance.random() < 0.5]
            entry.items = [pair for pair in entry.items if pair[0] not in ("parts", "reason")]
            entry.items += [["reason", "tried"], ["parts", Pairs(parts)]]


def _cycle(tree: Node, chance: random.Random) -> None:
    """Entries that are like each other in a circle."""
    section = at(tree, chance.choice(["variants", "cabinets"]))
    if not isinstance(section, Pairs) or not section.items:
        return
    names = [str(key) for key, _ in section.items]
    for pair in section.items:
        if isinstance(pair[1], Pairs):
            pair[1].items = [["like", chance.choice(names)], *[each for each in pair[1].items if each[0] != "like"]]


def _chain(tree: Node, chance: random.Random) -> None:
    """A long chain of entries, each like the one before."""
    section = at(tree, chance.choice(["variants", "cabinets"]))
    if isinstance(section, Pairs) and section.items:
        first = str(section.items[0][0])
        for number in range(chance.choice([3, 60, 300])):
            section.items.append([f"v{number}", Pairs([["like", f"v{number - 1}" if number else first]])])


def _anchor(tree: Node, chance: random.Random) -> None:
    """Anchors given twice, unknown aliases, and merge keys."""
    every = list(places(tree))
    for _ in range(chance.choice([1, 2, 3])):
        holder, index, _ = chance.choice(every)
        raw = ["*a", "&a x", "&a {b: 1}", "&a [*a]", "{<<: *a}", "{<<: [*a, *a]}", "&a {<<: *a}", "{<<: {a: 1}}", "*"]
        holder[index] = Raw(chance.choice(raw))
    if isinstance(tree, Pairs) and chance.random() < 0.5:
        tree.items.insert(0, [chance.choice([Raw("x"), Raw("<<"), Raw("? a")]), Raw("&a {b: 1}")])


def _bomb(tree: Node, chance: random.Random) -> None:
    """Every alias stands for ten of the one before."""
    levels = chance.choice([4, 9, 30])
    lines = [["l0", Raw("&l0 " + chance.choice(["x", "[x]", "{a: x}"]))]]
    lines += [[f"l{n}", Raw(f"&l{n} [" + ", ".join([f"*l{n - 1}"] * 10) + "]")] for n in range(1, levels)]
    if isinstance(tree, Pairs):
        tree.items[:0] = lines


def _tag(tree: Node, chance: random.Random) -> None:
    holder, index, _ = chance.choice(scalars(tree))
    tags = ["!!python/object/apply:os.system [echo zq]", "!!python/name:os.system", "!!binary aGk=", "!!str", "!x y"]
    tags += ["!!set {a, b}", "!!timestamp 2020-01-01", "!<tag:yaml.org,2002:int> 3", "!!float nan", "! x"]
    holder[index] = Raw(chance.choice(tags))


def _deep(tree: Node, chance: random.Random) -> None:
    depth = chance.choice([10, 39, 41, 500, 20_000])
    holder, index, _ = chance.choice(list(places(tree)))
    holder[index] = Raw(chance.choice(["[" * depth + "]" * depth, "{a: " * depth + "x" + "}" * depth, "[" * depth]))


def _markup(tree: Node, chance: random.Random) -> None:
    """Into the builder's own words, and into keys and values anywhere."""
    free = [place for place in scalars(tree) if place[2][-1] in FREE_TEXTS]
    for place in free if chance.random() < 0.7 else chance.choices(scalars(tree), k=2):
        place[0][place[1]] = chance.choice(MARKUP)
    if isinstance(variants := at(tree, "variants"), Pairs):
        for _, entry in variants.items:
            if isinstance(entry, Pairs) and chance.random() < 0.7:
                entry.items.append(["reason", chance.choice(MARKUP)])
    if chance.random() < 0.2:
        _renamed_everywhere(tree, chance.choice(_own_names(tree)), chance.choice(MARKUP))


def _path(tree: Node, chance: random.Random) -> None:
    """A file outside of the kit's folder where one is named."""
    named = [place for place in scalars(tree) if str(place[0][place[1]]).endswith((".txt", ".csv"))]
    for holder, index, _ in named:
        holder[index] = chance.choice([*OUTSIDE, "", ".", "..", "deeper", "pipe.txt", "loop.txt", "\0", "a" * 5000])


def _many(tree: Node, chance: random.Random) -> None:
    """Thousands of entries in one mapping or list."""
    mapping = chance.choice(mappings(tree))
    key, value = chance.choice(mapping.items)
    mapping.items += [[f"{key}{number}", copied(value)] for number in range(chance.choice([30, 300, 3000]))]


def _graft(tree: Node, chance: random.Random) -> None:
    """A branch copied to where another stands."""
    every = list(places(tree))
    (one, i, path), (other, j, its) = chance.choice(every), chance.choice(every)
    if its[: len(path)] != path:
        other[j] = copied(one[i])


LARGE = {"chain", "many"}  # with which a kit may have hundreds of variants, and take as much longer to compute

TREE: dict[str, tuple[TreeMutation, float]] = {  # with how often
    "delete": (_delete, 2),
    "duplicate key": (_duplicate_key, 1),
    "rename key": (_rename, 2),
    "swap": (_swap, 2),
    "unit": (_unit, 2),
    "number": (_number, 4),
    "scale": (_scale, 12),
    "kind": (_kind, 3),
    "text": (_text, 3),
    "own name": (_key_text, 2),
    "reference": (_reference, 2),
    "disconnect": (_disconnect, 2),
    "short": (_short, 2),
    "states": (_states, 4),
    "cycle": (_cycle, 1),
    "chain": (_chain, 0.5),
    "anchor": (_anchor, 1),
    "bomb": (_bomb, 0.4),
    "tag": (_tag, 0.7),
    "deep": (_deep, 0.4),
    "markup": (_markup, 3),
    "path": (_path, 1),
    "many": (_many, 0.3),
    "graft": (_graft, 2),
}


def _line(text: str, chance: random.Random) -> bytes:
    return mutate(text, chance).encode("utf-8", "surrogatepass")


def _cut(text: str, chance: random.Random) -> bytes:
    whole = text.encode()
    return whole[: chance.randrange(len(whole) + 1)]


def _flipped(text: str, chance: random.Random) -> bytes:
    whole = bytearray(text.encode())
    for _ in range(chance.choice([1, 1, 3, 20])):
        whole[chance.randrange(len(whole))] = chance.randrange(256)
    return bytes(whole)


def _inserted(text: str, chance: random.Random) -> bytes:
    what = chance.choice([b"\0", b"\t", b"\xef\xbb\xbf", b"\r", b"\x85", b"\xe2\x80\xa8", b"\x1b[2J", b"\xed\xa0\x80"])
    whole = text.encode()
    at_ = chance.randrange(len(whole) + 1)
    return whole[:at_] + what + whole[at_:]


def _tabs(text: str, chance: random.Random) -> bytes:
    return text.replace("  ", "\t", chance.choice([-1, 1, 3])).encode()


def _huge(text: str, chance: random.Random) -> bytes:
    row = chance.choice(["# padding\n", "x: y\n", " ", "- a\n", "\n", "[", "a"])
    return text.encode() + row.encode() * (chance.choice([200_000, 1_040_000, 3_000_000]) // len(row))


BYTES: dict[str, tuple[Callable[[str, random.Random], bytes], float]] = {
    "line": (_line, 6),
    "cut": (_cut, 2),
    "flipped": (_flipped, 2),
    "inserted": (_inserted, 2),
    "tabs": (_tabs, 0.7),
    "crlf": (lambda text, _: text.replace("\n", "\r\n").encode(), 0.5),
    "bom": (lambda text, _: text.encode("utf-8-sig"), 0.5),
    "utf-16": (lambda text, _: text.encode("utf-16"), 0.3),
    "latin-1": (lambda text, _: text.encode("latin-1", "replace"), 0.3),
    "empty": (lambda _, chance: chance.choice([b"", b"\n", b"# only\n", b"---\n", b"--- ~\n", b"...\n"]), 0.3),
    "binary": (lambda _, chance: chance.randbytes(chance.choice([1, 100, 5000])), 0.4),
    "documents": (lambda text, _: f"{text}\n---\n{text}".encode(), 0.3),
    "huge": (_huge, 0.15),
}


def spoilt(text: str, chance: random.Random) -> tuple[bytes, tuple[str, ...]]:
    """A kit file with one to three mutations of its tree, or one of its text; and what they are called."""
    if chance.random() < 0.15 or not readable(text):
        name = drawn(BYTES, chance)
        return BYTES[name][0](text, chance), (name,)
    tree = read(text)
    names = []
    for _ in range(chance.choice([1, 1, 1, 2, 3])):
        if not isinstance(tree, Pairs) or not mappings(tree) or not scalars(tree):
            break
        names.append(drawn(TREE, chance))
        TREE[names[-1]][0](tree, chance)
    return written(tree, chance).encode("utf-8", "surrogatepass"), tuple(names)


def marked(text: str, chance: random.Random) -> bytes:
    """A right kit with markup in the builder's own words, and nowhere else."""
    tree = read(text)
    for holder, index, path in scalars(tree):
        if path[-1] in FREE_TEXTS:
            holder[index] = chance.choice(MARKUP)
    return written(tree, chance).encode()


@cache
def readable(text: str) -> bool:
    """Whether a kit to start from has a tree at all."""
    try:
        return bool(read(text))
    except (yaml.YAMLError, RecursionError):
        return False


def drawn(table: dict[str, tuple[object, float]] | dict[str, tuple[TreeMutation, float]], chance: random.Random) -> str:
    return chance.choices(list(table), [weight for _, weight in table.values()])[0]
