"""What the shell is offered at a tab, asked as the scripts for bash and zsh ask: through their environment variables.

The scripts are typer's; what they set is in its `_completion_shared` (typer 0.15 and later).
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support_kits import write_kit
from tests.test_cli import HOME, MARSHLIGHT, RUN


def offered(line: str, shell: str = "bash") -> list[str]:
    """What a shell is offered where the cursor stands at the end of `line`; nothing is ever said beside it."""
    words = line.split(" ")
    asked = {
        "bash": {"COMP_WORDS": line, "COMP_CWORD": str(len(words) - 1), "_KITWRIGHT_COMPLETE": "complete_bash"},
        "zsh": {"_TYPER_COMPLETE_ARGS": line, "_KITWRIGHT_COMPLETE": "complete_zsh"},
    }[shell]
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", RUN],
        capture_output=True,
        encoding="utf-8",
        cwd=HOME,
        env={**os.environ, **asked},
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout.split("\n")[:-1] if done.stdout.endswith("\n") else done.stdout.split("\n")


def test_variants_of_the_kit_on_the_line() -> None:
    assert offered(f"kitwright predict {MARSHLIGHT} --variant ") == ["centre", "wall", "tall"]
    assert offered(f"kitwright protect {MARSHLIGHT} --variant w") == ["wall"]
    assert offered(f"kitwright {MARSHLIGHT} --variant t") == ["tall"]  # the first screen
    assert offered(f"kitwright symptom thin {MARSHLIGHT} --variant c") == ["centre"]


def test_zsh_is_offered_the_same() -> None:
    (line,) = offered(f"kitwright predict {MARSHLIGHT} --variant ", "zsh")[:1]
    text = "\n".join(offered(f"kitwright predict {MARSHLIGHT} --variant ", "zsh"))
    assert line.startswith("_arguments")
    assert all(f'"{name}"' in text for name in ("centre", "wall", "tall"))


def test_parts_of_the_kit_on_the_line() -> None:
    assert offered(f"kitwright swap {MARSHLIGHT} C") == ["C1", "C2", "C3"]
    assert "woofer_a" in offered(f"kitwright swap {MARSHLIGHT} w")
    assert offered(f"kitwright revalue {MARSHLIGHT} --move L") == ["L1", "L2"]
    assert offered(f"kitwright parts {MARSHLIGHT} --wind L") == ["L1", "L2"]


def test_paths_of_what_ifs() -> None:
    assert offered(f"kitwright predict {MARSHLIGHT} --set var") == ["variants"]
    assert "variants.tall" in offered(f"kitwright predict {MARSHLIGHT} --set variants.")
    assert "cabinets.compact.chambers.0.volume" in offered(
        f"kitwright predict {MARSHLIGHT} --set cabinets.compact.chambers.0."
    )


def test_commands_and_codes() -> None:
    assert offered("kitwright proof") == ["proofread"]
    assert offered("kitwright explain quantity_no_") == ["quantity_no_unit"]


@pytest.mark.parametrize("text", [None, "", "variants: [a", "variants: {a: !!x b}", "variants: 3", "\x00"])
def test_a_kit_that_cannot_be_read_offers_nothing(text: str | None, tmp_path: Path) -> None:
    kit = tmp_path / "kit.yaml"
    if text is not None:
        kit.write_text(text, encoding="utf-8")
    assert offered(f"kitwright predict {kit} --variant ") in ([], [""])


def test_a_kit_with_a_fault_offers_its_names(tmp_path: Path) -> None:
    kit = write_kit(tmp_path, variants="{one: {cabinet: no_such}, two: {cabinet: box}}")
    assert offered(f"kitwright predict {kit} --variant ") == ["one", "two"]
