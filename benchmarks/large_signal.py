"""How long steady states beyond small signals take, beside integration in time: python -m benchmarks.large_signal"""

from __future__ import annotations

import time
from collections.abc import Sequence

import numpy as np

from enclosures.harmonic_balance import FOUND, HARMONICS, Source, SteadyStates, harmonic_balance
from enclosures.sealed import SealedBox
from tests.support_enclosures import AIR, WOOFER
from tests.support_large_signal import COIL_WOOFER, CURVES, InTime, sealed_air

REPEATS = 5
FREQUENCY = np.geomspace(20, 250, 60)
LEVELS = np.linspace(1, 10, 10)  # volts rms; at the last the small-signal cone moves 5.7 mm to either side
BOX = SealedBox(6e-3, leak=20.0)
SAMPLE = [(f, n) for f in range(2, 60, 6) for n in (1, 4, 9)]  # of the 600 pairs of frequency and level


def balance(drivers: int) -> SteadyStates:
    """All frequencies and levels, `drivers` of them in parallel in as many times the box."""
    omega = 2 * np.pi * FREQUENCY
    impedance = np.zeros((omega.size, 2 * HARMONICS, drivers, drivers), complex)
    source = Source.open_circuit(np.ones((omega.size, drivers)), impedance)
    box = SealedBox(BOX.volume * drivers, BOX.leak)
    return harmonic_balance([COIL_WOOFER] * drivers, [CURVES] * drivers, box, omega, AIR, source, LEVELS)


def in_time(pairs: Sequence[tuple[int, int]]) -> list[np.ndarray]:
    """Displacement amplitudes by integration from rest until a period repeats within 1e-4, of some of the pairs."""
    one = InTime(sealed_air(BOX, WOOFER))
    return [one.steady(float(FREQUENCY[f]), float(LEVELS[n]))[0] for f, n in pairs]


def main() -> None:
    """Print the table."""
    times = {}
    for drivers in (1, 2):
        runs = []
        for _ in range(REPEATS):
            start = time.perf_counter()
            found = balance(drivers)
            runs.append(time.perf_counter() - start)
        times[drivers] = min(runs)
    states = balance(1)
    assert (states.reason == FOUND).all()
    assert (found.reason == FOUND).all()
    start = time.perf_counter()
    theirs = in_time(SAMPLE)
    integration = (time.perf_counter() - start) * states.reason.size / len(SAMPLE)
    print(f"{FREQUENCY.size} frequencies, {LEVELS.size} levels, {HARMONICS} harmonics, one core")
    print()
    print(f"{'':60}{'s':>8}{'in time / this':>16}")
    for name, seconds in (
        ("one driver in a sealed box", times[1]),
        ("two drivers in one box", times[2]),
        (f"one driver, integration in time ({len(SAMPLE)} of {states.reason.size}, times the rest)", integration),
    ):
        print(f"{name:60}{seconds:8.2f}{integration / seconds:16.1f}")
    apart = [
        np.abs(states.displacement[f, n, 0] - x).max() / abs(x[1]) for (f, n), x in zip(SAMPLE, theirs, strict=True)
    ]
    print()
    print(f"harmonics 0 to {HARMONICS} of the displacement apart by at most {max(apart):.1e} of the fundamental")


if __name__ == "__main__":
    main()
