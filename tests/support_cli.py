"""The program in the tests' own process, which has loaded its libraries once."""

from __future__ import annotations

import contextlib
import io
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple
from unittest.mock import patch

from system.cli import main


class Done(NamedTuple):
    status: int
    stdout: str
    stderr: str


Run = Callable[..., Done]  # the fixture `run`: words of a command line


def kitwright(*words: object, stdin: str = "") -> subprocess.CompletedProcess[str]:
    """A command line, as if it were in a process of its own."""
    with _standing_in(words, stdin) as (output, errors):
        try:
            main()
        except SystemExit as left:
            status = left.code
        said = [_all_of(stream) for stream in (output, errors)]
    assert isinstance(status, int)
    return subprocess.CompletedProcess(list(map(str, words)), status, *said)


def _all_of(stream: io.TextIOWrapper) -> str:
    stream.seek(0)
    return stream.read()


@contextlib.contextmanager
def _standing_in(words: tuple[object, ...], stdin: str) -> Iterator[tuple[io.TextIOWrapper, io.TextIOWrapper]]:
    """The words and the streams of such a process."""
    output, errors = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    with (
        patch.object(sys, "argv", ["kitwright", *map(str, words)]),
        patch.object(sys, "stdin", io.StringIO(stdin)),
        patch.object(sys, "stdout", output),
        patch.object(sys, "stderr", errors),
    ):
        yield output, errors


def document(done: Done, status: int = 0) -> Any:
    """The JSON of a run that ended with this status, no number of which is none."""
    assert done.status == status, done.stderr
    assert "NaN" not in done.stdout
    assert "Infinity" not in done.stdout
    return json.loads(done.stdout)
