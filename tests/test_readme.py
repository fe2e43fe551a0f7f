"""The README shows what the program really says, and its commands are the ones that work."""

from __future__ import annotations

import re
import shlex
import sys
from pathlib import Path

import pytest

from system import cli
from tests.test_cli import HOME, program

README = (HOME / "README.md").read_text(encoding="utf-8")
SHOWN = re.findall(r"<!-- output of: kitwright (.*?) -->\n```\w+\n(.*?)```", README, re.DOTALL)


@pytest.mark.parametrize(("command", "shown"), SHOWN)
def test_shown_output_is_real(command: str, shown: str) -> None:
    assert program(*shlex.split(command)).stdout == shown


def test_there_is_output_to_check() -> None:
    assert len(SHOWN) == 3


def test_the_first_blocks_run_the_example_and_the_tests() -> None:
    blocks = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    assert blocks[0].rstrip().endswith("kitwright scenarios/marshlight/kit.yaml")
    assert 'python -m pytest -q -n 2 --dist loadfile -m "not slow"' in blocks[2]


def test_a_newcomers_lines_lead_to_their_page(tmp_path: Path) -> None:
    (block,) = [each for each in re.findall(r"```sh\n(.*?)```", README, re.DOTALL) if "my-kit" in each]
    install, *lines = block.splitlines()
    assert install.endswith("pip install --quiet . && . .venv/bin/activate")
    for line in lines:
        _, *words = shlex.split(line, comments=True)
        words = [str(tmp_path / word) if word.startswith("my-kit") else word for word in words]
        assert program(*words).returncode == 0, line
    assert "My two-way kit" in (tmp_path / "my-kit.html").read_text(encoding="utf-8")


def test_every_command_is_in_the_readme() -> None:
    for names in cli.GROUPS.values():
        for name in names:
            assert f"`kitwright {name}" in README


def test_linked_files_exist() -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert target.startswith("http") or (HOME / target).exists(), target


def update() -> None:
    """Put the real output into the README: python -m tests.test_readme."""
    text = README
    for command, shown in SHOWN:
        real = program(*shlex.split(command)).stdout
        head = f"<!-- output of: kitwright {command} -->\n```"
        start = text.index(head)
        body = text.index("\n", start + len(head)) + 1
        text = text[:body] + real + text[body + len(shown) :]
    Path(HOME / "README.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    sys.exit(update())
