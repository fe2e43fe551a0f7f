"""Small kits for the tests, written as a user would write them and read through the same door."""

from __future__ import annotations

from pathlib import Path

from system.kit import Kit
from system.kitfile import load_kit

DRY_AIR = "{density: 1.2041 kg/m3, speed_of_sound: 343.21 m/s}"

# The driver of many checks: Re 5.6, Bl 6.3, Mms 9.5 g, Cms 1.10 mm/N, Rms 0.85, Sd 88 cm2.
# Its fs is 49.2336 Hz, qms 3.45738, qes 0.414641, qts 0.370239, vas 12.082 L (Thiele, Small: exact definitions).
WOOFER = (
    "{re: 5.6 ohm, bl: 6.3 T.m, mms: 9.5 g, cms: 1.10 mm/N, rms: 0.85 kg/s, sd: 88 cm2,"
    " linear_excursion: 4 mm, damage_excursion: 9 mm}"
)


def kit_text(
    drivers: str = f"{{woofer: {WOOFER}}}",
    parts: str = "{}",
    hookup: str = "{woofer: {driver: woofer, plus: in, minus: common}}",
    cabinets: str = "{box: {}}",
    variants: str = "{v: {cabinet: box}}",
    amplifier: str = "{power: 50 W, load: 8 ohm}",
    more: str = "",
) -> str:
    """A kit of few lines; `more` is whole top-level lines."""
    return f"""\
format: 1
kit: Test kit
air: {DRY_AIR}
amplifier: {amplifier}
drivers: {drivers}
crossover: {{input: [in, common], parts: {parts}, hookup: {hookup}}}
cabinets: {cabinets}
variants: {variants}
{more}
"""


def write_kit(folder: Path, **pieces: str) -> Path:
    path = folder / "kit.yaml"
    path.write_text(kit_text(**pieces), encoding="utf-8")
    return path


def read_kit(folder: Path, **pieces: str) -> Kit:
    return load_kit(write_kit(folder, **pieces))
