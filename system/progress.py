"""A line on the terminal that says what long work is at, rewritten in its place and gone when the work is done.

It is there for a person who waits: nothing is written where standard error is no terminal, and nothing in the first
second. It is plain text without colour; a carriage return is all that it needs of a terminal.
"""

from __future__ import annotations

import os
import shutil
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Protocol, TypeVar

FIRST = 1.0  # s until the line appears
AGAIN = 1.0  # s between its rewritings


class _Named(Protocol):
    @property
    def name(self) -> str: ...


Item = TypeVar("Item", bound=_Named)


@contextmanager
def progress(what: str, items: Sequence[Item] = ()) -> Iterator[Iterator[Item]]:
    """Gives `items` one after the other, and meanwhile shows which it is at: `spread: wall, 2 of 3, 14 s`.

    Without items the line tells how long the work has taken.
    """
    line = _Line(what)
    if not _is_watched():
        yield iter(items)
        return
    thread = threading.Thread(target=line.keep, daemon=True)
    thread.start()
    try:
        yield line.through(items)
    finally:
        line.done.set()
        thread.join()


def _is_watched() -> bool:
    return sys.stderr.isatty() and os.environ.get("TERM") != "dumb"


class _Line:
    """The line, kept by a thread of its own, since the work has no time for it."""

    def __init__(self, what: str) -> None:
        self.what = what
        self.at = ""
        self.done = threading.Event()

    def through(self, items: Sequence[Item]) -> Iterator[Item]:
        for number, item in enumerate(items, 1):
            self.at = f"{item.name}, {number} of {len(items)}, " if len(items) > 1 else f"{item.name}, "
            yield item
        self.at = ""

    def keep(self) -> None:
        begun, shown, wait = time.monotonic(), "", FIRST
        while not self.done.wait(wait):
            text = f"{self.what}: {self.at}{time.monotonic() - begun:.0f} s"
            text = text[: shutil.get_terminal_size().columns - 1]
            _write(f"\r{text.ljust(len(shown))}")
            shown, wait = text, AGAIN
        if shown:
            _write(f"\r{' ' * len(shown)}\r")


def _write(text: str) -> None:
    encoding = sys.stderr.encoding or "ascii"
    sys.stderr.write(text.encode(encoding, "replace").decode(encoding))
    sys.stderr.flush()
