"""The same input gives the same bytes: on another run, and whatever the process is started with.

What may differ between two processes: the order in which words are hashed (PYTHONHASHSEED, Python's documentation), the
threads among which a linear algebra library shares its sums, locale and time zone (POSIX 1003.1, chapter 8), the folder
it is in, how the kit is named, and what was computed before in the same process.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.support_stable import CHEAP, DEAR, DEAREST, FULL, HOME, KIT, Made, made_in_a_process

# nothing is UTF-8 here but what the program makes so
PLAIN = {"LC_ALL": "C", "LANG": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "TZ": "UTC0"}
OTHER = {"LC_ALL": "C.UTF-8", "LANG": "de_DE.UTF-8", "LANGUAGE": "de", "PYTHONUTF8": "1", "TZ": "Pacific/Kiritimati"}


def threads(count: int) -> dict[str, str]:
    return {"OPENBLAS_NUM_THREADS": str(count), "OMP_NUM_THREADS": str(count)}


FIRST = {"PYTHONHASHSEED": "1", **PLAIN, **threads(1)}
SECOND = {"PYTHONHASHSEED": "77", **OTHER, **threads(4)}


def differing(one: Made, other: Made) -> list[str]:
    """Streams and files that are not the same, or not there, by the run that made them."""
    runs = one.keys() | other.keys()
    both = {run: (one.get(run, {}), other.get(run, {})) for run in sorted(runs)}
    return [f"{run}: {name}" for run, (a, b) in both.items() for name in sorted(a | b) if a.get(name) != b.get(name)]


def test_cheap_commands_give_the_same_bytes(tmp_path: Path) -> None:
    """Everything differs at once, and the second time they are run in the opposite order."""
    one = made_in_a_process(CHEAP, KIT, HOME, **FIRST)
    assert differing(one, made_in_a_process(reversed(CHEAP), HOME / KIT, tmp_path, **SECOND)) == []
    assert list(one) == list(CHEAP)
    assert len({made["standard output"] for made in one.values()}) == len(CHEAP)  # each says something of its own


@pytest.mark.slow
@pytest.mark.parametrize("names", [DEAR, DEAREST])
def test_every_command_gives_the_same_bytes(names: dict[str, str], tmp_path: Path) -> None:
    """Streams, CSV, pictures, pages. The path is the same in both, since in a text its length moves the line breaks."""
    (tmp_path / KIT.parts[0]).symlink_to(HOME / KIT.parts[0])
    one = made_in_a_process(names, KIT, HOME, **FIRST)
    assert differing(one, made_in_a_process(reversed(names), KIT, tmp_path, **SECOND)) == []


@pytest.mark.slow
def test_a_kit_with_every_key_gives_the_same_bytes(tmp_path: Path) -> None:
    names = ["proofread", "predict", "limits", "expect"]
    one = made_in_a_process(names, FULL, HOME, **FIRST)
    assert differing(one, made_in_a_process(names, HOME / FULL, tmp_path, **SECOND)) == []


@pytest.mark.slow
def test_a_kit_of_another_path_is_the_same_kit(tmp_path: Path) -> None:
    """Named from a folder beside it; only its echo differs."""
    beside = Path(os.path.relpath(HOME / KIT, tmp_path))
    one = made_in_a_process(["proofread", "predict"], beside, tmp_path, **FIRST)
    assert differing(one, made_in_a_process(["proofread", "predict"], KIT, HOME, **FIRST)) == []


def test_a_difference_is_found() -> None:
    one = {"predict": {"standard output": "a", "csv/wall.csv": "b"}, "limits": {"standard output": "c"}}
    other = {"predict": {"standard output": "a", "csv/wall.csv": "x"}}
    assert differing(one, other) == ["limits: standard output", "predict: csv/wall.csv"]
    assert differing(one, one) == []
