"""How long the limits of the example kit take once its variants are predicted: python -m benchmarks.limits"""

from __future__ import annotations

import time

import numpy as np

from system import summary
from system.build import build
from system.examples import scenarios
from system.kitfile import load_kit
from system.limits import Case, limits
from system.predict import prediction, summarise
from system.transfer import transfer

REPEATS = 15
FREQUENCY = np.geomspace(20, 20e3, 400)


def main() -> None:
    """Print the table."""
    kit = load_kit(scenarios() / "marshlight" / "kit.yaml")
    cases = {}
    for name, variant in kit.variants.items():
        model = build(kit, variant)
        acoustics, everything = transfer(model, FREQUENCY), transfer(model, summary.GRID)
        figures = summarise(model, everything)
        result = prediction(model, acoustics, 2.83, figures)
        cases[name] = Case(model, acoustics, result), Case.swept(model, everything, figures)
    total = 0.0
    print(f"{kit.name}, {len(FREQUENCY)} frequencies and a programme, given the predictions, one core")
    print()
    for name, (case, swept) in cases.items():
        found = limits(case, swept)
        times = []
        for _ in range(REPEATS):
            start = time.perf_counter()
            limits(case, swept)
            times.append(time.perf_counter() - start)
        total += min(times)
        print(f"{name:10}{len(found.limits):4d} limits{1e3 * min(times):8.1f} ms")
    print(f"{'together':10}{'':11}{1e3 * total:8.1f} ms")


if __name__ == "__main__":
    main()
