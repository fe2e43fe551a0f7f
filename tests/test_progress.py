"""The line that long work shows, as a terminal gets it; a pseudo-terminal of the system's own is the other side."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
import time

import pytest

from tests.support_cli import kitwright
from tests.test_cli import HOME, MARSHLIGHT

WORK = """
import sys, time
from types import SimpleNamespace as Named
from system.progress import progress
with progress("spread", [Named(name=n) for n in ("centre", "wall")]) as in_turn:
    for each in in_turn:
        time.sleep(float(sys.argv[1]))
print("done", file=sys.stderr)
"""


def said(seconds: float, **environment: str) -> str:
    """What standard error gets of two pieces of work of so many seconds each, where it is a terminal."""
    ours, theirs = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-c", WORK, str(seconds)], stderr=theirs, cwd=HOME, env={**os.environ, **environment}
    ) as process:
        os.close(theirs)
        text = b""
        while True:
            try:
                piece = os.read(ours, 1000)
            except OSError:  # how Linux says that the other side has closed
                break
            if not piece:
                break
            text += piece
        assert process.wait(10) == 0
    os.close(ours)
    return text.decode()


def shown(text: str) -> list[str]:
    """The lines that a person sees one after the other in the same place, without the blanks that wipe them."""
    return [line.strip() for line in text.split("\r") if line.strip()]


def test_a_line_comes_after_a_second_and_goes_when_the_work_is_done() -> None:
    text = said(1.3)
    lines = shown(text)
    assert lines[0] == "spread: centre, 1 of 2, 1 s"
    assert lines[1].startswith("spread: wall, 2 of 2, ")
    assert lines[-1] == "done"
    *_, blank, after = text[: text.index("done")].split("\r")
    assert (blank.strip(), after) == ("", "")
    assert "\x1b" not in text


def test_short_work_shows_none() -> None:
    assert shown(said(0.1)) == ["done"]


def test_a_terminal_that_cannot_return_gets_none() -> None:
    assert shown(said(1.1, TERM="dumb")) == ["done"]


def test_nothing_is_shown_where_there_is_no_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("system.progress.FIRST", 0.0)
    done = kitwright("protect", MARSHLIGHT, "--variant", "wall", "--json")
    assert done.returncode == 0
    assert done.stderr == ""


def test_it_goes_when_the_work_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    from system import progress

    written: list[str] = []
    monkeypatch.setattr(progress, "_is_watched", lambda: True)
    monkeypatch.setattr(progress, "_write", written.append)
    monkeypatch.setattr(progress, "FIRST", 0.01)

    def work() -> None:
        with progress.progress("verify"):
            time.sleep(0.2)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        work()
    assert written[0].strip() == "verify: 0 s"
    assert not written[-1].strip()
    assert written[-1].endswith("\r")
