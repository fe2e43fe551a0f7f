"""The page on trust: its table of what-ifs is computed again from the settings that it tells.

`python -m tests.test_docs_trust` prints the table's rows for the settings on the page.
"""

from __future__ import annotations

import contextlib
import math
import re
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from system.ceilings import swept_case
from system.examples import scenarios
from system.kitfile import load_kit
from system.limits import limits
from system.matching import smoothed
from tests.support_cli import kitwright

pytestmark = pytest.mark.slow  # together more than a few seconds

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "docs" / "trust.md"
KIT = scenarios() / "marshlight" / "kit.yaml"
BASS = (20.0, 300.0)  # Hz
ABOVE = np.geomspace(315.0, 8e3, 15)  # Hz, middles of the thirds of an octave that are compared above it
SETTING = re.compile(r"^(?P<name>[^:|\n]+): (?P<variant>\w+) (?P<sets>--set .+)$", re.MULTILINE)
ROW = re.compile(r"^\| (?P<name>[^|]+) \| (?P<variant>\w+) \| (?P<rest>.+) \|$", re.MULTILINE)

QUOTE = re.compile(r"^\| `kitwright ([^`]+)` \| `([^`]+)` \|$", re.MULTILINE)

Floats = NDArray[np.float64]


def settings() -> dict[str, tuple[str, tuple[str, ...]]]:
    """Variant and settings of each what-if on the page, by its name."""
    text = PAGE.read_text(encoding="utf-8")
    found = {}
    for match in SETTING.finditer(text):
        parts = re.findall(r"--set (?:'([^']+)'|(\S+))", match["sets"])
        found[match["name"]] = (match["variant"], tuple(quoted or bare for quoted, bare in parts))
    return found


@cache
def looked_at(variant: str, sets: tuple[str, ...]) -> tuple[Floats, Floats, float]:
    """Frequencies, squared pressure per volt, and the volts of the programme at the first linear excursion."""
    kit = load_kit(KIT, list(sets))
    case = swept_case(kit, kit.variants[variant])
    power = np.abs(case.result.pressure / case.result.volts) ** 2
    volts = min(each.programme for each in limits(case, case).limits if each.kind == "linear_excursion")
    return case.result.frequency, power, volts


def row(name: str, variant: str, sets: tuple[str, ...]) -> str:
    """What stands on the page: the most that the level moves in the bass and above, and the volts."""
    frequency, before, volts_before = looked_at(variant, ())
    _, after, volts = looked_at(variant, sets)
    bass = (frequency >= BASS[0]) & (frequency <= BASS[1])
    thirds = [10 * np.log10(smoothed(frequency, power, ABOVE)) for power in (before, after)]
    moved = (
        (frequency[bass], 10 * np.log10(after[bass] / before[bass])),
        (ABOVE, thirds[1] - thirds[0]),
    )
    cells = []
    for at, change in moved:
        most = int(np.argmax(np.abs(change)))
        small = abs(change[most]) < 0.05
        cells.append("0.0 dB" if small else f"{change[most]:+.1f} dB at {at[most]:.0f} Hz")
    volts_told = [math.floor(each * 10) / 10 for each in (volts_before, volts)]
    return f"| {name} | {variant} | {cells[0]} | {cells[1]} | {volts_told[0]:.1f} to {volts_told[1]:.1f} V |"


@pytest.mark.parametrize("name", settings())
def test_the_table_is_what_the_settings_give(name: str) -> None:
    variant, sets = settings()[name]
    assert row(name, variant, sets) in PAGE.read_text(encoding="utf-8").splitlines()


def test_every_row_has_its_settings() -> None:
    told = [match["name"] for match in ROW.finditer(PAGE.read_text(encoding="utf-8")) if match["rest"].endswith(" V")]
    assert told == list(settings())
    assert len(told) > 15


def quotes() -> list[tuple[str, str]]:
    """Every command line that the page quotes, and what it quotes of it."""
    return QUOTE.findall(PAGE.read_text(encoding="utf-8"))


@cache
def said(words: str) -> str:
    """What a command line prints, run where the project stands."""
    with contextlib.chdir(ROOT):
        done = kitwright(*words.split())
    assert done.returncode in (0, 1)
    return done.stdout


@pytest.mark.parametrize(("words", "says"), quotes())
def test_commands_say_what_the_page_quotes(words: str, says: str) -> None:
    assert says in " ".join(said(words).split())


def test_there_are_quotes() -> None:
    assert len(quotes()) > 3


def test_what_is_lost_beyond_small_signals() -> None:
    """The text has the rows of 70 and 107 Hz: volts of a tenth, and what is lost of the tone at two drives."""
    _, table = said("limits scenarios/marshlight/kit.yaml --variant wall").split("beyond small signals")
    rows = {line.split()[0]: line.split()[1:] for line in table.splitlines() if line.strip()}
    volts, lost_low, *_, lost_high, _, _, _ = rows["70"]
    drives = re.findall(r"([0-9.]+) V: lost", table)
    told = " ".join(PAGE.read_text(encoding="utf-8").split())
    assert f"{lost_low.lstrip('+')} dB of the tone are lost at {drives[0]} V" in told
    assert f"{lost_high.lstrip('+')} dB at {drives[1]} V" in told
    assert f"distortion at {volts} V" in told
    assert f"at 107 Hz {rows['107'][5].lstrip('-')} dB are gained at {drives[1]} V" in told
    assert rows["107"][5].startswith("-")  # of what is lost


if __name__ == "__main__":
    for each, (where, what) in settings().items():
        sys.stdout.write(row(each, where, what) + "\n")
