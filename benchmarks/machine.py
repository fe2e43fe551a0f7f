"""What the figures were taken on."""

from __future__ import annotations

import os
import platform
import re
from pathlib import Path

import numpy as np
import scipy


def machine() -> dict[str, str]:
    """Its parts by name; what this system does not tell is said to be unknown."""
    blas = np.show_config(mode="dicts")["Build Dependencies"]["blas"]
    return {
        "processor": _line("/proc/cpuinfo", r"^model name\s*: (.*)$") or platform.processor() or "unknown",
        "cores": f"{os.cpu_count()}, of which one is used",
        "memory": _memory(),
        "system": f"{platform.system()} {platform.machine()}",
        "Python": platform.python_version(),
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "BLAS": f"{blas['name']} {blas['version']}",
    }


def _line(path: str, pattern: str) -> str:
    file = Path(path)
    found = re.search(pattern, file.read_text(encoding="utf-8"), re.MULTILINE) if file.exists() else None
    return found[1].strip() if found else ""


def _memory() -> str:
    kibibytes = _line("/proc/meminfo", r"^MemTotal:\s*(\d+) kB$")
    return f"{int(kibibytes) / 2**20:.0f} GiB" if kibibytes else "unknown"
