"""The program in the tests' own process, which has loaded its libraries once."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any, NamedTuple


class Done(NamedTuple):
    status: int
    stdout: str
    stderr: str


Run = Callable[..., Done]  # the fixture `run`: words of a command line


def document(done: Done, status: int = 0) -> Any:
    """The JSON of a run that ended with this status, no number of which is none."""
    assert done.status == status, done.stderr
    assert "NaN" not in done.stdout
    assert "Infinity" not in done.stdout
    return json.loads(done.stdout)
