"""What a case is, the kits and tables that cases start from, and how a case lies in a folder."""

from __future__ import annotations

import base64
import json
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
EXAMPLE = HERE.parent / "scenarios" / "marshlight"

SECRET = "".join(f"{hertz} 71.2345 0\n" for hertz in (300, 400, 500, 700, 1000, 2000, 4000, 8000, 16000))

SMALLEST = """\
format: 1
kit: My first kit
amplifier: {power: 50 W, load: 8 ohm}
drivers:
  woofer: {re: 5.8 ohm, fs: 50 Hz, qms: 4, qes: 0.45, vas: 12 L, sd: 88 cm2, linear_excursion: 4 mm}
crossover:
  input: [in, common]
  hookup: {woofer: {driver: woofer, plus: in, minus: common}}
cabinets:
  box: {chambers: [{kind: sealed, drivers: [woofer], volume: 8 L}]}
variants:
  first: {cabinet: box}
"""

TWO_WAY = """\
format: 1
kit: Two ways
amplifier: {power: 80 W, load: 8 ohm, lowest_load: 3.2 ohm, output_resistance: 0.05 ohm}
stock: {capacitors: E12, resistors: E12, coils: E12}
drivers:
  woofer:
    re: 5.9 ohm
    fs: 52 Hz
    qms: 3.8
    qes: 0.46
    vas: 11.2 L
    sd: 88 cm2
    linear_excursion: 4 mm
    damage_excursion: 9 mm
    voice_coil: {le: 0.5 mH, at: 1 kHz}
    power: {rated: 50 W, of: coil}
  dome: {role: tweeter, re: 5.3 ohm, fs: 900 Hz, qts: 0.6, qes: 0.8, sd: 8 cm2, mms: 0.4 g, response: RESPONSE}
crossover:
  input: [in, common]
  parts:
    L1: {coil: 1.5 mH, dc_resistance: 0.24 ohm, between: [in, w2], core: air, current_rating: 8 A}
    C2: {capacitor: 10 uF, between: [w2, common], type: film, tolerance: 5 %}
    C3: {capacitor: 6.8 uF, between: [in, t1], reason: it keeps the low notes away}
    L2: {coil: 0.68 mH, dc_resistance: 0.45 ohm, between: [t1, common]}
    R1: {resistor: 2.2 ohm, between: [t1, t2], power_rating: 10 W}
  hookup:
    woofer: {driver: woofer, plus: w2, minus: common}
    tweeter: {driver: dome, plus: common, minus: t2, reversed: on_purpose}
cabinets:
  box: {chambers: [CHAMBER]}
variants:
  one: {cabinet: box, placement: in_wall, reason: for a shelf}
"""

E12 = "stock: {capacitors: E12, resistors: E12, coils: E12}\n"
STOCKED = """\
stock: {capacitors: stock.csv, resistors: stock.csv, coils: [1 mH, 1.5 mH]}
programme: {spectrum: levels.txt, crest_factor: 12 dB, from: 25 Hz}
"""
LAYOUT = """\
layout:
  board: [240 mm, 160 mm]
  places:
    L1: {at: [45 mm, 55 mm], axis: up, inner: 20 mm, outer: 60 mm, height: 30 mm, mass: 0.4 kg, held: screw}
    L2: {at: [185 mm, 45 mm], axis: {turned: 100 deg}, inner: 10 mm, outer: 1 1/2 in, height: 12 mm, held: glue}
    R1: {at: [130 mm, 90 mm], size: [48 mm, 10 mm, 9 mm], axis: across, raised: 5 mm, held: hot_melt}
"""
RESPONSE = "{file: dome-response.txt, volts: 2.83 V, distance: 1 m, mounted: wall}"
CHAMBERS = {
    "sealed": "{kind: sealed, drivers: [woofer], volume: 8.4 L, losses: {leak: 20}, "
    "fill: {material: polyester, mass: 80 g}}",
    "vented": "{kind: vented, drivers: [woofer], volume: 14 L, "
    "ports: [{diameter: 50 mm, end: flanged}], tuning: 48 Hz}",
    "radiator": "{kind: passive_radiator, drivers: [woofer], volume: 12 L, "
    "radiators: [{sd: 137 cm2, mms: 48 g, cms: 1.4 mm/N, rms: 0.9 kg/s, linear_excursion: 9 mm}]}",
    "line": "{kind: line, profile: [{length: 900 mm, area: 240 cm2, end_area: 150 cm2, taper: conical, "
    "fill: {material: polyester, density: 8 kg/m3}}], drivers: {woofer: 180 mm}, "
    "mouth: {port: {diameter: 60 mm, length: 50 mm}, end: flanged}, walls: lossy}",
}  # fmt: skip

SWEEP = HERE / "kits" / "dome-impedance.txt"
READINGS = "in common connected 6.1\nt1 t2 apart 2.2\n# a note\nin t1 apart open\n"
HAND = "ref,value\nC2,10.2 uF\nC2,9.7 uF\nC3,6.71 uF\nC3,6.9 uF\nR1,2.23 ohm\nR1,2.18 ohm\n"
LIST = "20\n50\n100\n1000\n10000\n"


@dataclass(frozen=True, slots=True)
class Seed:
    """A kit file and what it names."""

    name: str
    kit: str
    beside: Mapping[str, bytes]
    light: bool  # whether everything of it takes little time


@dataclass(frozen=True, slots=True)
class Case:
    """A command line, the files that it finds, and what it may write."""

    command: str
    words: tuple[str, ...]
    files: Mapping[str, bytes]
    mutations: tuple[str, ...]
    special: tuple[tuple[str, str, str], ...] = ()  # kind (link, pipe, folder), path, target
    outputs: tuple[str, ...] = ()  # files, and folders in which any file may be
    stdin: str = ""
    refused: bool = False  # whether it must be


@cache
def seeds() -> tuple[Seed, ...]:
    """The kits to start from: light ones first, then the example, the fuller one and all that are wrong already."""
    dome = (HERE / "kits" / "dome-response.txt").read_bytes()
    found = [Seed("smallest", SMALLEST, {}, True)]
    for name, chamber in CHAMBERS.items():
        found.append(
            Seed(
                name,
                TWO_WAY.replace("CHAMBER", chamber).replace("RESPONSE", RESPONSE),
                {"dome-response.txt": dome},
                True,
            )
        )
    stocked = TWO_WAY.replace("CHAMBER", CHAMBERS["sealed"]).replace("RESPONSE", RESPONSE).replace(E12, STOCKED)
    found.append(Seed("stocked", stocked + LAYOUT, _beside(HERE / "kits"), True))
    for name, file in (("example", EXAMPLE / "kit.yaml"), ("full", HERE / "kits" / "full.yaml")):
        found.append(Seed(name, file.read_text(encoding="utf-8"), _beside(file.parent), False))
    for file in sorted((HERE / "wrong").glob("*.yaml")):
        try:
            found.append(Seed(file.stem, file.read_text(encoding="utf-8"), _wrong_beside(), False))
        except UnicodeDecodeError:
            continue
    return tuple(found)


def _beside(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in sorted(folder.iterdir()) if file.suffix in (".txt", ".csv")}


@cache
def _wrong_beside() -> dict[str, bytes]:
    return _beside(HERE / "wrong")


def lay_out(case: Case, folder: Path) -> None:
    """The case's files in an empty folder: the kit's in `kit`, room for outputs in `out`, a file outside of both."""
    for name in ("kit", "out", "home", "temporary"):
        (folder / name).mkdir()
    (folder / "secret.txt").write_text(SECRET)
    for name, content in case.files.items():
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    for kind, name, target in case.special:
        file = folder / name
        _SPECIAL[kind](file, target)


_SPECIAL: dict[str, Any] = {
    "link": lambda file, target: file.symlink_to(target),
    "pipe": lambda file, _: os.mkfifo(file),
    "folder": lambda file, _: file.mkdir(parents=True, exist_ok=True),
}


def stored(case: Case) -> str:
    """As JSON."""
    content = asdict(case)
    content["files"] = {name: base64.b64encode(data).decode() for name, data in case.files.items()}
    return json.dumps(content, indent=1)


def restored(text: str) -> Case:
    content = json.loads(text)
    content["files"] = {name: base64.b64decode(data) for name, data in content["files"].items()}
    for name in ("words", "mutations", "outputs"):
        content[name] = tuple(content[name])
    content["special"] = tuple(map(tuple, content["special"]))
    return Case(**content)


@dataclass(slots=True)
class Draft:
    """A case being made."""

    command: str
    seed: Seed
    words: list[str] = field(default_factory=list)
    files: dict[str, bytes] = field(default_factory=dict)
    mutations: list[str] = field(default_factory=list)
    special: list[tuple[str, str, str]] = field(default_factory=list)
    outputs: list[str] = field(default_factory=list)
    stdin: str = ""
    refused: bool = False

    def case(self) -> Case:
        lists = {name: tuple(getattr(self, name)) for name in ("words", "mutations", "special", "outputs")}
        return Case(self.command, files=self.files, stdin=self.stdin, refused=self.refused, **lists)
