"""The program: the commands registered, and what the first word means."""

from __future__ import annotations

import atexit
import gc
import os
import sys
import warnings
from collections.abc import Iterable
from importlib import import_module

import typer

from system.commandline import FIRST_SCREEN, GROUPS, app, refuse
from system.completion import is_kit
from system.later import Later

__all__ = ["GROUPS", "main"]

COMMANDS = (*(name for names in GROUPS.values() for name in names), FIRST_SCREEN)
# the module of `system.commands` that registers a command, where it has another name
MODULES = {
    "start": "receive",
    "proofread": "receive",
    "schema": "reference",
    "explain": "reference",
    FIRST_SCREEN: "first_screen",
}


def _register(commands: Iterable[str]) -> None:
    for name in commands:
        import_module(f"system.commands.{MODULES.get(name, name)}")


def main() -> None:
    """The `kitwright` command. A first word that is no command but looks like a file is a kit: its first screen."""
    for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
        os.environ[threads] = "1"  # several add sums up in another order: other bytes, and small matrices gain nothing
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "1")  # looking for some among all packages takes its time,
    Later("importlib.metadata", "entry_points").install()  # and so does loading what pydantic would look with
    gc.set_threshold(100_000)  # what is imported stays: going through all of it again and again finds nothing,
    atexit.register(gc.freeze)  # and at the end it all goes with the process
    warnings.filterwarnings("ignore", "Glyph")  # what the font of a picture does not have is drawn as a box
    arguments = sys.argv[1:]
    kits = [word for word in arguments if not word.startswith("-") and (is_kit(word) or os.sep in word)]
    if kits and arguments[0] not in COMMANDS:
        arguments = [FIRST_SCREEN, *arguments]
    asked = arguments[:1] if arguments and arguments[0] in COMMANDS else COMMANDS
    try:
        _register(asked)  # only what is run, since making a command takes its time
        status = app(args=arguments, prog_name="kitwright", standalone_mode=False)
    except KeyboardInterrupt:  # while a command was being loaded
        status = 130
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
