"""The pages about the models: every file, test and bound they name is there; the glossary has every key of a driver.

The pages are held against what they speak of: the tree of files, the tests' own text, and the kit file's model.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

from system import kitmodel

ROOT = Path(__file__).parent.parent
DOCS = ROOT / "docs"
MODELS = sorted((DOCS / "models").glob("*.md"))
PAGES = [page for page in MODELS if page.stem != "index"]
SECTIONS = ["Equations", "Sources", "Where it holds", "Measured error", "In the code"]

FILE = re.compile(r"`((?:enclosures|filters|system|tests)/[\w/.]+\.py)(?:::(\w+))?`")
BOUND = re.compile(r"^\| `([^`|]+)`[^|]*\|.*`(tests/\w+\.py)::(\w+)` \|$")  # | `0.05` dB | ... | `tests/..::..` |
FIGURE = re.compile(r"^\| [^|]+\| `([^`|]+)`[^|]*\|.*`(tests/\w+\.py)::(\w+)` \|$")  # the index has the model first

page_of = pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
any_page = pytest.mark.parametrize(
    "page", [*MODELS, DOCS / "trust.md", DOCS / "glossary.md"], ids=lambda page: page.stem
)


@cache
def functions(file: str) -> dict[str, str]:
    """The functions of a test file, each with its decorators, as text."""
    text = (ROOT / file).read_text(encoding="utf-8")
    found = {}
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            first = min([node.lineno, *(each.lineno for each in node.decorator_list)])
            found[node.name] = "\n".join(text.splitlines()[first - 1 : node.end_lineno])
    return found


def with_helpers(file: str, test: str) -> str:
    """The text of a test and of what it calls in its own file."""
    known = functions(file)
    called = [name for name in known if name != test and re.search(rf"\b{name}\(", known[test])]
    return "\n".join([known[test], *(known[name] for name in called)])


def sections(page: Path) -> dict[str, str]:
    """What stands under each heading of the second rank."""
    _, *parts = re.split(r"^## ", page.read_text(encoding="utf-8"), flags=re.MULTILINE)
    return {part.partition("\n")[0].strip(): part.partition("\n")[2].strip() for part in parts}


def bounds(page: Path, form: re.Pattern[str]) -> Iterator[tuple[str, str, str]]:
    """A bound, the file and the test that holds it, for every row of the page's tables that has one."""
    for line in page.read_text(encoding="utf-8").splitlines():
        if found := form.match(line):
            bound, file, test = found.groups()
            yield bound, file, test


@page_of
def test_each_page_has_its_sections(page: Path) -> None:
    found = sections(page)
    assert list(found) == SECTIONS
    assert all(found.values())
    text = page.read_text(encoding="utf-8")
    before = text[: text.index("\n## ")].split("\n", 1)
    assert before[0].startswith("# ")
    assert len(before[1].strip()) > 80  # what it computes
    assert "$" in found["Equations"]


@any_page
def test_files_and_tests_that_are_named_are_there(page: Path) -> None:
    for file, test in FILE.findall(page.read_text(encoding="utf-8")):
        assert (ROOT / file).is_file(), file
        assert not test or test in functions(file), f"{file}::{test}"


@page_of
def test_each_page_names_a_test_and_a_module(page: Path) -> None:
    found = sections(page)
    assert [test for file, test in FILE.findall(found["Measured error"]) if file.startswith("tests/") and test]
    code = FILE.findall(found["In the code"])
    assert code
    assert not [file for file, _ in code if file.startswith("tests/")]


def number(bound: str) -> re.Pattern[str]:
    """The bound as the test has it, and not as a part of another number."""
    return re.compile(rf"(?<![\w.]){re.escape(bound)}(?![\w.])")


@pytest.mark.parametrize("page", MODELS, ids=lambda page: page.stem)
def test_bounds_are_those_of_the_tests(page: Path) -> None:
    """A page does not go on telling a bound that its test no longer has."""
    found = list(bounds(page, FIGURE if page.stem == "index" else BOUND))
    assert len(found) >= 3
    for bound, file, test in found:
        assert number(bound).search(with_helpers(file, test)), f"{bound} is not in {file}::{test}"


def test_every_row_of_a_table_of_errors_has_a_bound() -> None:
    """Else the test above would pass over it."""
    for page in MODELS:
        text = page.read_text(encoding="utf-8")
        rows = [line for line in text.splitlines() if line.startswith("| ") and "`tests/" in line]
        assert len(rows) == len(list(bounds(page, FIGURE if page.stem == "index" else BOUND))), page.stem


def test_the_index_has_every_page() -> None:
    text = (DOCS / "models" / "index.md").read_text(encoding="utf-8")
    assert set(re.findall(r"\]\(([\w-]+)\.md\)", text)) == {page.stem for page in PAGES}


def terms() -> list[str]:
    """The glossary's terms in its order: a definition list's, each on a line before one that begins with a colon."""
    lines = (DOCS / "glossary.md").read_text(encoding="utf-8").splitlines()
    return [term for term, meaning in pairwise(lines) if meaning.startswith(": ") and term]


def test_the_glossary_is_in_alphabetical_order() -> None:
    found = [re.sub(r"[^a-z0-9]+", " ", re.sub(r"\(.*\)", "", term.lower())).strip() for term in terms()]
    assert len(found) > 60
    assert found == sorted(found)
    assert len(set(found)) == len(found)


def test_the_glossary_has_every_key_of_a_driver() -> None:
    """As the kit file's own model has them."""
    text = "\n".join(terms())
    for key in kitmodel.Driver.fields():
        assert f"`{key}`" in text, key


def test_what_outputs_say_is_in_the_glossary() -> None:
    found = " ".join(terms()).lower()
    for word in (
        "-3 db point", "baffle step", "crest factor", "fit", "leave out", "link", "listening window", "marginal",
        "programme", "rated impedance", "sensitivity", "verdict", "window",
    ):  # fmt: skip
        assert word in found, word
