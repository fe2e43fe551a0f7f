"""Boards for an ohmmeter: kits of a few lines, random boards, and two other ways of working out what it reads."""

from __future__ import annotations

import random
import subprocess
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from system.kit import Hookup, Kit, Part, Place, Variant
from tests.support_kits import read_kit
from tests.support_ngspice import NGSPICE

Resistors = list[tuple[str, str, float]]  # two points and ohm; 0 is a wire

# Two woofers of 5.8 ohm behind a coil of 0.32 ohm; a tweeter of 4.7 ohm behind a capacitor, with a coil of 0.30 ohm and
# 12 ohm across and 2.2 ohm in series.
HANDBOOK = {
    "drivers": "{woofer: {re: 5.8 ohm, bl: 6.3 T.m, mms: 9.5 g, cms: 1.10 mm/N, rms: 0.85 kg/s, sd: 88 cm2},"
    " dome: {role: tweeter, re: 4.7 ohm, bl: 3.1 T.m, mms: 0.35 g, cms: 0.06 mm/N, rms: 0.6 kg/s, sd: 6.8 cm2}}",
    "parts": "{L1: {coil: 1 mH, dc_resistance: 0.32 ohm, between: [in, w]},"
    " C2: {capacitor: 6.8 uF, between: [in, t1]},"
    " L2: {coil: 0.47 mH, dc_resistance: 0.30 ohm, between: [t1, common]},"
    " R1: {resistor: 2.2 ohm, tolerance: 5 %, between: [t1, t2]},"
    " R2: {resistor: 12 ohm, between: [t2, common]}}",
    "hookup": "{woofer_a: {driver: woofer, plus: w, minus: common}, woofer_b: {driver: woofer, plus: w, minus: common},"
    " tweeter: {driver: dome, plus: t2, minus: common}}",
}
WITH_A_SERIES_CAPACITOR = {
    **HANDBOOK,
    "parts": HANDBOOK["parts"].replace("between: [in, w]", "between: [x, w]").replace(
        "{L1", "{C1: {capacitor: 220 uF, between: [in, x]}, L1"
    ),
}  # fmt: skip


def handbook(folder: Path, **changed: str) -> tuple[Kit, Variant]:
    kit = read_kit(folder, **{**HANDBOOK, **changed})
    return kit, kit.variants["v"]


def with_meter(kit: Kit, error: float, leads: float) -> Kit:
    return replace(kit, meter=replace(kit.meter, resistance_error=error, leads=leads))


def resistors(
    places: Mapping[str, Place], hookups: Mapping[str, Hookup], ohms: Mapping[str, float] | None = None
) -> Resistors:
    """What conducts direct current on a board, as drawn or with other `ohms`; written without the project's circuit."""
    found: Resistors = []
    for name, place in places.items():
        part = place.part
        if place.state == "link":
            found.append((*place.between, 0.0))
        elif place.state == "fit":
            leak = None if part.leakage_resistance is None else part.leakage_resistance + part.resistance
            own = {"resistor": part.value, "coil": part.resistance, "capacitor": leak}[part.kind]
            if own is not None:
                found.append((*place.between, own if ohms is None else ohms[name]))
    for name, hookup in hookups.items():
        found.append((hookup.plus, hookup.minus, hookup.driver.re if ohms is None else ohms[name]))
    return found


def merged(edges: Resistors, points: Iterable[str]) -> tuple[dict[str, str], Resistors]:
    """Points that wires make one: the name of each, and what is left."""
    same = {point: point for point in (*points, *(p for a, b, _ in edges for p in (a, b)))}
    for a, b, ohm in edges:
        if ohm == 0:
            old, new = same[b], same[a]
            same = {point: new if name == old else name for point, name in same.items()}
    return same, [(same[a], same[b], ohm) for a, b, ohm in edges if ohm > 0 and same[a] != same[b]]


def effective_resistance(edges: Resistors, a: str, b: str) -> float:
    """By the pseudo-inverse of the graph's Laplacian: R = (e_a - e_b)' L+ (e_a - e_b) (Klein & Randic, J. Math. Chem.
    12, 1993, 81); infinite where no path leads from one to the other."""
    same, left = merged(edges, (a, b))
    a, b = same[a], same[b]
    if a == b:
        return 0.0
    reached = {a}
    for _ in left:
        reached |= {q for p, q, _ in left if p in reached} | {p for p, q, _ in left if q in reached}
    if b not in reached:
        return np.inf
    index = {point: i for i, point in enumerate(sorted(reached))}
    laplacian = np.zeros((len(index), len(index)))
    for p, q, ohm in left:
        if p in reached:
            i, j = index[p], index[q]
            laplacian[[i, j], [i, j]] += 1 / ohm
            laplacian[[i, j], [j, i]] -= 1 / ohm
    step = np.zeros(len(index))
    step[[index[a], index[b]]] = 1.0, -1.0
    return float(step @ np.linalg.pinv(laplacian) @ step)


def ngspice_readings(circuits: list[tuple[Resistors, str, str]], folder: Path) -> list[float]:
    """Volts at one point for one ampere into it and out of another, by ngspice's operating point.

    Every point has 1e12 ohm to ground, so that an open circuit reads about that.
    """
    lines = ["readings"]
    for k, (edges, a, b) in enumerate(circuits):
        same, left = merged(edges, (a, b))

        def point(name: str, k: int = k, ground: str = same[b]) -> str:
            return "0" if name == ground else f"n{k}_{name}"

        lines.append(f"i{k} 0 {point(same[a])} 1" if same[a] != same[b] else f"rx{k} n{k}_{same[a]} 0 1")
        lines += [f"r{k}_{i} {point(p)} {point(q)} {ohm!r}" for i, (p, q, ohm) in enumerate(left)]
        lines += [f"rg{k}_{i} {point(p)} 0 1e12" for i, p in enumerate(sorted({*same.values()})) if point(p) != "0"]
    source, result = folder / "op.cir", folder / "op.raw"
    source.write_text("\n".join([*lines, ".op", ".end", ""]), encoding="utf-8")
    assert NGSPICE is not None
    done = subprocess.run(
        [NGSPICE, "-b", "-r", str(result), str(source)], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    head, body = result.read_bytes().split(b"Binary:\n", 1)
    heads = head.decode().splitlines()
    assert any(line.startswith("Flags: real") for line in heads)
    names = [line.split()[1] for line in heads[heads.index("Variables:") + 1 :]]
    volts = dict(zip(names, np.frombuffer(body[: 8 * len(names)]), strict=True))
    found = []
    for k, (edges, a, b) in enumerate(circuits):
        same, _ = merged(edges, (a, b))
        found.append(0.0 if same[a] == same[b] else float(volts[f"v(n{k}_{same[a]})"]))
    return found


POINTS = ("in", "common", "p", "q", "r", "s")


def random_board(variant: Variant, luck: random.Random) -> Variant:
    """The drivers of a variant between random points, and five to nine random parts, links and empty places."""

    def ends() -> tuple[str, str]:
        a, b = luck.sample(POINTS, 2)
        return a, b

    kinds = {
        "resistor": lambda: Part("resistor", luck.uniform(0.5, 50), tolerance=luck.uniform(0.01, 0.2)),
        "coil": lambda: Part("coil", 1e-3, resistance=luck.uniform(0.05, 1.5), tolerance=luck.choice([None, 0.05])),
        "capacitor": lambda: Part("capacitor", luck.uniform(1e-6, 1e-4), leakage_resistance=luck.choice([None, 2e4])),
    }
    places = {}
    for i in range(luck.randint(5, 9)):
        part = kinds[luck.choice(["resistor", "resistor", "coil", "capacitor"])]()
        places[f"P{i}"] = Place(f"P{i}", part, ends(), luck.choice(["fit", "fit", "fit", "link", "omit"]))
    hookups = {}
    for name, hookup in variant.hookups.items():
        plus, minus = ends()
        hookups[name] = replace(hookup, plus=plus, minus=minus)
    return replace(variant, places=places, hookups=hookups)
