"""Settings of all tests: random cases are the same on every run, and none is judged by the clock."""

from __future__ import annotations

import pytest
from hypothesis import settings

from tests.support_cli import Done, Run, kitwright

settings.register_profile("kitwright", derandomize=True, deadline=None)
settings.load_profile("kitwright")


@pytest.fixture
def run() -> Run:
    """The program in this process."""

    def call(*words: object) -> Done:
        done = kitwright(*words)
        return Done(done.returncode, done.stdout, done.stderr)

    return call
