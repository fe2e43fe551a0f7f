"""What the program puts out, as bytes: one run of every command, and a process that makes several of them.

`python -m tests.support_stable KIT NAME...` makes the runs of these names in one process, from whatever folder and in
whatever environment it was started, and writes as JSON what came of each: stream or file, and its checksum.
"""

from __future__ import annotations

import hashlib
import json
import os
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path

from tests.support_cli import kitwright

HOME = Path(__file__).parent.parent
KIT = Path("scenarios/marshlight/kit.yaml")  # from the top of the repository
FULL = Path("tests/kits/full.yaml")
Made = dict[str, dict[str, str]]  # by the run's name, by stream or file: its checksum

# by a name: the command line. KIT, EXAMPLES and OUT stand for the kit, docs/examples and a folder for files.
CHEAP = {
    "start": "start",
    "start smallest": "start --smallest",
    "schema": "schema",
    "explain": "explain units",
    "proofread": "proofread KIT --json",
    "symptom": "symptom --json",
    "predict": "predict KIT --variant VARIANT --points 40 --json",
    "limits": "limits KIT --variant VARIANT --points 40 --json",
    "stress": "stress KIT --variant VARIANT --json",
    "parts": "parts KIT --variant VARIANT --json",
    "expect": "expect KIT --variant VARIANT --points 40 --json",
    "swap": "swap KIT PART --with SUBSTITUTE --variant VARIANT --json",
}
DEAR = {
    "first screen": "KIT",
    "predict all": "predict KIT --json --csv OUT/csv",
    "predict text": "predict KIT",
    "predict around": "predict KIT --variant VARIANT --around --json --csv OUT/csv -o OUT/around.svg",
    "predict netlist": "predict KIT --variant VARIANT --netlist OUT/board.cir",
    "predict pdf": "predict KIT --variant VARIANT --points 60 -o OUT/predict.pdf",
    "predict png": "predict KIT --variant VARIANT --points 60 -o OUT/predict.png",
    "compare": "compare KIT --json --csv OUT/csv -o OUT/compare.svg",
    "compare two": "compare KIT KIT --json",
    "limits all": "limits KIT --json --csv OUT/csv -o OUT/limits.svg",
    "protect": "protect KIT --json --csv OUT/csv -o OUT/protect.svg",
    "parts all": "parts KIT --json --csv OUT/csv",
    "parts layout": "parts KIT --layout --json -o OUT/layout.svg",
    "parts wind": "parts KIT --wind COIL --json",
    "stress all": "stress KIT --json --csv OUT/csv -o OUT/stress.svg",
    "swap table": "swap KIT PART --table --json --csv OUT/csv",
    "spread": "spread KIT --variant VARIANT --builds 2000 --json --csv OUT/csv -o OUT/spread.svg",
    "buildsheet": "buildsheet KIT --json -o OUT/sheet.pdf",
    "buildsheet page": "buildsheet KIT -o OUT/sheet.html",
    "buildsheet cabinet": "buildsheet KIT --cabinet --json -o OUT/cabinet.pdf",
    "report": "report KIT -o OUT/report.html",
    "report text": "report KIT -o OUT/report.txt",
    "expect all": "expect KIT --json --csv OUT/csv -o OUT/expect.svg",
    "symptom of a kit": "symptom thin KIT --variant VARIANT --json",
}
# the example's own: measured files are of its variant `wall`, and the search takes minutes
DEAREST = {
    "verify": "verify KIT --variant wall --sweep EXAMPLES/wall-left.txt --json --csv OUT/csv -o OUT/verify.svg",
    "verify heard": "verify KIT --variant wall --sweep EXAMPLES/wall-right.txt --microphone"
    " EXAMPLES/wall-right-heard.txt --against EXAMPLES/wall-left.txt --json",
    "characterise": 'characterise EXAMPLES/woofer-free.txt --dc "5.86 ohm" --diameter "106 mm" --added-mass "10 g"'
    " EXAMPLES/woofer-with-10-g.txt --json --csv OUT/csv -o OUT/characterise.svg",
    "revalue": "revalue KIT --json --csv OUT/csv",
}


def words(line: str, kit: Path, out: Path) -> list[str]:
    """The words of a run's command line, with what stands in it for names and folders."""
    named = {"VARIANT": "wall", "PART": "R1", "SUBSTITUTE": "1.5 ohm", "COIL": "L1"}
    if kit.name == FULL.name:
        named = {"VARIANT": "centre", "PART": "R1", "SUBSTITUTE": "1.8 ohm", "COIL": "L2"}
    put = {**named, "KIT": str(kit), "EXAMPLES": str(HOME / "docs" / "examples"), "OUT": str(out)}
    return [_put_in(word, put) for word in shlex.split(line)]


def _put_in(word: str, put: dict[str, str]) -> str:
    first, *rest = word.split("/")
    return "/".join([put.get(first, first), *rest])


def made_by(line: str, kit: Path) -> dict[str, str]:
    """Checksums of the standard output, the messages and every file that a run leaves, by name.

    Where the folder of the kit (and of its tables), or that for files, is echoed, its name is taken out.
    """
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder)
        done = kitwright(*words(line, kit, out))
        assert done.returncode in (0, 1), (line, done.stderr)
        files = {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.is_file()}
    streams = {"standard output": done.stdout.encode(), "standard error": done.stderr.encode()}
    return {
        name: hashlib.sha256(data.replace(f"{kit.parent}/".encode(), b"").replace(folder.encode(), b"OUT")).hexdigest()
        for name, data in {**streams, **files}.items()
    }


def made_in_a_process(names: Iterable[str], kit: Path = KIT, folder: Path = HOME, **environment: str) -> Made:
    """What runs leave that are made one after the other in a process started in `folder`, by the run's name."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.support_stable", str(kit), *names],
        capture_output=True,
        encoding="utf-8",
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(HOME), **environment},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    made: Made = json.loads(done.stdout)
    return made


def main(kit: str, names: Sequence[str]) -> None:
    lines = {**CHEAP, **DEAR, **DEAREST}
    json.dump({name: made_by(lines[name], Path(kit)) for name in names}, sys.stdout)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
