"""Makes the measured-looking files of this folder: python -m docs.examples.make, from the top of the repository.

Nothing here was measured. Sweeps of the kit are its own prediction for a build, with drivers a few per cent off their
data and a little noise; those of the bare driver come from its mass, spring and losses. Noise has a seed, so the same
files come out each time.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from enclosures.driver import SemiInductance
from system.kitfile import load_kit
from system.predict import predict
from system.summary import level

FOLDER = Path(__file__).parent
KIT = FOLDER.parent.parent / "scenarios" / "marshlight" / "kit.yaml"
FREQUENCY = np.geomspace(10, 20e3, 200)

# Drivers are never as their data sheet says: fs 4 % up by a stiffer suspension, losses a little more, re 1 % down.
DRIVERS = (
    "drivers.woofer.fs=54.1 Hz",
    "drivers.woofer.vas=10.35 L",
    "drivers.woofer.qms=3.6",
    "drivers.woofer.re=5.84 ohm",
)
# A dry joint: of C1's two capacitors only the 100 uF makes contact.
DRY_JOINT = "crossover.parts.C1={capacitor: 100 uF, between: [in, w1], type: non_polar, series_resistance: 0.13 ohm}"
# A woofer by itself: moving mass (kg), compliance (m/N), loss (kg/s), force factor (T.m), dc resistance (ohm), coil.
MASS, COMPLIANCE, LOSS, FORCE, DC = 9.3e-3, 1.03e-3, 0.80, 6.15, 5.86
COIL = SemiInductance(0.12e-3, 0.45e-3, 0.03)
ADDED = 10e-3  # kg

Complexes = NDArray[np.complex128]


def built(*settings: str) -> Complexes:
    """The impedance at the input of the wall variant, (F,) ohm, with these changes of the kit file."""
    kit = load_kit(KIT, (*DRIVERS, *settings))
    return np.asarray(predict(kit, kit.variants["wall"], FREQUENCY).impedance - kit.amplifier.cable)


def bare(added: float = 0.0) -> Complexes:
    """The impedance of the woofer by itself in free air, (F,) ohm, with this mass in kg on its cone."""
    omega = 2 * np.pi * FREQUENCY
    mechanical = LOSS + 1j * omega * (MASS + added) + 1 / (1j * omega * COMPLIANCE)
    return np.asarray(DC + COIL.impedance(omega) + FORCE**2 / mechanical)


def write_sweep(name: str, says: str, ohms: Complexes, seed: int) -> None:
    random = np.random.default_rng(seed)
    magnitude = np.abs(ohms) * np.exp(0.003 * random.normal(size=FREQUENCY.size))
    angle = np.degrees(np.angle(ohms)) + 0.3 * random.normal(size=FREQUENCY.size)
    rows = (f"{f:9.2f} {z:8.3f} {a:7.2f}" for f, z, a in zip(FREQUENCY, magnitude, angle, strict=True))
    _write(name, f"# {says}\n# Invented: computed, with noise; see make.py\n# Hz        ohm      degrees", rows)


def write_response(name: str, says: str, seed: int) -> None:
    kit = load_kit(KIT, DRIVERS)
    heard = level(predict(kit, kit.variants["wall"], FREQUENCY).pressure)
    heard = heard + np.random.default_rng(seed).normal(0, 0.8, heard.size) - 6.0  # a microphone without calibration
    rows = (f"{f:9.2f} {db:7.2f}" for f, db in zip(FREQUENCY, heard, strict=True))
    _write(name, f"# {says}\n# Invented: computed, with noise; see make.py\n# Hz        dB", rows)


def _write(name: str, heading: str, rows: Iterable[str]) -> None:
    (FOLDER / name).write_text("\n".join((heading, *rows)) + "\n", encoding="utf-8")


if __name__ == "__main__":
    write_sweep("wall-left.txt", "Marshlight, wall: the left loudspeaker", built(DRY_JOINT), 11)
    write_sweep("wall-right.txt", "Marshlight, wall: the right loudspeaker", built(), 12)
    write_response("wall-right-heard.txt", "Marshlight, wall: the right loudspeaker at the listening point", 13)
    write_sweep("woofer-free.txt", "A 13 cm woofer in free air", bare(), 14)
    write_sweep("woofer-with-10-g.txt", "The same woofer with 10 g on its cone", bare(ADDED), 15)
