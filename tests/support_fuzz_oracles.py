"""What must hold of every case, whatever was asked: the violations of one that ran."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from functools import lru_cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from system.codes import CODES
from tests.support_fuzz_cases import Case
from tests.support_fuzz_running import LONGEST, MOST_MEMORY, Ran
from tests.support_fuzz_values import MARK

FINDING = re.compile(
    r"(?P<file>.+?):(?P<line>\d+):(?P<column>\d+): (?P<severity>error|warning|note)\[(?P<code>\w+)\]: .+"
)
_OTHER_LINES = (
    re.compile(r"\d+ notes?, listed by: kitwright proofread .*"),
    re.compile(r".* written; next: kitwright proofread .*"),
    re.compile(r"\S.* is not written, since no kit could read it: .*"),
)
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")
_NO_NUMBER = re.compile(r"(?<![\w.<>-])[-+]?(?:nan|inf)(?![\w>])")
OF_TWO = ("--added-mass", "--known-box")  # options that take two values


def violations(case: Case, ran: Ran, folder: Path) -> list[str]:
    """Each as `kind: what was seen`; none where all is well."""
    return [*_ending(case, ran), *_told(case, ran, folder), *_answer(case, ran), *_written(case, ran, folder)]


def codes(ran: Ran) -> list[str]:
    """The codes of the errors on standard error."""
    found = (FINDING.fullmatch(line) for line in ran.stderr.splitlines())
    return [each["code"] for each in found if each and each["severity"] == "error"]


def _ending(case: Case, ran: Ran) -> Iterator[str]:
    if ran.raised:
        yield f"{'hang' if ran.raised.startswith('timed out') else 'exception'}: {ran.raised}"
    if "Traceback (most recent call last)" in ran.stderr and not ran.killed:
        yield f"traceback: {ran.stderr[-1500:]}"
    if ran.status not in (0, 1, 2) and not ran.raised and not ran.killed:
        yield f"exit status: {ran.status}, {ran.stderr[-600:]}"
    if ran.seconds > 2 * LONGEST and not ran.raised and not ran.killed:
        yield f"slow: {ran.seconds:.1f} s"
    if ran.memory > MOST_MEMORY:
        yield f"memory: {ran.memory >> 20} MiB"
    if case.refused and ran.status in (0, 1):
        yield "not refused: a file outside of the kit's folder, or none, was taken"


def _told(case: Case, ran: Ran, folder: Path) -> Iterator[str]:
    if ran.killed or ran.raised:
        return
    if _CONTROL.search(ran.stderr):
        yield f"control character: on standard error: {ran.stderr[:400]!r}"
    for line in ran.stderr.splitlines()[:500]:
        found = FINDING.fullmatch(line)
        if not found and not any(other.fullmatch(line) for other in _OTHER_LINES):
            yield f"standard error: a line that is no finding: {line[:300]!r}"
            break
        if found and found["code"] not in CODES:
            yield f"code: unknown {found['code']}"
        if found:
            yield from _placed(found, folder)
    if ran.status == 2 and not codes(ran):
        yield f"silent refusal: no error on standard error: {ran.stderr[:300]!r}"
    if ran.status in (0, 1) and codes(ran):
        yield f"error answered: exit status {ran.status} with {codes(ran)[:3]}"


def _placed(found: re.Match[str], folder: Path) -> Iterator[str]:
    """The line and the column of a finding are in the file, with room for an end."""
    file = folder / found["file"]
    if not os.path.isfile(file):
        return
    lines, most = _rows(file.read_bytes())
    row, column = int(found["line"]), int(found["column"])
    if row > most + 1:
        yield f"place: line {row} of {len(lines)}: {found[0][:300]}"
    elif row <= len(lines) and column > len(lines[row - 1]) + 2 and found["code"] != "file_not_utf8":
        yield f"place: column {column} of {len(lines[row - 1])}: {found[0][:300]}"


@lru_cache(maxsize=2)
def _rows(data: bytes) -> tuple[list[str], int]:
    """Lines as YAML ends them, and how many there are for a reader of tables, who knows more ends."""
    text = data.decode("utf-8-sig", "replace")
    lines = re.split(r"\r\n|[\r\n\x85\u2028\u2029]", text)
    return lines, max(len(lines), len(text.splitlines()))


def _answer(case: Case, ran: Ran) -> Iterator[str]:
    if ran.killed or ran.raised:
        return
    try:
        text = ran.stdout.decode("utf-8")
    except UnicodeDecodeError as error:
        yield f"encoding: standard output is not UTF-8: {error}"
        return
    if _asks_json(case) and text.lstrip().startswith("{"):
        yield from _json(text, "standard output", ran)
    elif _asks_json(case) and ran.status == 2:
        yield "json: nothing on standard output with exit status 2"
    elif text:
        yield from _text(case, text, "standard output")


def _asks_json(case: Case) -> bool:
    """Whether --json is an option rather than a value of one before."""
    options = [(i, word) for i, word in enumerate(case.words) if word.startswith("-")]
    values = {i + 1 for i, word in options if word != "--json"} | {i + 2 for i, word in options if word in OF_TWO}
    return any(word == "--json" and i not in values for i, word in options)


def _json(text: str, where: str, ran: Ran | None = None) -> Iterator[str]:
    def refuse(word: str) -> None:
        raise ValueError(f"it holds {word}")

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        if len({key for key, _ in pairs}) != len(pairs):
            raise ValueError(f"a key comes twice among {[key for key, _ in pairs][:20]}")
        return dict(pairs)

    try:
        content = json.loads(text, parse_constant=refuse, object_pairs_hook=once)
    except ValueError as error:
        yield f"json: {where}: {error}: {text[:200]!r}"
        return
    if ran is not None and ran.status == 2:
        listed = sorted(each["code"] for each in content.get("findings", []) if each["severity"] == "error")
        if listed != sorted(codes(ran)):
            yield f"json: findings {listed[:5]} are not those on standard error, {sorted(codes(ran))[:5]}"


def _text(case: Case, text: str, where: str) -> Iterator[str]:
    if _CONTROL.search(text):
        at = _CONTROL.search(text)
        assert at is not None
        yield f"control character: {where}: {text[max(0, at.start() - 80) : at.end() + 80]!r}"
    said = " ".join(case.words) + "".join(data.decode("utf-8", "replace") for data in case.files.values())
    if (at := _NO_NUMBER.search(text)) and not re.search(r"(?i)(?<![a-z])(?:nan|inf)", said):
        yield f"no number: {where}: {text[max(0, at.start() - 80) : at.end() + 40]!r}"


def _written(case: Case, ran: Ran, folder: Path) -> Iterator[str]:
    changed = [name for name, seen in ran.after.items() if ran.before.get(name) != seen]
    gone = [name for name in ran.before if name not in ran.after]
    left = [name for name in changed if ran.killed == "SIGKILL" and re.search(r"(^|/)\.[^/]*\.[0-9a-f]{16}$", name)]
    for name in [*changed, *gone]:
        if name not in left and not any(_within(name, output) for output in case.outputs):
            yield f"stray file: {name}"
    # CSV files are whole before a picture of nothing is refused
    only_drawn = "error[usage]: a picture of no " in ran.stderr
    if ran.status == 2 and not ran.raised and not only_drawn and [name for name in changed if ran.after[name][1]]:
        yield f"written though refused: {changed[:5]}"
    for name in changed:
        path = folder / name
        if name not in left and path.is_file() and not path.is_symlink():
            yield from complete(case, path)


def _within(name: str, output: str) -> bool:
    """Whether a path that changed is an output, in one, or the folder that holds one."""
    clean = str(Path(output))
    return name == clean or name.startswith(f"{clean}/") or (clean.startswith(f"{name}/"))


def complete(case: Case, path: Path) -> Iterator[str]:
    """Whether a file that was written is whole, and holds no markup of the kit's."""
    data = path.read_bytes()
    ending = path.suffix.lower()
    if ending == ".png" and not (data.startswith(b"\x89PNG") and data.endswith(b"IEND\xaeB`\x82")):
        yield f"half written: {path.name} is no whole PNG"
    if ending == ".pdf" and not (data.startswith(b"%PDF") and data.rstrip().endswith(b"%%EOF")):
        yield f"half written: {path.name} is no whole PDF"
    if ending in (".png", ".pdf"):
        return
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        yield f"encoding: {path.name} is not UTF-8: {error}"
        return
    if not text.endswith("\n") and ending != ".html":
        yield f"half written: {path.name} ends without a line's end: {text[-60:]!r}"
    checks = {".svg": _svg, ".html": _page, ".csv": _csv}
    if ending in checks:
        yield from checks[ending](text, path.name)
    elif _asks_json(case) and text.startswith("{"):
        yield from _json(text, path.name)
    else:
        yield from _text(case, text, path.name)


def _svg(text: str, name: str) -> Iterator[str]:
    try:
        root = ElementTree.fromstring(text)
    except ElementTree.ParseError as error:
        yield f"half written: {name}: {error}"
        return
    for element in root.iter():
        if MARK in str(element.tag) or any(MARK in key for key in element.attrib):
            yield f"markup: {name}: <{element.tag}>"


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.marked: list[str] = []
        self.ended: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        links = [value or "" for key, value in attrs if key in ("href", "src", "xlink:href")]
        if MARK in tag or any(MARK in key for key, _ in attrs) or any(link.startswith("javascript:") for link in links):
            self.marked.append(self.get_starttag_text() or tag)

    def handle_endtag(self, tag: str) -> None:
        self.ended.append(tag)


def _page(text: str, name: str) -> Iterator[str]:
    page = _Page()
    page.feed(text)
    page.close()
    if page.marked:
        yield f"markup: {name}: {page.marked[:3]}"
    if page.ended[-1:] != ["html"]:
        yield f"half written: {name} ends with {text[-60:]!r}"
    yield from (f"no number: {name}: {at[0]!r}" for at in re.finditer(r'="[^"]*\b(?:nan|inf)\b[^"]*"', text))


def _csv(text: str, name: str) -> Iterator[str]:
    rows = list(csv.reader(io.StringIO(text)))
    if len({len(row) for row in rows}) > 1:
        yield f"csv: {name} has rows of {sorted({len(row) for row in rows})} cells"
    if any(cell.strip().lower() in ("nan", "inf", "-inf") for row in rows for cell in row):
        yield f"no number: {name}"
