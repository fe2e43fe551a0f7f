"""Processor time, of work in this process and of whole processes, the most memory of those, and how times grow.

Processor time is that of user and system, so that what else the machine does counts little. What is compared is run in
turn, so that it falls on all alike, and of several runs the quickest counts.
"""

from __future__ import annotations

import gc
import math
import os
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

HOME = Path(__file__).parent.parent
ROOMS = ("enclosures", "filters", "system")
# Modules are compiled once and kept, as those of an installation are: pip compiles what it installs.
COMPILED = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}

# Starts a command and waits for it. A process starts with the most memory of the one that it was forked from, so that
# a small process has to stand between it and this one.
LAUNCHER = """
import os, sys
out = [(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)]
child = os.posix_spawnp(sys.argv[1], sys.argv[1:], os.environ, file_actions=out)
_, status, used = os.wait4(child, 0)
print(os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime, used.ru_maxrss)
"""


@dataclass(frozen=True, slots=True)
class Process:
    """What a whole process took: processor time (s) and the most memory it held at a time (MiB)."""

    seconds: float
    mebibytes: float


def process(command: Sequence[str], folder: Path = HOME, ends: Sequence[int] = (0,)) -> Process:
    """Run a command in `folder`. Raises RuntimeError, with what it said, for a status that is not among `ends`."""
    launcher = [sys.executable, "-I", "-S", "-c", LAUNCHER, *command]
    done = subprocess.run(launcher, capture_output=True, text=True, cwd=folder, check=True, env=COMPILED)
    status, seconds, kibibytes = done.stdout.split()
    if int(status) not in ends or "Traceback" in done.stderr:
        raise RuntimeError(f"{' '.join(command)} ended with status {status}: {done.stderr}")
    unit = 2**20 if sys.platform == "darwin" else 2**10
    return Process(float(seconds), float(kibibytes) / unit)


def processes(commands: Mapping[str, Sequence[str]], repeats: int, ends: Sequence[int] = (0,)) -> dict[str, Process]:
    """The shortest time and the least memory of each of several commands, run in turn. Raises as `process` does."""
    runs: dict[str, list[Process]] = {name: [] for name in commands}
    for _ in range(repeats):
        for name, command in commands.items():
            runs[name].append(process(command, ends=ends))
    return {
        name: Process(min(run.seconds for run in each), min(run.mebibytes for run in each))
        for name, each in runs.items()
    }


def kitwright(*words: str) -> list[str]:
    """The command line of the program, as its entry point starts it."""
    return [sys.executable, "-c", "import sys; from system.cli import main; sys.exit(main())", *words]


def nothing() -> None:
    """What is done before a run where nothing needs to be."""


def quickest(
    works: Mapping[str, Callable[[], object]], repeats: int, before: Callable[[], object] = nothing
) -> dict[str, float]:
    """Seconds of each of several works in this process, run in turn after a run of each that does not count.

    `before` every run is done outside of its time.
    """
    for work in works.values():
        before()
        work()
    times: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(repeats):
        for name, work in works.items():
            before()
            times[name].append(seconds(work))
    return {name: min(each) for name, each in times.items()}


def seconds(work: Callable[[], object]) -> float:
    """Of one run, without what the collector of unused objects would do in the middle of it."""
    gc.collect()
    gc.disable()
    try:
        start = time.process_time()
        work()
        return time.process_time() - start
    finally:
        gc.enable()


def forget() -> None:
    """Nothing that our modules keep from one call to the next is left: the next one is a first one."""
    for name, module in list(sys.modules.items()):
        if name.partition(".")[0] in ROOMS:
            for each in vars(module).values():
                if callable(clear := getattr(each, "cache_clear", None)):
                    clear()


def slope(sizes: Sequence[float], values: Sequence[float]) -> float:
    """The power p of value ~ size^p that fits best: least squares of the logarithms.

    Raises ValueError for fewer than two different sizes.
    """
    x, y = ([math.log(each) for each in every] for every in (sizes, values))
    middle, height = sum(x) / len(x), sum(y) / len(y)
    spread = sum((each - middle) ** 2 for each in x)
    if not spread:
        raise ValueError("a slope needs two different sizes")
    return sum((a - middle) * (b - height) for a, b in zip(x, y, strict=True)) / spread
