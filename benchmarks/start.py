"""How long the program takes to start, as whole processes: python -m benchmarks.start"""

from __future__ import annotations

import resource
import subprocess
import sys

from system.examples import scenarios

REPEATS = 15
RUN = "import sys; from system.cli import main; sys.argv[0] = 'kitwright'; main()"
KIT = str(scenarios() / "marshlight" / "kit.yaml")
PROCESSES = {
    "import typer": ["import typer"],
    "kitwright --help": [RUN, "--help"],
    "import typer, yaml, pydantic": ["import typer, yaml, pydantic"],
    "kitwright proofread": [RUN, "proofread", KIT],
}
BESIDE = {"kitwright --help": "import typer", "kitwright proofread": "import typer, yaml, pydantic"}


def main() -> None:
    """Print the table."""
    # in turn, so that what else the machine does falls on all of them
    times = {name: [] for name in PROCESSES}
    for _ in range(REPEATS):
        for name, words in PROCESSES.items():
            times[name].append(_seconds([sys.executable, "-c", *words]))
    shortest = {name: min(each) for name, each in times.items()}
    print("processor time of a whole process, ms, and over that of its imports alone")
    print()
    for name, seconds in shortest.items():
        ratio = f"{seconds / shortest[BESIDE[name]]:6.2f}" if name in BESIDE else ""
        print(f"{name:30}{seconds * 1e3:6.0f}{ratio}".rstrip())


def _seconds(command: list[str]) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


if __name__ == "__main__":
    main()
