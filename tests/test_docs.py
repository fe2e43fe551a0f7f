"""The pages under docs/ show what the program really prints, name what it has, and link to what there is.

python -m tests.test_docs puts the real outputs into the pages.
"""

from __future__ import annotations

import importlib
import json
import pkgutil
import re
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
import typer

from system import commands
from system.commandline import FIRST_SCREEN, GROUPS, app
from tests.support_docs import CUT, DOCS, HOME, PAGES, Shell, blocks, clone, lines, play, renewed, same, update

for module in pkgutil.iter_modules(commands.__path__, "system.commands."):  # each registers its own
    importlib.import_module(module.name)
COMMANDS: dict[str, Any] = typer.main.get_command(app).commands  # type: ignore[attr-defined]
NAMES = [name for names in GROUPS.values() for name in names]
PAGE_OF = {name: f"commands/{name}" for name in NAMES} | {FIRST_SCREEN: "commands/first-screen"}

# What a `sh` block may say besides `kitwright ...`: getting and installing the program, which these tests do not do.
TYPED_ONCE = ("cd kitwright", "python3 -m venv .venv", ".venv/bin/pip install", ". .venv/bin/activate", "pipx install")

LINK = re.compile(r"(?<!\!)\[[^\]\[]*\]\(([^)\s]+)\)")
IMAGE = re.compile(r"!\[[^\]\[]*\]\(([^)\s]+)\)")
SHARED_KEYS = {"schema_version", "kit", "findings"}  # explained once, on the page of what all commands share


def text_of(page: str) -> str:
    return PAGES[page].read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def shell() -> Iterator[Shell]:
    with clone():
        yield Shell()


# -- outputs


# Pages whose commands draw whole sheets or weigh every mistake of a build take more than a few seconds.
SLOW = (
    "tutorial",
    *(f"commands/{name}" for name in ("buildsheet", "compare", "predict", "protect", "report", "revalue", "spread")),
    *(f"commands/{name}" for name in ("swap", "symptom", "verify")),
)


def marked(pages: Iterable[str]) -> list[Any]:
    return [pytest.param(page, marks=pytest.mark.slow if page in SLOW else ()) for page in pages]


@pytest.mark.parametrize("page", marked(PAGES))
def test_shown_outputs_are_real(page: str, shell: Shell) -> None:
    for block, real in play(text_of(page), shell):
        assert same(block.text, real), f"{page}: {block.of}\n{real}"


@pytest.mark.parametrize("page", PAGES)
def test_every_line_to_type_is_known(page: str) -> None:
    for block in blocks(text_of(page)):
        if block.kind == "sh":
            for line in lines(block):
                assert line.words.startswith(("kitwright ", *TYPED_ONCE)), line.words


@pytest.mark.parametrize("page", ["tutorial", *PAGE_OF.values()])
def test_there_is_output(page: str) -> None:
    assert any(block.what == "output of" for block in blocks(text_of(page)))


# What counts as the same text, on made-up ones.
REAL = "a\nb\nc\nd\ne\n"


@pytest.mark.parametrize(
    ("shown", "is_it"),
    [
        (REAL, True),
        ("a\nb\nc\nd\n", False),
        ("a\n[...]\ne\n", True),
        ("a\n[...]\n", True),
        ("[...]\nd\ne\n", True),
        ("a\n[...]\nc\n[...]\ne\n", True),
        ("a\n[...]\nx\n[...]\ne\n", False),
        ("b\n[...]\ne\n", False),
        ("a\n[...]\nd\n", False),
        ("a\nb\nc\n[...]\nc\nd\ne\n", False),
    ],
)
def test_cuts(shown: str, is_it: bool) -> None:
    assert same(shown, REAL) is is_it


def test_renewing_keeps_the_cuts_and_tells_the_truth() -> None:
    old = "title\n\nlevel 91.5 dB\n[...]\nsum 12\nend\n"
    real = "title\n\nlevel 89.1 dB\nmore\nsomething else\nsum 13\nend of it\n"
    new = renewed(old, real)
    assert new == f"title\n\nlevel 89.1 dB\n{CUT}\nsum 13\nend of it\n"
    assert same(new, real)
    assert not same(old, real)
    assert renewed(real, old.replace(f"{CUT}\n", "")) == old.replace(f"{CUT}\n", "")


# -- commands, options, names


@pytest.mark.parametrize("name", PAGE_OF)
def test_a_page_names_every_option(name: str) -> None:
    page = text_of(PAGE_OF[name])
    for each in COMMANDS[name].params:
        if each.param_type_name == "option" and each.name != "help":
            assert any(f"`{option}" in page for option in each.opts), f"{name}: {each.opts}"


@pytest.mark.parametrize("page", [*PAGE_OF.values(), "commands/common", "tutorial", "index"])
def test_a_page_names_no_option_that_is_none(page: str) -> None:
    known = {option for each in COMMANDS.values() for parameter in each.params for option in parameter.opts}
    known |= {"--version", "--help", "--install-completion", "--show-completion"}
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", re.sub(r"<!--|-->", "", text_of(page))))
    assert named <= known | {"--upgrade", "--quiet"}


@pytest.mark.parametrize("page", PAGE_OF.values())
def test_a_page_says_what_it_has_to(page: str) -> None:
    headings = re.findall(r"^## (.*)$", text_of(page), re.MULTILINE)
    assert [each for each in headings if each in ("How to read it", "Options", "Exit status")] == [
        "How to read it",
        "Options",
        "Exit status",
    ]


NAMED = re.compile(r"((?:<!-- names of: kitwright [^\n]* -->\n+)+)((?:\|[^\n]*\n)+)")


def _names_in(table: str) -> list[str]:
    rows = table.splitlines()[2:]
    return [name for row in rows for name in re.findall(r"`([^`]+)`", row.split("|")[1])]


def _at(data: Any, name: str) -> list[Any]:
    """What the document has under a dotted name; NAME is any key, and lists are looked into."""
    found = [data]
    for word in name.split("."):
        inside: list[Any] = []
        for each in found:
            for item in each if isinstance(each, list) else [each]:
                if isinstance(item, dict):
                    inside += item.values() if word == "NAME" else [item[word]] if word in item else []
        found = inside
    return found


WITH_JSON = [page for name, page in PAGE_OF.items() if any(each.name == "as_json" for each in COMMANDS[name].params)]


@pytest.mark.parametrize("page", marked(WITH_JSON))
def test_a_page_names_what_its_json_has(page: str, shell: Shell) -> None:
    """Every name at the top and in each variant is in the page's table, and every name in the table is real."""
    tables = NAMED.findall(text_of(page))
    assert tables
    list(play(text_of(page), shell))  # for the files it saves
    for head, table in tables:
        documents = [json.loads(shell.run(f"{words} --json").stdout) for words in re.findall(r"of: (.*) -->", head)]
        named = _names_in(table)
        for each in named:
            assert any(_at(data, each) for data in documents), f"{page}: no {each}"
        for data in documents:
            wanted = set(data) - SHARED_KEYS - {"variants"}
            inside = {key for variant in data.get("variants", {}).values() for key in variant}
            wanted |= {f"variants.NAME.{key}" for key in inside if key not in ("woofer_a", "woofer_b")}
            missing = {key for key in wanted if not any(f"{each}.".startswith(f"{key}.") for each in named)}
            assert not missing, f"{page}: {missing}"


# -- links


def _anchors(page: Path) -> set[str]:
    """Headings as MyST makes anchors of them: small letters, hyphens for spaces, other signs dropped."""
    headings = re.findall(r"^#{1,3} (.*)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    plain = (re.sub(r"[^\w\- ]", "", each.lower()).strip().replace(" ", "-") for each in headings)
    return set(plain) | set(re.findall(r"^\(([\w-]+)\)=$", page.read_text(encoding="utf-8"), re.MULTILINE))


@pytest.mark.parametrize("page", PAGES)
def test_links_resolve(page: str) -> None:
    """Inside the repository: the file and the heading are there. Outside: form only, since nothing is fetched."""
    path = PAGES[page]
    prose = re.sub(r"^```.*?^```$", "", text_of(page), flags=re.DOTALL | re.MULTILINE)
    for target in LINK.findall(prose) + IMAGE.findall(prose):
        parts = urlsplit(target)
        if parts.scheme:
            assert parts.scheme in ("https", "mailto"), target
            assert parts.scheme == "mailto" or "." in parts.netloc, target
            continue
        other = (path.parent / parts.path).resolve() if parts.path else path
        assert other.is_file(), f"{page}: {target}"
        assert other.is_relative_to(HOME), target
        if parts.fragment:
            assert parts.fragment in _anchors(other), f"{page}: {target}"


def test_every_page_is_listed() -> None:
    """The list of pages beside every page: those of the commands in the order of the help, others by name or glob."""
    listed = re.findall(r"^([\w/*-]+)$", text_of("index"), re.MULTILINE)
    assert [each for each in listed if each in PAGE_OF.values()] == list(dict.fromkeys(PAGE_OF[n] for n in ORDER))
    for page in set(PAGES) - {"index"}:
        assert any(Path(page).match(each) for each in listed), page


ORDER = [FIRST_SCREEN, *NAMES]


def test_pictures_shown_are_all_there_are() -> None:
    shown = {Path(target).name for page in PAGES for target in IMAGE.findall(text_of(page))}
    shown |= {Path(target).name for target in IMAGE.findall((HOME / "README.md").read_text(encoding="utf-8"))}
    assert {path.name for path in (DOCS / "pictures").iterdir()} <= shown


if __name__ == "__main__":
    sys.exit(update())
