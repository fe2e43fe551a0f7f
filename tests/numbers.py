"""Every number that the program gives for two kits, and whether another installation gives the same.

    python -m tests.numbers -o FILE           writes them, with the versions of what computed them
    python -m tests.numbers --beside FILE     computes them again and compares; exit status 1 if any differs

Two numbers are the same if they differ by no more than 1e-9 of the larger one, or of the largest one of their curve
(the list they stand in). What is a logarithm or an angle of a phasor counts as the phasor does: 1e-9 of it are
8.7e-9 dB and 5.8e-8 degrees (20/ln 10 and 180/pi times 1e-9), and an angle is the same a whole turn on. A number by
itself that is zero, or less than 1e-12 in the unit of its name, is the same as any other such. Everything else, whole
numbers, words and what is null, has to be equal.
"""

from __future__ import annotations

import argparse
import json
import math
import platform
import sys
from collections.abc import Iterator, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

from tests.support_cli import kitwright
from tests.support_stable import FULL, HOME, KIT, words

LIBRARIES = ("numpy", "scipy", "matplotlib", "pyyaml", "typer", "pydantic", "jinja2")
RUNS = (
    "proofread KIT",
    "predict KIT --points 100",
    "limits KIT --points 50",
    "protect KIT --variant VARIANT",
    "parts KIT --variant VARIANT",
    "parts KIT --layout",
    "parts KIT --wind COIL",
    "expect KIT --points 50",
)
MORE = (  # of the example only
    "predict KIT --variant VARIANT --around --points 20",
    "compare KIT --points 50",
    "stress KIT",
    "swap KIT PART --table --variant VARIANT",
    "spread KIT --variant VARIANT --builds 1000",
    "buildsheet KIT --variant VARIANT",
    "buildsheet KIT --variant VARIANT --cabinet",
    "symptom thin KIT --variant VARIANT",
    "verify KIT --variant VARIANT --sweep EXAMPLES/wall-left.txt",
    'characterise EXAMPLES/woofer-free.txt --dc "5.86 ohm" --diameter "106 mm" --added-mass "10 g"'
    " EXAMPLES/woofer-with-10-g.txt",
)
RELATIVE = 1e-9
ABSOLUTE = 1e-12
OF_A_PHASOR = {"db": RELATIVE * 20 / math.log(10), "deg": RELATIVE * 180 / math.pi}


def computed() -> dict[str, Any]:
    """The JSON of every run, by its command line."""
    found = {}
    for kit, lines in ((KIT, (*RUNS, *MORE)), (FULL, RUNS)):
        for line in lines:
            done = kitwright(*words(line, HOME / kit, Path()), "--json")
            if done.returncode not in (0, 1):
                raise SystemExit(f"{kit}: {line}\n{done.stdout}{done.stderr}")
            found[line.replace("KIT", str(kit))] = json.loads(done.stdout)
    return found


class Difference(NamedTuple):
    path: str
    here: Any
    there: Any
    relative: float  # how far apart two numbers are, of what they are held against


def unit_of(path: str) -> str:
    """The last word of the last name in a path: `level_db.lowest[3]` is in dB, if no name after it has a unit."""
    names = [name.partition("[")[0].rpartition("_") for name in path.split(".")]
    return next((last for _, _, last in reversed(names) if last in OF_A_PHASOR), "")


def differences(here: Any, there: Any, path: str = "", largest: float = 0.0) -> Iterator[Difference]:
    """Whatever is not the same, in nested data. `largest` is the largest number of the list that a number stands in."""
    if isinstance(here, dict) and isinstance(there, dict):
        if list(here) != list(there):
            yield Difference(path, list(here), list(there), math.inf)
        for key in here.keys() & there.keys():
            yield from differences(here[key], there[key], f"{path}.{key}" if path else key)
    elif isinstance(here, list) and isinstance(there, list):
        if len(here) != len(there):
            yield Difference(path, f"{len(here)} items", f"{len(there)} items", math.inf)
        most = max((abs(each) for each in (*here, *there) if isinstance(each, float)), default=0.0)
        for number, (one, other) in enumerate(zip(here, there, strict=False)):
            yield from differences(one, other, f"{path}[{number}]", most)
    elif isinstance(here, float) and isinstance(there, float):
        unit = unit_of(path)
        apart = abs(here - there)
        if unit == "deg":
            apart = abs(math.remainder(here - there, 360.0))
        scale = max(abs(here), abs(there), largest)
        if apart > OF_A_PHASOR.get(unit, max(RELATIVE * scale, ABSOLUTE)):
            yield Difference(path, here, there, apart / scale)
    elif here != there or type(here) is not type(there):
        yield Difference(path, here, there, math.inf)


def count(data: Any) -> int:
    """How many numbers there are in nested data."""
    inside = data.values() if isinstance(data, dict) else data if isinstance(data, list) else ()
    return sum(map(count, inside)) + (type(data) in (int, float))


def installed() -> dict[str, str]:
    return {"python": platform.python_version(), **{name: version(name) for name in LIBRARIES}}


def tell(versions: dict[str, str]) -> str:
    return ", ".join(f"{name} {number}" for name, number in versions.items())


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.numbers", description=__doc__.partition("\n")[0])
    parser.add_argument("-o", metavar="FILE", type=Path, help="write the numbers to FILE")
    parser.add_argument("--beside", metavar="FILE", type=Path, help="compare with those of FILE")
    given = parser.parse_args(arguments)
    if given.o is None and given.beside is None:
        parser.error("give -o FILE or --beside FILE")
    runs = computed()
    if given.o is not None:
        given.o.write_text(json.dumps({"versions": installed(), "runs": runs}, indent=1), encoding="utf-8")
    if given.beside is None:
        return 0
    other = json.loads(given.beside.read_text(encoding="utf-8"))
    found = {line: list(differences(runs[line], other["runs"].get(line))) for line in runs}
    print(f"here:  {tell(installed())}\nthere: {tell(other['versions'])}")
    for line, each in found.items():
        if each:
            print(f"{line}: {len(each)} differ")
        for one in sorted(each, key=lambda one: -one.relative)[:5]:
            print(f"    {one.path}: {one.here!r} here, {one.there!r} there, {one.relative:.1e} of it")
    differing = sum(map(len, found.values()))
    print(f"{count(runs)} numbers, {differing} of them differ by more than {RELATIVE:g}")
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
