"""Runs a netlist through ngspice in batch mode and reads its binary result."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

NGSPICE = shutil.which("ngspice")
needs_ngspice = pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed (Debian package ngspice)")


def run(netlist: str, folder: Path) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Frequencies (F,) in Hz and every saved quantity (F,), named as ngspice does: v(point), i(source)."""
    assert NGSPICE is not None
    source, result = folder / "circuit.cir", folder / "circuit.raw"
    source.write_text(netlist, encoding="utf-8")
    done = subprocess.run(
        [NGSPICE, "-b", "-r", str(result), str(source)],
        capture_output=True,
        text=True,
        cwd=folder,
        timeout=120,
        check=False,
    )
    report = done.stdout + done.stderr
    assert done.returncode == 0, report
    for line in report.splitlines():
        assert "error" not in line.lower(), report
        assert "warning" not in line.lower(), report
    return read(result.read_bytes())


def read(raw: bytes) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """The first plot of a binary raw file of complex numbers."""
    head, body = raw.split(b"Binary:\n", 1)
    lines = head.decode().splitlines()
    count = int(next(line.split(":")[1] for line in lines if line.startswith("No. Points")))
    names = [line.split()[1] for line in lines[lines.index("Variables:") + 1 :]]
    data = np.frombuffer(body[: 16 * count * len(names)], dtype=np.complex128).reshape(count, len(names))
    columns = dict(zip(names, data.T, strict=True))
    return columns.pop("frequency").real, columns
