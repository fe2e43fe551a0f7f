"""python -m benchmarks [NAME...] [-o FILE]: measures, prints tables, and writes the page."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from benchmarks.machine import machine
from benchmarks.page import PAGE, page, words_of
from benchmarks.register import NAMES, benchmark
from benchmarks.rows import Row, text_table


def measured(names: Sequence[str], small: bool) -> dict[str, list[Row]]:
    """The rows of each, printed as they come."""
    found = {}
    for name in names:
        module, start = benchmark(name), time.perf_counter()
        found[name] = module.rows(module.SMALL if small else module.FULL)
        print(f"{module.TITLE} ({name})\n\n{text_table(found[name])}\n", flush=True)
        print(f"{name}: {time.perf_counter() - start:.0f} s", file=sys.stderr)
    return found


def main(arguments: Sequence[str] | None = None) -> None:
    """The command."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description="How long everything takes.")
    parser.add_argument("names", nargs="*", metavar="NAME", choices=[[], *NAMES], help=f"of {', '.join(NAMES)}")
    parser.add_argument("-o", dest="output", type=Path, metavar="FILE", help="write all of it as a page")
    parser.add_argument("--small", action="store_true", help="tiny sizes, to see that everything runs")
    asked = parser.parse_args(arguments)
    if asked.output and (asked.names or asked.small):
        parser.error("the page is of all benchmarks at their full sizes")
    print("\n".join(f"{name}: {value}" for name, value in machine().items()), end="\n\n", flush=True)
    found = measured(asked.names or NAMES, asked.small)
    if asked.output:
        day, words = datetime.now().astimezone().date(), words_of(PAGE.read_text(encoding="utf-8"))
        asked.output.write_text(page(found, machine(), day, words), encoding="utf-8")


if __name__ == "__main__":
    main()
