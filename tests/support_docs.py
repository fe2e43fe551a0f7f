"""The pages under docs/ as what they are made of: commands to run, files to save, outputs shown, links.

A page is read from above. In a `sh` block each line that begins with `kitwright` is run; a block under
`<!-- file: NAME -->` is saved under that name first; a block under `<!-- output of: kitwright WORDS -->` is what WORDS
print. A line `[...]` in it stands for lines left out. WORDS may end in `2>&1`: then what goes to standard error comes
first. Everything runs in one folder that holds `scenarios` and `docs`, each command line once.
"""

from __future__ import annotations

import contextlib
import difflib
import re
import shlex
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.support_cli import kitwright

HOME = Path(__file__).parent.parent
DOCS = HOME / "docs"
PAGES = {path.relative_to(DOCS).with_suffix("").as_posix(): path for path in sorted(DOCS.rglob("*.md"))}
CUT = "[...]"

_BLOCK = re.compile(
    r"(?:<!-- (?P<what>output of|file): (?P<of>[^\n]*?) -->\n+)?(?P<ticks>```)(?P<kind>[^\n]*)\n(?P<text>.*?)^```$",
    re.DOTALL | re.MULTILINE,
)
_COMMENT = re.compile(r"\s+# (?P<says>.*)$")
_STATUS = re.compile(r"exit status (\d+)")


@dataclass(frozen=True)
class Block:
    """A block of code of a page: `what` is "output of", "file" or "" and `of` the words that go with it."""

    what: str
    of: str
    kind: str
    text: str
    start: int  # of its text in the page
    stop: int


@dataclass(frozen=True)
class Line:
    """A command line of a `sh` block, and the exit status that a comment on it states."""

    words: str
    status: int


def blocks(page: str) -> list[Block]:
    return [
        Block(found["what"] or "", found["of"] or "", found["kind"], found["text"], *found.span("text"))
        for found in _BLOCK.finditer(page)
    ]


def lines(block: Block) -> list[Line]:
    """The command lines of a `sh` block; a backslash at the end of one goes on in the next."""
    rows = block.text.replace("\\\n", " ").splitlines()
    return [_line(row) for row in rows if row.strip() and not row.startswith("#")]


def _line(row: str) -> Line:
    said = _COMMENT.search(row)
    status = _STATUS.search(said["says"]) if said else None
    return Line(_COMMENT.sub("", row).strip(), int(status[1]) if status else 0)


@contextlib.contextmanager
def clone() -> Iterator[Path]:
    """A folder like a clone of the repository, to work in; commands may leave files there."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for each in ("scenarios", "docs"):
            (folder / each).symlink_to(HOME / each)
        with contextlib.chdir(folder):
            yield folder


class Shell:
    """Runs command lines, each of them once."""

    def __init__(self) -> None:
        self._done: dict[str, subprocess.CompletedProcess[str]] = {}

    def run(self, words: str) -> subprocess.CompletedProcess[str]:
        if words not in self._done:
            self._done[words] = kitwright(*shlex.split(words.removesuffix("2>&1"))[1:])
        return self._done[words]

    def output(self, words: str) -> str:
        """What a terminal shows of it: messages and then data, or data alone."""
        done = self.run(words)
        assert done.returncode in (0, 1, 2), (words, done.stderr)
        return done.stderr + done.stdout if words.endswith("2>&1") else done.stdout


def cut_apart(shown: str) -> list[list[str]]:
    """The runs of lines between the cuts; the first and the last are empty where a cut stands at that end."""
    parts: list[list[str]] = [[]]
    for line in shown.splitlines():
        if line.strip() == CUT:
            parts.append([])
        else:
            parts[-1].append(line)
    return parts


def same(shown: str, real: str) -> bool:
    """Whether the shown text is the real one, or all of it but for what stands for `[...]`."""
    rows, parts = real.splitlines(), cut_apart(shown)
    if len(parts) == 1:
        return parts[0] == rows
    first, *middle, last = parts
    if len(first) + len(last) > len(rows) or rows[: len(first)] != first or rows[len(rows) - len(last) :] != last:
        return False
    at, end = len(first), len(rows) - len(last)
    for part in middle:
        place = next((k for k in range(at, end - len(part) + 1) if rows[k : k + len(part)] == part), None)
        if place is None:
            return False
        at = place + len(part)
    return True


def renewed(shown: str, real: str) -> str:
    """The real text, cut where the shown one was cut: between the lines that are most like those about its cuts."""
    rows, parts = real.splitlines(), cut_apart(shown)
    if len(parts) == 1:
        return real
    kept: list[str] = []
    at = 0
    for number, part in enumerate(parts):
        if number:
            kept.append(CUT)
        if not part:
            continue
        start = at if number == 0 else _most_like(rows, part[0], at)
        stop = len(rows) if number == len(parts) - 1 else _last_like(rows, part, start)
        kept += rows[start:stop]
        at = stop
    return "".join(f"{line}\n" for line in kept)


def _most_like(rows: list[str], line: str, start: int) -> int:
    likeness = [difflib.SequenceMatcher(None, row, line, autojunk=False).ratio() for row in rows[start:]]
    if not likeness or max(likeness) < 0.5:
        raise LookupError(f"no line is like {line!r} any more: cut this output anew by hand")
    return start + likeness.index(max(likeness))


def _last_like(rows: list[str], part: list[str], start: int) -> int:
    """The end of the run that begins at `start`; near its old length where lines are alike."""
    expected = start + len(part) - 1
    likeness = [difflib.SequenceMatcher(None, row, part[-1], autojunk=False).ratio() for row in rows[start:]]
    alike = [start + k for k, ratio in enumerate(likeness) if ratio > max(likeness) - 1e-9]
    return min(alike, key=lambda k: abs(k - expected)) + 1


def play(page: str, shell: Shell) -> Iterator[tuple[Block, str]]:
    """Do what the page says from above to below, and give each output it shows with the real one."""
    for block in blocks(page):
        if block.what == "file":
            Path(block.of).write_text(block.text, encoding="utf-8")
        elif block.what == "output of":
            yield block, shell.output(block.of)
        elif block.kind == "sh":
            for line in lines(block):
                if line.words.startswith("kitwright"):
                    done = shell.run(line.words)
                    assert done.returncode == line.status, (line.words, done.returncode, done.stderr)


def update() -> int:
    """Put the real outputs into all pages; a page whose commands do not run stays as it is, and makes the status 1."""
    status = 0
    with clone():
        shell = Shell()
        for name, path in PAGES.items():
            text = path.read_text(encoding="utf-8")
            try:
                new = _with_outputs(text, shell)
            except (AssertionError, LookupError) as error:
                print(f"docs/{name}.md: {error}")
                status = 1
                continue
            if new != text:
                path.write_text(new, encoding="utf-8")
                print(f"docs/{name}.md: renewed")
    return status


def _with_outputs(text: str, shell: Shell) -> str:
    pieces, at = [], 0
    for block, real in play(text, shell):
        pieces += [text[at : block.start], renewed(block.text, real)]
        at = block.stop
    return "".join(pieces) + text[at:]
