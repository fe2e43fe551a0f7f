"""The positioned tree before validation: what-ifs (`--set`), `like:`, and the path each value stands at."""

from __future__ import annotations

from system.document import (
    DEEPEST,
    DocumentError,
    ListAt,
    MapAt,
    Mark,
    Report,
    TextAt,
    Value,
    advice,
    child,
    legible,
    parse,
)

_LONGEST_CHAIN = 50
INHERITING = ("cabinets", "variants")  # sections whose entries may say `like:`


def apply_setting(root: MapAt, setting: str) -> None:
    """Put the value of one `path=value` into the tree, e.g. variants.centre.parts.C1=link.

    A value that begins with [ or { is read as a YAML list or mapping. Keys that are not there are added, and so is the
    item that a list has next. Raises DocumentError.
    """
    mark = Mark(f"--set {setting}")
    legible(setting, mark)
    path_text, equals, value_text = setting.partition("=")
    path = tuple(part.strip() for part in path_text.split("."))
    if not equals or not all(path):
        raise DocumentError(
            "setting", mark, "this is no path=value", "write for example variants.centre.parts.C1=link", path_text
        )
    if len(path) > DEEPEST:
        raise DocumentError("setting", mark, f"the path has {len(path)} steps", f"it has at most {DEEPEST}", path_text)
    value = _setting_value(value_text.strip(), mark)
    node: Value = root
    for depth, part in enumerate(path[:-1]):
        inner = child(node, part)
        if inner is None and isinstance(node, MapAt):
            inner = _inherited(root, path[: depth + 1]) or MapAt()
            inner.mark = mark
            node[part] = inner
            node.key_marks[part] = mark
        if inner is None:
            raise _no_item(node, path[: depth + 1], mark)
        if isinstance(inner, TextAt):
            found = f"{'.'.join(path[: depth + 1])} is a value, and nothing stands under it"
            raise DocumentError("setting", mark, found, f"end the path with {part}", path_text)
        node = inner
    last = path[-1]
    if isinstance(node, ListAt):
        if last == str(len(node)):
            node.append(value)
        elif child(node, last) is not None:
            node[int(last)] = value
        else:
            raise _no_item(node, path, mark)
    elif isinstance(node, MapAt):
        node[last] = value
        node.key_marks[last] = mark


def _no_item(items: Value, path: tuple[str, ...], mark: Mark) -> DocumentError:
    """`path` ends at an item that a list does not have."""
    count = len(items)
    there = "it is empty" if not count else "its only item is 0" if count == 1 else f"its items are 0 to {count - 1}"
    found = f"{'.'.join(path[:-1])} has no item {path[-1]}"
    return DocumentError("setting", mark, found, f"{there}, and {count} adds one", ".".join(path))


def _setting_value(text: str, mark: Mark) -> Value:
    if text[:1] in ("[", "{"):
        try:
            wrapped, faults = parse(f"value: {text}", mark.file)
        except DocumentError as error:
            faults = [error]
        for fault in faults:
            raise DocumentError(fault.code, mark, fault.found, fault.allowed)
        return _marked(wrapped["value"], mark)
    value = TextAt(text)
    value.mark = mark
    return value


def _marked(value: Value, mark: Mark) -> Value:
    """The value with every position in it replaced by `mark`."""
    value.mark = mark
    if isinstance(value, MapAt):
        value.key_marks = dict.fromkeys(value, mark)
    for inner in value.values() if isinstance(value, MapAt) else value if isinstance(value, ListAt) else ():
        _marked(inner, mark)
    return value


def _inherited(root: MapAt, path: tuple[str, ...]) -> Value | None:
    """A copy of what an entry has at `path` through its `like:`, so that a what-if can change a piece of it."""
    if len(path) < 3 or path[0] not in INHERITING:
        return None
    seen: set[str] = set()
    name = path[1]
    while name not in seen:
        seen.add(name)
        entry = child(root.get(path[0]), name)
        value: Value | None = entry
        for part in path[2:]:
            value = child(value, part)
        if value is not None:
            return located(value, ())
        like = child(entry, "like")
        if not isinstance(like, TextAt):
            return None
        name = str(like)
    return None


def inherit(root: MapAt, report: Report) -> None:
    """Write every `like:` of cabinets and variants out: mappings are merged, scalars and lists replaced."""
    for section in INHERITING:
        entries = root.get(section)
        if isinstance(entries, MapAt):
            whole: dict[str, MapAt] = {}
            for name in entries:
                _written_out(name, entries, whole, [], section, report)
            for name, entry in whole.items():
                entries[name] = entry


def _written_out(
    name: str, entries: MapAt, whole: dict[str, MapAt], chain: list[str], section: str, report: Report
) -> MapAt | None:
    entry = entries[name]
    if not isinstance(entry, MapAt):
        return None
    if name in whole:
        return whole[name]
    like = entry.get("like")
    result = MapAt(entry)
    result.mark, result.key_marks = entry.mark, dict(entry.key_marks)
    if like is not None:
        del result["like"]
        base = _base(name, like, entries, whole, [*chain, name], section, report)
        if base is None:
            result.incomplete = True
        else:
            result = merged(base, result)
            if section == "variants" and "cabinet" not in result:
                result.incomplete = True  # told of the one it starts from
    whole[name] = result
    return result


def _base(
    name: str, like: Value, entries: MapAt, whole: dict[str, MapAt], chain: list[str], section: str, report: Report
) -> MapAt | None:
    path = (section, name, "like")
    if not isinstance(like, TextAt):
        report.error("wrong_type", path, f"{name}.like is no name", f"it names another of {section}", mark=like.mark)
        return None
    if len(chain) > _LONGEST_CHAIN:
        found = f"{name}.like is at the end of more than {_LONGEST_CHAIN} steps"
        report.error("like_loop", path, found, "start from a nearer one", mark=like.mark)
        return None
    if like in chain:
        loop = " -> ".join([*chain[chain.index(str(like)) :], str(like)])
        report.error(
            "like_loop", path, f"{name}.like goes round in a circle: {loop}", "let one stand alone", mark=like.mark
        )
        return None
    if like not in entries:
        others = [other for other in entries if other != name]
        report.error(
            "like_unknown",
            path,
            f'{name}.like is "{like}", and {section} has none of that name',
            advice(str(like), others),
            mark=like.mark,
        )
        return None
    return _written_out(str(like), entries, whole, chain, section, report)


def merged(base: MapAt, change: MapAt) -> MapAt:
    """`base` with what `change` names: mappings are merged key by key, everything else is replaced."""
    result = MapAt(base)
    result.mark = change.mark
    result.key_marks = {**base.key_marks, **change.key_marks}
    result.incomplete = base.incomplete or change.incomplete
    for key, value in change.items():
        old = result.get(key)
        result[key] = merged(old, value) if isinstance(old, MapAt) and isinstance(value, MapAt) else value
    return result


def located(value: Value, path: tuple[str, ...]) -> Value:
    """A copy of the tree in which every value knows its path."""
    copy: Value
    if isinstance(value, MapAt):
        copy = MapAt({key: located(inner, (*path, key)) for key, inner in value.items()})
        copy.key_marks = dict(value.key_marks)
        copy.incomplete = value.incomplete
    elif isinstance(value, ListAt):
        copy = ListAt(located(inner, (*path, str(index))) for index, inner in enumerate(value))
    else:
        copy = TextAt(value)
    copy.path, copy.mark = path, value.mark
    return copy
