"""Settings of all tests: random cases are the same on every run, and none is judged by the clock."""

from __future__ import annotations

import sys

import pytest
from hypothesis import settings

from system.cli import main
from tests.support_cli import Done, Run

settings.register_profile("kitwright", derandomize=True, deadline=None)
settings.load_profile("kitwright")


@pytest.fixture
def run(capfdbinary: pytest.CaptureFixture[bytes], monkeypatch: pytest.MonkeyPatch) -> Run:
    """The program in this process."""

    def call(*words: object) -> Done:
        monkeypatch.setattr(sys, "argv", ["kitwright", *map(str, words)])
        with pytest.raises(SystemExit) as left:
            main()
        captured = capfdbinary.readouterr()
        assert isinstance(left.value.code, int)
        return Done(left.value.code, captured.out.decode(), captured.err.decode())

    return call
