"""The program: every command registered, and what its first word means."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import typer

from system.commandline import FIRST_SCREEN, GROUPS, app, refuse
from system.commands import (
    compare,
    first_screen,
    limits,
    parts,
    predict,
    protect,
    receive,
    reference,
    revalue,
    spread,
    stress,
    swap,
)

__all__ = ["GROUPS", "main"]

# registers the commands
MODULES = (receive, predict, limits, stress, compare, protect, parts, swap, revalue, spread, reference, first_screen)


def _is_kit(word: str) -> bool:
    """Whether a word of the command line can only be a kit file: by its ending, or because there is such a file."""
    return word.lower().endswith((".yaml", ".yml")) or Path(word).exists()


def main() -> None:
    """The `kitwright` command. A first word that is no command but looks like a file is a kit: its first screen."""
    for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(threads, "1")  # many small matrices: a second thread would only wait for the first
    arguments = sys.argv[1:]
    commands = {name for names in GROUPS.values() for name in names}
    kits = [word for word in arguments if not word.startswith("-") and (_is_kit(word) or os.sep in word)]
    if kits and arguments[0] not in commands:
        arguments = [FIRST_SCREEN, *arguments]
    try:
        status = app(args=arguments, prog_name="kitwright", standalone_mode=False)
    except BrokenPipeError:
        # whoever read our output has gone: not a fault, but nothing more can be said
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 141
    except Exception as error:
        if not hasattr(error, "format_message"):  # what the command-line library raises for bad usage
            raise
        status = _bad_usage(error.format_message().rstrip("."), "--json" in arguments)
    raise SystemExit(status or 0)


def _bad_usage(found: str, as_json: bool) -> int:
    from system.findings import usage_error

    try:
        refuse(usage_error(found, "kitwright --help, or kitwright COMMAND --help, lists what there is"), as_json)
    except typer.Exit as stop:
        return stop.exit_code
