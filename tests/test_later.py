"""A module of the standard library put off, each time in a Python of its own."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

HOME = Path(__file__).parent.parent
PUT_OFF = """
import sys
from system.later import Later
assert "importlib.metadata" not in sys.modules
Later("importlib.metadata", "entry_points").install()
def loaded():
    return "zipfile" in sys.modules  # which the real one imports
"""


def printed(code: str) -> str:
    done = subprocess.run(
        [sys.executable, "-S", "-c", PUT_OFF + code], capture_output=True, text=True, cwd=HOME, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


@pytest.mark.parametrize(
    "use",
    [
        "from importlib.metadata import entry_points; assert not loaded(); entry_points(group='none')",
        "from importlib.metadata import PackageNotFoundError; assert issubclass(PackageNotFoundError, ImportError)",
        "from importlib import metadata; assert not loaded(); assert callable(metadata.version)",
        "import importlib.metadata; assert not loaded(); assert list(importlib.metadata.distributions(path=[])) == []",
        "import importlib.metadata as m; assert not loaded(); m.entry_points(); assert m.version",
    ],
)
def test_it_is_loaded_when_it_is_used(use: str) -> None:
    rest = "\nimport importlib.metadata as real; print(loaded(), type(real).__name__, real.__file__ is not None)"
    assert printed(use + rest) == "True module True"


def test_the_same_comes_out() -> None:
    code = (
        "import importlib.metadata as put_off\nhere = [each.name for each in put_off.distributions(path=sys.path)]\n"
        "import importlib.metadata as real\nassert real is not put_off and put_off.version is real.version\n"
        "print(here == [each.name for each in real.distributions(path=sys.path)])"
    )
    assert printed(code) == "True"


def test_what_is_not_there_is_missed_as_ever() -> None:
    code = (
        "import importlib.metadata\ntry:\n    importlib.metadata.nothing\n"
        "except AttributeError as error:\n    print(error)"
    )
    assert printed(code) == "module 'importlib.metadata' has no attribute 'nothing'"


def test_a_module_that_is_loaded_stays() -> None:
    code = (
        "del sys.modules['importlib.metadata']\nimport importlib.metadata as real\n"
        "Later('importlib.metadata').install()\nimport importlib.metadata\nprint(importlib.metadata is real)"
    )
    assert printed(code) == "True"
