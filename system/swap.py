"""What a substitute changes about a variant, and whether it may take the place of what the kit has there.

Held against `kit.window`, never finer than `kit.meter` shows: what the meter cannot tell from the window's edge is
`marginal`. Levels are judged in the window's band, and told outside of it too.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from system import summary, wording
from system.build import Build, build
from system.findings import usage_error
from system.kit import HIGHEST_OF_PROGRAMME, Kit, Role, Variant
from system.limits import Case
from system.predict import PEAK, Prediction, flows, prediction, pressure, summarise
from system.refit import with_part
from system.signal import Signal
from system.stress import PartStress, Stress, stress
from system.summary import level
from system.transfer import Transfer, transfer

Floats = NDArray[np.float64]
Word = Literal["pass", "marginal", "fail", "cannot_tell"]

WORST_FIRST: tuple[Word, ...] = ("fail", "cannot_tell", "marginal", "pass")
SILENT = 300.0  # dB: what has fallen by more is not there any more
EXACT = 1e-9  # of a dB or an ohm: what is nearer than this is there
ROLES: tuple[Role, ...] = ("woofer", "midrange", "tweeter")  # from the lowest; openings sound with the first there is


@dataclass(frozen=True, slots=True)
class Excursion:
    """One-way peaks of one cone (m): on the programme at clipping (None for a sine), and of a swept sine, and where."""

    programme: float | None
    sine: float
    sine_hz: float

    @property
    def of_signal(self) -> float:
        """That of the signal that the kit is judged on."""
        return self.sine if self.programme is None else self.programme

    def alike(self, other: Excursion, share: float) -> bool:
        """Whether neither signal moves the cone otherwise by more than this share."""
        pairs = ((self.sine, other.sine), (self.of_signal, other.of_signal))
        return all(abs(a - b) <= share * max(a, b) for a, b in pairs)


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """Level (F,) in dB for 1 V at the listening point, and magnitude (F,) of the impedance in ohm; summary's grid."""

    level: Floats
    impedance: Floats

    @classmethod
    def of(cls, model: Build, acoustics: Transfer) -> Curves:
        """Raises KitError where the circuit has no solution."""
        found = flows(model, acoustics, 1.0)
        heard = pressure(acoustics, found.load_current)
        return cls(level(heard), np.abs(found.input_impedance + model.kit.amplifier.cable))


@dataclass(frozen=True, slots=True, eq=False)
class Shot:
    """One variant as it is with one set of parts and drivers; everything on the summary's grid, at 1 V."""

    model: Build
    acoustics: Transfer
    result: Prediction
    swept: Case
    stress: Stress

    @classmethod
    def of(cls, kit: Kit, variant: Variant, acoustics: Transfer | None = None) -> Shot:
        """`acoustics` are those of the same drivers in the same cabinet. Raises KitError for an unsolvable circuit."""
        model = build(kit, variant)
        acoustics = acoustics or transfer(model, summary.GRID)
        figures = summarise(model, acoustics)
        swept = Case.swept(model, acoustics, figures)
        return cls(model, acoustics, prediction(model, acoustics, 1.0, figures), swept, stress(swept))

    @property
    def kit(self) -> Kit:
        return self.model.kit

    @property
    def variant(self) -> Variant:
        return self.model.variant

    @property
    def curves(self) -> Curves:
        return Curves(level(self.result.pressure), np.abs(self.result.impedance))

    @property
    def signal(self) -> Signal:
        return Signal.of(self.kit, self.variant, self.swept.result.frequency)

    @property
    def excursions(self) -> dict[str, Excursion]:
        """Of every cone whose motion is known, by hookup name."""
        signal, found = self.signal, {}
        for name, driver in self.swept.result.drivers.items():
            if driver.excursion is not None:
                per_volt = driver.excursion / PEAK  # at 1 V
                rms, (most, at) = signal.rms(per_volt), signal.largest(per_volt)
                heard = None if rms is None else signal.crest * rms * signal.full
                found[name] = Excursion(heard, PEAK * most * signal.rated, at)
        return found

    def sounds(self) -> dict[Role, Floats]:
        """Level (F,) at the listening point of all drivers of a role together, openings with the lowest of them."""
        return {role: level(heard) for role, heard in self._heard().items()}

    def ranges(self) -> dict[Role, NDArray[np.bool_]]:
        """Where (F,) on the summary's grid each role is louder than all others together, in the programme's band."""
        whole, f = self.result.pressure, self.result.frequency
        band = (f >= self.kit.programme.lowest) & (f <= HIGHEST_OF_PROGRAMME)
        return {role: band & (np.abs(heard) > np.abs(whole - heard)) for role, heard in self._heard().items()}

    def _heard(self) -> dict[Role, NDArray[np.complexfloating]]:
        hookups, drivers = self.variant.hookups, self.result.drivers
        here = [role for role in ROLES if any(hookup.driver.role == role for hookup in hookups.values())]
        heard = {
            role: np.sum([drivers[name].pressure for name, h in hookups.items() if h.driver.role == role], axis=0)
            for role in here
        }
        heard[here[0]] = self.result.pressure - sum(heard[role] for role in here[1:])
        return heard


@dataclass(frozen=True, slots=True)
class Change:
    """What a substitute makes of a variant, against the kit as it is drawn.

    `level` (dB, with its sign) is the largest change in the window's band, at `level_hz`; `outside` that in the rest
    of the programme's band, None where there is no rest. `impedance` (ohm, with its sign) is the largest change of its
    magnitude in the window's band; `lowest_impedance` is that of the variant with the substitute, and
    `lowest_change` how far it has moved; None where no current flows.
    """

    level: float
    level_hz: float
    outside: float | None
    outside_hz: float | None
    impedance: float
    impedance_hz: float
    lowest_impedance: float | None
    lowest_impedance_hz: float | None
    lowest_change: float | None


def compare(kit: Kit, before: Curves, after: Curves) -> Change:
    """Raises KitError where the window's band holds no frequency of the summary's grid."""
    f, window = summary.GRID, kit.window
    inside = (f >= window.lowest) & (f <= window.highest)
    if not inside.any():
        found = f"the window runs from {window.lowest:g} to {window.highest:g} Hz, where nothing is computed"
        raise usage_error(found, f"it holds a third-octave or more of {f[0]:g} Hz to {f[-1]:g} Hz")
    rest = (f >= kit.programme.lowest) & (f <= HIGHEST_OF_PROGRAMME) & ~inside
    differs = after.level - before.level
    with np.errstate(invalid="ignore"):  # of two that carry no current the difference is none
        ohm = np.nan_to_num(after.impedance - before.impedance, nan=0.0, posinf=np.inf, neginf=-np.inf)
    worst, at = _largest(differs, inside)
    outside, outside_at = _largest(differs, rest) if rest.any() else (None, None)
    impedance, impedance_at = _largest(ohm, inside)
    low, old = int(np.argmin(after.impedance)), float(np.min(before.impedance))
    lowest = float(after.impedance[low])
    flows = math.isfinite(lowest)
    return Change(
        level=worst,
        level_hz=at,
        outside=outside,
        outside_hz=outside_at,
        impedance=impedance,
        impedance_hz=impedance_at,
        lowest_impedance=lowest if flows else None,
        lowest_impedance_hz=float(f[low]) if flows else None,
        lowest_change=lowest - old if flows and math.isfinite(old) else None,
    )


def _largest(values: Floats, where: NDArray[np.bool_]) -> tuple[float, float]:
    """The value of the largest magnitude `where` that is asked for, and at how many Hz."""
    i = int(np.argmax(np.where(where, np.abs(values), -1.0)))
    return float(values[i]), float(summary.GRID[i])


def judged(change: float, edge: float, resolution: float) -> Word:
    """A change (of any sign) against the edge of a window, which is never finer than the meter's resolution."""
    edge, change = max(edge, resolution), abs(change)
    if change <= edge - resolution + EXACT:
        return "pass"
    return "marginal" if change <= edge + resolution + EXACT else "fail"


def worst_of(words: Iterable[Word]) -> Word:
    found = set(words)
    return next(word for word in WORST_FIRST if word in found)


@dataclass(frozen=True, slots=True)
class Judgement:
    """The result and what it is because of, in words, the gravest first."""

    result: Word
    because: tuple[str, ...]


def judge(before: Shot, after: Shot, change: Change, reference: str = "", unknown: str = "") -> Judgement:
    """Of a variant with a substitute at `reference`; `unknown` says why its figures do not tell all, if they do not.

    Beside the window it must be safe: no rating, excursion or lowest load may be passed that the kit keeps to.
    """
    found: list[tuple[Word, str]] = [("fail", text) for text in _dangers(before, after, reference)]
    own = after.stress.parts.get(reference)
    if own is not None and own.verdict == "marginal":
        found.append(("marginal", f"{reference} is close to its {_of(own, 'marginal')}"))
    if unknown:
        found.append(("cannot_tell", unknown))
    for word, text in _window(after.kit, change):
        # where the substitute is of another nature, its figures decide nothing
        found.append(("cannot_tell" if unknown else word, text))
    found.sort(key=lambda item: WORST_FIRST.index(item[0]))
    return Judgement(worst_of([word for word, _ in found]), tuple(text for _, text in found if text))


def _window(kit: Kit, change: Change) -> Iterable[tuple[Word, str]]:
    window, meter = kit.window, kit.meter
    sizes = (
        (change.level, change.level_hz, window.level, meter.level, "dB"),
        (change.impedance, change.impedance_hz, window.impedance, meter.impedance, "ohm"),
    )
    for size, hertz, edge, resolution, unit in sizes:
        word = judged(size, edge, resolution)
        edge = max(edge, resolution)
        there = f"{sized(size, unit)} at {wording.hertz(hertz)} is"
        told = {
            "pass": "",
            "marginal": f"{there} at the window's edge, {edge:g} {unit}",
            "fail": f"{there} outside of the window of {edge:g} {unit}",
        }
        yield word, told[word]


def sized(change: float, unit: str) -> str:
    """A change in dB or ohm with its sign; in words, where nothing is left of a sound or of a current."""
    if not math.isfinite(change):
        return "no current"
    if unit == "dB" and abs(change) > SILENT:
        return "silence" if change < 0 else "sound from silence"
    return f"{change:+.2f} {unit}"


def _dangers(before: Shot, after: Shot, reference: str) -> Iterable[str]:
    """What must not be: the substitute over its rating, or anything else over a limit that it kept before."""
    for name, part in after.stress.parts.items():
        old = before.stress.parts.get(name)
        worse = name == reference or (old is not None and old.verdict != "fail")
        if part.verdict == "fail" and worse:
            yield f"{name} is over its {_of(part, 'fail')}"
    limit = after.kit.amplifier.lowest_load
    lowest, was = (shot.result.summary.lowest_impedance_ohm for shot in (after, before))
    if limit is not None and lowest is not None and lowest < limit <= (was or math.inf):
        yield f"the impedance falls to {lowest:.2f} ohm, and the amplifier stands {limit:g} ohm"
    old_over = set(too_far(before))
    for (name, key), text in too_far(after).items():
        if (name, key) not in old_over:
            yield text


def _of(part: PartStress, verdict: str) -> str:
    """The rating that decides, and what would do."""
    rated = next(each for each in part.ratings if each.verdict == verdict)
    unit = {"voltage": "V", "current": "A", "power": "W", "saturation": "A"}[rated.kind]
    asked = f"{rated.asked:.3g} {unit} asked of {rated.rating:g} {unit}"
    return f"{rated.kind} rating: {asked}, {rated.order or rated.needed:.3g} {unit} or more will do"


def too_far(shot: Shot) -> dict[tuple[str, str], str]:
    """Cones beyond their limits: beyond the linear one on the programme, beyond the damage one on a sine."""
    found = {}
    for name, moved in shot.excursions.items():
        data = shot.variant.hookups[name].driver
        for key, size, limit, on in (
            ("linear", moved.of_signal, data.linear_excursion, "the programme" if moved.programme else "a sine"),
            ("damage", moved.sine, data.damage_excursion, "a sine"),
        ):
            if limit is not None and size > limit:
                text = f"{name} moves {wording.millimetres(size)} on {on}, beyond its {key} excursion"
                found[name, key] = f"{text} of {wording.millimetres(limit)}"
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Swap:
    """One variant with the substitute; `untouched` says why it is not changed, if it is not."""

    before: Shot
    after: Shot
    change: Change
    judgement: Judgement
    untouched: str = ""

    @property
    def name(self) -> str:
        return self.before.variant.name


def swap(before: Shot, kit: Kit, untouched: str = "", reference: str = "", acoustics: Transfer | None = None) -> Swap:
    """The variant of `before` as `kit` has it; `acoustics` where they are still the same. Raises KitError."""
    if untouched:
        change = compare(before.kit, before.curves, before.curves)
        return Swap(before, before, change, Judgement("pass", ()), untouched)
    after = Shot.of(kit, kit.variants[before.variant.name], acoustics)
    change = compare(kit, before.curves, after.curves)
    return Swap(before, after, change, judge(before, after, change, reference, _other_core(before, after, reference)))


def swap_part(
    kit: Kit, swapped: Kit, reference: str, variants: Sequence[Variant], untouched: Mapping[str, str]
) -> list[Swap]:
    """Each of `variants` of `kit` with the part at `reference` as `swapped` has it. Raises KitError."""
    found = []
    for variant in variants:
        before = Shot.of(kit, variant)
        found.append(swap(before, swapped, untouched.get(variant.name, ""), reference, before.acoustics))
    return found


def _other_core(before: Shot, after: Shot, reference: str) -> str:
    """Why nothing can be told of a coil with another core; empty where it has the same."""
    places = [shot.variant.places.get(reference) for shot in (before, after)]
    if any(place is None or place.state != "fit" or place.part.kind != "coil" for place in places):
        return ""
    old, new = (place.part.core for place in places if place)
    if new is None or old == new:
        return ""
    was = f"{old} core" if old else "core that the kit does not tell"
    return f"{reference} gets an {new} core for its {was}: distortion and saturation are not known"


def branch(shot: Shot, reference: str) -> Role | None:
    """The role of the drivers that a fitted part acts on most, over the range that they play; None for none.

    Told by what a hundredth more of its value does to what each role is heard with.
    """
    part = shot.variant.places[reference].part
    if part.value == 0:
        return None
    other = with_part(shot.model, reference, replace(part, value=1.01 * part.value))
    figures = shot.result.summary
    moved = replace(shot, model=other, result=prediction(other, shot.acoustics, 1.0, figures)).sounds()
    sizes = {
        role: float(np.mean(np.abs(moved[role] - heard)[shot.ranges()[role]]))
        for role, heard in shot.sounds().items()
        if shot.ranges()[role].any()
    }
    role = max(sizes, key=lambda each: sizes[each], default=None)
    return role if role is not None and sizes[role] > 1e-6 else None


def mean_change(shot: Shot, after: Curves, role: Role | None) -> float:
    """How much louder (dB) the range that a role plays in `shot` has become; of the window's band for none."""
    window, f = shot.kit.window, summary.GRID
    where = (f >= window.lowest) & (f <= window.highest) if role is None else shot.ranges()[role]
    return float(np.mean((after.level - shot.curves.level)[where]))
