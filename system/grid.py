"""The frequencies to predict at: the default grid, a range, or a list read from a file."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from system.document import DocumentError, read_text
from system.findings import Finding, KitError, usage_error

Floats = NDArray[np.float64]

LOWEST, HIGHEST = 1.0, 100e3  # Hz, of anything asked for
MOST_POINTS = 20_000
THIRD_OCTAVES = 1000.0 * 10 ** (np.arange(-17, 14) / 10)  # Hz, exact base-ten centres of ISO 266, 20 Hz to 20 kHz


def logarithmic(start: float = 20.0, stop: float = 20e3, points: int = 400) -> Floats:
    """`points` frequencies (Hz) from `start` to `stop`, evenly in logarithm. Raises KitError outside the allowed."""
    if not LOWEST <= start < stop <= HIGHEST:
        raise usage_error(f"--from {start:g} --to {stop:g}", "1 Hz to 100 kHz, the first below the second")
    if not 2 <= points <= MOST_POINTS:
        raise usage_error(f"--points {points}", f"2 to {MOST_POINTS}")
    return np.geomspace(start, stop, points)


def listed(source: str) -> Floats:
    """Frequencies from a file, one value in Hz a line, `-` for standard input; # starts a comment.

    Raises KitError naming every line that is not a frequency, or is not above the one before.
    """
    try:
        text = sys.stdin.read() if source == "-" else read_text(Path(source), str(Path(source)))
    except UnicodeDecodeError as error:
        raise usage_error(f"--frequencies {source}: {error}", "a text of frequencies in Hz") from error
    except DocumentError as error:
        raise KitError([error.finding("--frequencies takes a text file of frequencies in Hz")]) from error
    values: list[float] = []
    faults = []
    for number, line in enumerate(text.splitlines(), 1):
        words = line.split("#", 1)[0].split()
        if not words:
            continue
        column = line.index(words[0]) + 1
        value = _number(words[0]) if len(words) == 1 else math.nan
        if not LOWEST <= value <= HIGHEST:
            found, allowed = repr(line.strip()), "one frequency in Hz, 1 to 100000"
        elif values and value <= values[-1]:
            found, allowed = f"{value:g} Hz after {values[-1]:g} Hz", "rising frequencies, each once"
        else:
            values.append(value)
            continue
        faults.append(Finding("error", "frequency_list", source, number, column, "", found, allowed))
    if not faults and not 1 <= len(values) <= MOST_POINTS:
        raise usage_error(f"{len(values)} frequencies in {source}", f"1 to {MOST_POINTS}")
    if faults:
        raise KitError(faults)
    return np.array(values)


def _number(word: str) -> float:
    try:
        return float(word)
    except ValueError:
        return math.nan
