"""The Python guide is run as it stands: every block in order, in one namespace, and what is shown is what comes out."""

from __future__ import annotations

import doctest
import re
import sys
from pathlib import Path
from typing import Any

import pytest

from system import api
from tests.test_cli import HOME

GUIDE = HOME / "docs" / "python.md"
BLOCK = re.compile(r"```pycon\n(.*?)```", re.DOTALL)


class Record(doctest.DocTestRunner):
    """What differs from what is shown: the line in the guide, what is shown, and what came out."""

    def __init__(self) -> None:
        super().__init__(verbose=False)
        self.wrong: list[tuple[int, str, str]] = []

    def report_failure(self, out: Any, test: doctest.DocTest, example: doctest.Example, got: str) -> None:
        self.wrong.append(((test.lineno or 0) + example.lineno + 1, example.want, got))

    def report_unexpected_exception(self, out: Any, test: Any, example: Any, error: Any) -> None:
        self.wrong.append(((test.lineno or 0) + example.lineno + 1, example.want, f"{error[0].__name__}: {error[1]}\n"))


def played(text: str) -> Record:
    """All blocks of a guide."""
    runner, names = Record(), {"__name__": "guide"}
    for block in BLOCK.finditer(text):
        line = text[: block.start(1)].count("\n")
        test = doctest.DocTestParser().get_doctest(block[1], names, GUIDE.name, str(GUIDE), line)
        test.globs = names  # not a copy
        runner.run(test, clear_globs=False)
    return runner


@pytest.mark.slow
def test_what_is_shown_is_what_comes_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert played(GUIDE.read_text(encoding="utf-8")).wrong == []
    assert (tmp_path / "tall.svg").read_text(encoding="utf-8").count("woofer_a") > 0
    assert all((tmp_path / f"{name}.svg").stat().st_size > 10_000 for name in ("time", "around"))
    assert (tmp_path / "L1.csv").read_text(encoding="utf-8").startswith("L1_mh,balance_db,sensitivity_db")


def test_a_wrong_line_is_found() -> None:
    text = "# Guide\n\n```pycon\n>>> x = 2\n>>> x\n2\n\n```\n\n```pycon\n>>> x + 1\n4\n>>> x / 0\n\n```\n"
    assert played(text).wrong == [(11, "4\n", "3\n"), (13, "", "ZeroDivisionError: division by zero\n")]


def test_every_code_block_is_run() -> None:
    text = GUIDE.read_text(encoding="utf-8")
    assert text.count("```") == 2 * len(BLOCK.findall(text)) > 0


def test_the_guide_names_only_what_there_is() -> None:
    named = set(re.findall(r"`(plot_\w+)`|\bapi\.(\w+)", GUIDE.read_text(encoding="utf-8")))
    assert {name for both in named for name in both if name} <= set(api.__all__)


def update() -> None:
    """Put what comes out into the guide: python -m tests.test_python_guide, in a folder for the files it writes."""
    lines = GUIDE.read_text(encoding="utf-8").splitlines(keepends=True)
    for line, want, got in reversed(played("".join(lines)).wrong):
        start = line  # the line after the one that the example starts in
        while lines[start].startswith("... "):
            start += 1
        lines[start : start + want.count("\n")] = got.splitlines(keepends=True)
    GUIDE.write_text("".join(lines), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(update())
