"""The kit file as text with positions: YAML through pyyaml's compose step, what-ifs (`--set`) and `like:`.

Every scalar is read as text, so `no`, `12:30` and `010` stay what was typed. Values are `TextAt`, `ListAt` and `MapAt`:
str, list and dict that know where they stand. Nothing is validated here beyond the form of the document.
"""

from __future__ import annotations

import contextlib
import difflib
import re
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

import yaml
from yaml.composer import Composer

from system.codes import CODES
from system.findings import Finding, Severity

LONGEST_FILE = 1 << 20  # bytes
DEEPEST = 40
_LONGEST_INDEX = 10  # digits
_MOST_COMPARED = 500  # names looked through for the one that was meant
_MOST_VALUES = 10_000  # after aliases are written out


class Mark(NamedTuple):
    """A place in a file, line and column from 1; line 0 where there is none (reported as the file's beginning)."""

    file: str
    line: int = 0
    column: int = 0


class TextAt(str):
    path: tuple[str, ...] = ()
    mark: Mark = Mark("")


class ListAt(list[Any]):
    path: tuple[str, ...] = ()
    mark: Mark = Mark("")


class MapAt(dict[str, Any]):
    path: tuple[str, ...] = ()
    mark: Mark = Mark("")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.key_marks: dict[str, Mark] = {}
        self.incomplete = False  # its `like:` failed: what is missing may have been there


Value = TextAt | ListAt | MapAt


class DocumentError(ValueError):
    """The text is no document of ours: code, place, what was found, what is allowed."""

    def __init__(self, code: str, mark: Mark, found: str, allowed: str, path: str = "") -> None:
        self.code, self.mark, self.found, self.allowed, self.path = code, mark, found, allowed, path
        super().__init__(f"{found}; {allowed}")

    def finding(self, allowed: str | None = None) -> Finding:
        """It as an error of a file that is no kit; `allowed` says otherwise what would be right."""
        mark = self.mark
        right = self.allowed if allowed is None else allowed
        return Finding("error", self.code, mark.file, max(1, mark.line), max(1, mark.column), "", self.found, right)


@dataclass(slots=True)
class Report:
    """Collects findings and knows where in the tree each path stands."""

    file: str
    root: MapAt = field(default_factory=MapAt)
    findings: list[Finding] = field(default_factory=list)
    seen: set[tuple[object, ...]] = field(default_factory=set)
    misspelt: set[tuple[str, ...]] = field(default_factory=set)  # paths that an unknown key was probably meant for

    def add(
        self,
        severity: Severity,
        code: str,
        path: Iterable[str],
        found: str,
        allowed: str = "",
        *,
        key: bool = False,
        mark: Mark | None = None,
    ) -> None:
        """One finding at `path`: at its text; with `key`, and for a list or a mapping, at its name.

        A path that is not there points at its parent.
        """
        assert code in CODES, code
        parts = tuple(path)
        mark = mark or self.mark(parts, key)
        finding = Finding(
            severity, code, mark.file, max(1, mark.line), max(1, mark.column), ".".join(parts), found, allowed, found
        )
        # a value inherited through `like:` stands in one place of the file and is faulty once
        fault = (severity, code, *mark, parts[-1:] if mark.line else parts, found if code == "assumed" else "")
        if fault not in self.seen:
            self.seen.add(fault)
            self.findings.append(finding)

    def error(self, code: str, path: Iterable[str], found: str, allowed: str = "", **where: Any) -> None:
        self.add("error", code, path, found, allowed, **where)

    def warning(self, code: str, path: Iterable[str], found: str, allowed: str = "", **where: Any) -> None:
        self.add("warning", code, path, found, allowed, **where)

    def note(self, code: str, path: Iterable[str], found: str, allowed: str = "", **where: Any) -> None:
        self.add("note", code, path, found, allowed, **where)

    def positions(self) -> dict[str, tuple[int, int]]:
        """Line and column of every dotted path of the file."""
        found: dict[str, tuple[int, int]] = {}
        todo: list[tuple[Any, Mark]] = [(self.root, Mark(self.file, 1, 1))]
        while todo:
            node, here = todo.pop()
            found[".".join(node.path)] = (here.line, here.column)
            within = node.items() if isinstance(node, MapAt) else enumerate(node) if isinstance(node, ListAt) else ()
            todo += [(inner, _stands(inner, part, node)) for part, inner in within]
        return found

    @property
    def faulty(self) -> bool:
        return any(finding.severity == "error" for finding in self.findings)

    def sorted(self) -> tuple[Finding, ...]:
        return tuple(sorted(self.findings, key=lambda f: (f.file, f.line, f.column)))

    def mark(self, path: tuple[str, ...], key: bool = False) -> Mark:
        node: Any = self.root
        here = Mark(self.file, 1, 1)
        for depth, part in enumerate(path):
            inner = child(node, part)
            if inner is None:
                return here
            here = _stands(inner, part, node, key or depth < len(path) - 1)
            node = inner
        return here


def _stands(value: Value, part: Any, node: Any, key: bool = False) -> Mark:
    """Where a value of `node` stands: of a text that says something its own place (but for `key`), else its key's."""
    if isinstance(node, ListAt) or (isinstance(value, TextAt) and value and not key):
        return value.mark
    mark: Mark = node.key_marks[part]
    return mark


def child(node: Any, part: str) -> Value | None:
    """The value under a key of a mapping or an index of a list."""
    inner: Value | None = None
    if isinstance(node, MapAt):
        inner = node.get(part)
    elif isinstance(node, ListAt) and part.isdecimal() and len(part) < _LONGEST_INDEX and int(part) < len(node):
        inner = node[int(part)]
    return inner


def label(path: tuple[str, ...]) -> str:
    """The end of a path as a person reads it: `voice_coil.le`, `chambers.0.volume`."""
    words = [depth for depth, part in enumerate(path) if not part.isdecimal()]
    return ".".join(path[words[-2] if len(words) > 1 else 0 :])


def nearest(word: str, known: Collection[str]) -> str:
    """The known word that was probably meant, or nothing."""
    return _nearest(word, tuple(islice(known, _MOST_COMPARED)))


@lru_cache(maxsize=10_000)  # what is inherited through `like:` is asked for again and again
def _nearest(word: str, known: tuple[str, ...]) -> str:
    folded = {other.casefold(): other for other in known}
    close = difflib.get_close_matches(word.casefold(), folded, 1, 0.6)
    return folded[close[0]] if close else ""


def advice(word: str, known: Collection[str], what: str = "it is one of") -> str:
    """Did you mean ...? or else all that is allowed."""
    guess = nearest(word, known)
    if guess:
        return f"did you mean {guess}?"
    return f"there is only {next(iter(known))}" if len(known) == 1 else f"{what} {', '.join(known)}" if known else ""


class _Careful(Composer):
    """Refuses tags and depth before they are composed."""

    depth = 0

    def compose_node(self, parent: Any, index: Any) -> Any:
        event = self.peek_event()  # type: ignore[attr-defined]
        mark = event.start_mark
        tag = getattr(event, "tag", None)
        if tag is not None:
            shown = _short(str(tag).replace("tag:yaml.org,2002:", "!!"))
            raise _Refused("yaml_tag", mark, f"there is a tag, {shown}", "write the value without it")
        self.depth += 1
        if self.depth > DEEPEST:
            raise _Refused(
                "yaml_too_deep", mark, f"values are nested more than {DEEPEST} deep", "a kit needs about ten"
            )
        node = super().compose_node(parent, index)
        self.depth -= 1
        return node


class _Loader(_Careful, yaml.SafeLoader):
    pass


# Where libyaml reads other than pyyaml's own scanner: tabs and question marks as separators, and positions after a
# byte order mark inside a line.
_READ_OTHERWISE = re.compile(r"[\t\ufeff]|^[^#\n]*\?", re.MULTILINE)

if yaml.__with_libyaml__:

    class _QuickLoader(_Careful, yaml.CSafeLoader):
        """The same nodes from libyaml, four times as fast."""

        def __init__(self, text: str) -> None:
            yaml.CSafeLoader.__init__(self, text)
            Composer.__init__(self)

        def compose_scalar_node(self, anchor: Any) -> Any:
            event: Any = self.peek_event()
            if not event.value:  # the two put it in different places
                raise yaml.YAMLError
            return super().compose_scalar_node(anchor)


def _composed(text: str) -> Any:
    """The root node. What is out of the ordinary is left to pyyaml's own scanner: a file reads alike everywhere."""
    if yaml.__with_libyaml__ and not _READ_OTHERWISE.search(text):
        with contextlib.suppress(yaml.YAMLError, _Refused):
            return yaml.compose(text, Loader=_QuickLoader)
    return yaml.compose(text, Loader=_Loader)


class _Refused(Exception):  # noqa: N818 - turned into a DocumentError by `parse`
    def __init__(self, code: str, mark: Any, found: str, allowed: str) -> None:
        self.code, self.mark, self.found, self.allowed = code, mark, found, allowed


def _short(text: object) -> str:
    plain = " ".join(str(text).split())
    return plain if len(plain) <= 40 else plain[:40] + "..."


def read_text(path: Path, shown: str) -> str:
    """The file's text (UTF-8). Raises DocumentError."""
    here = Mark(shown)
    try:
        if path.is_dir():
            raise DocumentError("file_unreadable", here, "this is a folder", "name the file in it")
        if path.exists() and not path.is_file():
            raise DocumentError("file_unreadable", here, "this is no plain file", "name a text file")
        with path.open("rb") as stream:
            data = stream.read(LONGEST_FILE + 1)
    except DocumentError:
        raise
    except FileNotFoundError:
        raise DocumentError("file_missing", here, "there is no such file", "") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise DocumentError("file_unreadable", here, f"the file cannot be read: {reason}", "") from None
    if len(data) > LONGEST_FILE:
        raise DocumentError("file_too_large", here, "the file is larger than 1 MiB", "a kit or table takes a few kB")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8", "replace").lstrip("\ufeff")
        line, column = before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1
        raise DocumentError(
            "file_not_utf8",
            Mark(shown, line, column),
            f"byte 0x{data[error.start]:02x} is not UTF-8",
            "save the file as UTF-8 text",
        ) from None


def parse(text: str, shown: str) -> tuple[MapAt, list[DocumentError]]:
    """The document as one positioned mapping, with the faults that do not keep it from being read on.

    Raises DocumentError for what cannot be read at all.
    """

    def at(mark: Any) -> Mark:
        return Mark(shown, mark.line + 1, mark.column + 1) if mark is not None else Mark(shown, 1, 1)

    try:
        node = _composed(text)
    except _Refused as error:
        raise DocumentError(error.code, at(error.mark), error.found, error.allowed) from None
    except yaml.reader.ReaderError as error:
        before = text[: error.position]
        mark = Mark(shown, before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1)
        raise _misplaced(text[error.position], mark) from None
    except yaml.MarkedYAMLError as error:
        raise _syntax(error, at) from None
    except RecursionError:
        raise DocumentError("yaml_too_deep", Mark(shown, 1, 1), "values are nested too deep", "") from None
    if node is None:
        raise DocumentError("kit_empty", Mark(shown, 1, 1), "the file is empty", "`start` writes a kit to edit")
    if not isinstance(node, yaml.MappingNode):
        raise DocumentError("wrong_type", at(node.start_mark), "this is no mapping", "a kit begins with format: 1")
    converter = _Converter(at)
    return converter.mapping(node, 0), converter.faults


def _syntax(error: yaml.MarkedYAMLError, at: Callable[[Any], Mark]) -> DocumentError:
    mark = at(error.problem_mark or error.context_mark)
    if isinstance(error, yaml.composer.ComposerError):
        if "single document" in str(error.context):
            return DocumentError("yaml_documents", mark, "a second document begins here", "a kit is one document")
        if "alias" in str(error.problem):
            return DocumentError(
                "yaml_alias", mark, f"{error.problem}", "define the anchor before, or write the value out"
            )
        return DocumentError("yaml_alias", mark, "an anchor's name is used twice", "give each anchor its own name")
    problem = str(error.problem or error.context or "this is no YAML")
    hint = "YAML cannot be read here"
    if "'\\t'" in problem or "tab" in problem:
        return DocumentError("yaml_syntax", mark, f"{hint}: there is a tab", "indent with spaces")
    if "could not find expected ':'" in problem:
        return DocumentError(
            "yaml_syntax", at(error.context_mark), f"{hint}: this is no key: value", "put a space after the colon"
        )
    return DocumentError("yaml_syntax", mark, f"{hint}: {problem}", "look for a missing quote, bracket, colon or space")


def legible(text: str, mark: Mark) -> str:
    """The text itself, if it can be printed: an escape is no way round what a text file may hold. Raises DocumentError.

    Refused are control characters, which would steer a terminal, and halves of characters, which no file can hold.
    """
    wrong = _ILLEGIBLE.search(text)
    if wrong:
        raise _misplaced(wrong[0], mark)
    return text


def _misplaced(char: str, mark: Mark) -> DocumentError:
    found = f"the character U+{ord(char):04X} does not belong in a text file"
    return DocumentError("yaml_syntax", mark, found, "delete it")


_ILLEGIBLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")


class _Converter:
    """Nodes of the YAML composer as positioned values; aliases are written out, within bounds."""

    def __init__(self, at: Any) -> None:
        self.at = at
        self.values = 0
        self.faults: list[DocumentError] = []

    def mapping(self, node: yaml.MappingNode, depth: int) -> MapAt:
        result = MapAt()
        result.mark = self.at(node.start_mark)
        last = ""  # the key before, where its value ends with a digit
        for key_node, value_node in node.value:
            mark = self.at(key_node.start_mark)
            if not isinstance(key_node, yaml.ScalarNode):
                fault = DocumentError("yaml_key", mark, "a list or a mapping is used as a key", "a key is one word")
                self.faults.append(fault)
                continue
            key = legible(key_node.value, mark)
            if key[:1].isdigit() and isinstance(value_node, yaml.ScalarNode) and not value_node.value and last:
                # {le: 1,5 mH} was split by YAML at the comma: put it together again for the reader of quantities
                text = TextAt(f"{result[last]},{key}")
                text.mark = result[last].mark
                result[last] = text
                continue
            last = ""
            if key in result:
                self._count(mark, depth)
                first = result.key_marks[key]
                twice = f"{_short(key)} is given twice, first on line {first.line}"
                self.faults.append(DocumentError("duplicate_key", mark, twice, "keep one of the two", _short(key)))
                continue
            result.key_marks[key] = mark
            result[key] = self.value(value_node, depth + 1)
            last = key if isinstance(result[key], TextAt) and result[key][-1:].isdigit() else ""
        return result

    def _count(self, mark: Mark, depth: int) -> None:
        self.values += 1
        if self.values > _MOST_VALUES or depth > DEEPEST:
            raise DocumentError(
                "yaml_alias", mark, "aliases multiply to too many values", "write the values out, or use like:"
            )

    def value(self, node: Any, depth: int) -> Value:
        mark = self.at(node.start_mark)
        self._count(mark, depth)
        if isinstance(node, yaml.MappingNode):
            return self.mapping(node, depth)
        if isinstance(node, yaml.SequenceNode):
            items = ListAt(self.value(item, depth + 1) for item in node.value)
            items.mark = mark
            return items
        text = TextAt(legible(node.value, mark))
        text.mark = mark
        return text
