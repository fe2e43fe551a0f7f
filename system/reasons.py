"""What each place on the board is to have in each variant, and why: what it does there, from the variant solved again.

A place that variants fill differently is tried with what the others have in it, the acoustics being the same; a linked
or empty one is tried with its part. So a reason is a figure of this variant, not a rule of thumb.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from system import summary, wording
from system.build import Build, crossover
from system.findings import KitError
from system.kit import HIGHEST_OF_PROGRAMME, Kit, Place, State, Variant
from system.predict import flows, pressure, summarise
from system.protect import Verdict, Word, alike
from system.transfer import Transfer

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]
Action = Literal["fit", "change", "link", "leave_out"]

OWN_BAND = 12.0  # dB below the sum, down to which a driver's part of it is its own band
HEARD = 20.0  # dB below the reference level, down to which a change counts
LEVEL_BAND = (200.0, 10e3)  # Hz, over which evenness is told
SMALL = 0.1  # dB, below which a change is called none
MOVED = 0.02  # relative, up to which a figure counts as the same
ALIKE = 0.1  # dB, within which drivers change alike
SILENT = 100.0  # dB of change: one of the two is silent
# How the verdict on a woofer's high-pass reads here.
VERDICTS: Mapping[Word, str] = {
    "needed": "needed",
    "helps": "helps",
    "not_needed": "not needed",
    "makes_worse": "makes it worse",
    "undecided": "undecided",
}
AGAINST: Mapping[tuple[Word, State], str] = {  # what a variant has against its verdict
    ("needed", "link"): "linked all the same",
    ("needed", "omit"): "left out all the same",
    ("not_needed", "fit"): "fitted all the same",
    ("makes_worse", "fit"): "fitted all the same",
}


@dataclass(frozen=True, slots=True)
class Change:
    """How a level changes over a band (dB): its `mean` evenly in log frequency, its `largest` and where (Hz)."""

    mean: float
    largest: float
    frequency: float


@dataclass(frozen=True, slots=True)
class Sum:
    """A variant heard at the listening point: its -3 dB point, lowest impedance, and how far its level strays.

    `uneven` is the rms deviation (dB) from the mean level over `LEVEL_BAND`, evenly in log frequency.
    """

    minus_3: float | None  # Hz
    lowest_impedance: float | None  # ohm
    uneven: float


@dataclass(frozen=True, slots=True, eq=False)
class Effect:
    """What else a place could have in this variant, and how that compares: each change is that of `new` over `old`.

    A part fitted here is the new one, over `other`, which the variants `like` have; a link or nothing here is the old
    one, under the part that could be fitted. `drivers` are those whose volts change most, by `branch` over their own
    band; `total` is the change of the sum, over all frequencies `curve` (F,) in dB on the summary's grid. `impossible`
    says why the other cannot be computed; then there is no change.
    """

    here: Place
    other: Place
    like: tuple[str, ...]
    drivers: tuple[str, ...] = ()
    branch: Change | None = None
    total: Change | None = None
    before: Sum | None = None  # with the old
    after: Sum | None = None
    curve: Floats | None = None
    impossible: str = ""

    @property
    def new(self) -> Place:
        return self.here if self.here.state == "fit" else self.other

    @property
    def old(self) -> Place:
        return self.other if self.here.state == "fit" else self.here


@dataclass(frozen=True, slots=True)
class Reason:
    """One place of one variant: what to do there, and the sentences that say why."""

    place: Place
    variant: str
    action: Action
    same: bool  # the same in every variant
    why: tuple[str, ...]
    effects: tuple[Effect, ...]


def reasons(model: Build, acoustics: Transfer, verdicts: Sequence[Verdict]) -> dict[str, Reason]:
    """Every place of a variant; its `acoustics` on the summary's grid, and the verdicts on its woofers."""
    kit, variant = model.kit, model.variant
    here = _Heard.of(model, acoustics)
    found = {}
    for reference, place in variant.places.items():
        others = _others(kit, variant, reference)
        effects = tuple(_effect(model, acoustics, here, other, names) for other, names in others)
        same = all(_alike(place, each.places[reference]) for each in kit.variants.values())
        why = [f"the kit says: {place.reason}"] if place.reason else []
        why += [_verdict_text(*each, place) for each in alike(v for v in verdicts if v.place == reference)]
        why += [effect_text(effect) for effect in effects]
        if same:
            why.append(_same_text(kit, place))
        found[reference] = Reason(place, variant.name, _action(kit, place), same, tuple(why), effects)
    return found


def _alike(one: Place, other: Place) -> bool:
    """Whether two variants have the same in a place."""
    return one.state == other.state and (one.state != "fit" or one.part == other.part)


def _action(kit: Kit, place: Place) -> Action:
    """A fitted part whose value is another one in another variant is to be changed with it."""
    there = [v.places[place.reference] for v in kit.variants.values()]
    changes = any(p.state == "fit" and p.part.value != place.part.value for p in there)
    fitted: Action = "change" if changes else "fit"
    actions: Mapping[State, Action] = {"fit": fitted, "link": "link", "omit": "leave_out"}
    return actions[place.state]


def _same_text(kit: Kit, place: Place) -> str:
    words = {"fit": "", "link": " linked", "omit": " left out"}[place.state]
    return f"the same in all variants{words}" if len(kit.variants) > 1 else "the kit has this variant only"


def _others(kit: Kit, variant: Variant, reference: str) -> list[tuple[Place, tuple[str, ...]]]:
    """What else the place could have, each once, with the variants that have it.

    What differs in its ratings or tolerance only makes no difference to hear. A place without its part is tried with
    it, even where no variant fits it.
    """
    place = variant.places[reference]
    groups: dict[tuple[object, ...], tuple[Place, list[str]]] = {}
    for other in kit.variants.values():
        there = other.places[reference]
        if _sounds(there) != _sounds(place) and (place.state == "fit" or there.state == "fit"):
            groups.setdefault(_sounds(there), (there, []))[1].append(other.name)
    if not groups and place.state != "fit":
        fitted = replace(place, state="fit")
        groups[_sounds(fitted)] = (fitted, [])
    return [(each, tuple(names)) for each, names in groups.values()]


def _sounds(place: Place) -> tuple[object, ...]:
    """What the network knows of a place."""
    part = place.part
    losses = (part.resistance, part.dissipation_factor, part.leakage_resistance)
    return (place.state, part.value, *losses) if place.state == "fit" else (place.state,)


@dataclass(frozen=True, slots=True, eq=False)
class _Heard:
    """A variant on the summary's grid (F,): volts of each driver (F, N), what it adds to the sum (F, N), the sum's
    level (F,), all for 1 V rms."""

    frequency: Floats
    volts: Complexes
    own: Complexes
    level: Floats
    figures: Sum
    floor: float  # dB, below which nothing counts

    @classmethod
    def of(cls, model: Build, acoustics: Transfer) -> _Heard:
        solution = flows(model, acoustics, 1.0)
        level = summary.level(pressure(acoustics, solution.load_current))
        single = summarise(model, acoustics)
        reference = single.sensitivity_db - 20 * math.log10(model.variant.listening.distance * 2.83)
        inside = (acoustics.frequency >= LEVEL_BAND[0]) & (acoustics.frequency <= LEVEL_BAND[1])
        return cls(
            frequency=acoustics.frequency,
            volts=solution.load_volts,
            own=acoustics.total_pressure * solution.load_current,
            level=level,
            figures=Sum(single.minus_3_db_hz, single.lowest_impedance_ohm, float(np.std(level[inside]))),
            floor=reference - HEARD,
        )

    @property
    def counts(self) -> NDArray[np.bool_]:
        """Where the sum is heard (F,)."""
        return self.level >= self.floor

    @property
    def bands(self) -> NDArray[np.bool_]:
        """Where each driver has its part in what is heard (F, N)."""
        own = summary.level(self.own) >= self.level[:, None] - OWN_BAND
        return np.asarray(own & self.counts[:, None])


def _effect(model: Build, acoustics: Transfer, here: _Heard, other: Place, like: tuple[str, ...]) -> Effect:
    kit, variant = model.kit, model.variant
    place = variant.places[other.reference]
    varied = replace(variant, places={**variant.places, other.reference: other})
    try:
        there = _Heard.of(replace(model, variant=varied, network=crossover(kit, varied)), acoustics)
    except (KitError, ValueError) as error:
        text = error.findings[0].found if isinstance(error, KitError) else str(error)
        return Effect(place, other, like, impossible=text)
    after, before = (here, there) if place.state == "fit" else (there, here)
    played = (here.frequency >= kit.programme.lowest) & (here.frequency <= HIGHEST_OF_PROGRAMME)
    drivers, branch = _branch(tuple(variant.hookups), before, after, played)
    curve = after.level - before.level
    total = _change(here.frequency, curve, played & (before.counts | after.counts))
    return Effect(place, other, like, drivers, branch, total, before.figures, after.figures, curve)


def _branch(
    names: Sequence[str], before: _Heard, after: _Heard, played: NDArray[np.bool_]
) -> tuple[tuple[str, ...], Change | None]:
    """The drivers whose volts change most on the average over their own bands, and by how much."""
    changed = summary.level(after.volts) - summary.level(before.volts)  # a ratio: what the level refers to drops out
    bands = (before.bands | after.bands) & played[:, None]
    changes = {name: _change(before.frequency, changed[:, i], bands[:, i]) for i, name in enumerate(names)}
    found = {name: change for name, change in changes.items() if change is not None}
    if not found:
        return (), None
    most = max(found, key=lambda name: abs(found[name].mean))
    return tuple(name for name, each in found.items() if abs(each.mean - found[most].mean) <= ALIKE), found[most]


def _change(frequency: Floats, decibels: Floats, inside: NDArray[np.bool_]) -> Change | None:
    """Of a change (F,) on a logarithmic grid; None where nothing counts."""
    if not inside.any():
        return None
    kept = np.where(inside, np.abs(decibels), -1.0)
    most = int(np.argmax(kept))
    return Change(float(decibels[inside].mean()), float(decibels[most]), float(frequency[most]))


def _verdict_text(verdict: Verdict, woofers: Sequence[str], place: Place) -> str:
    """`a high-pass for woofer: needed (linked: ...); with 220 uF margin -0.5 dB`."""
    text = f"as a high-pass for {wording.listed(woofers)}: {VERDICTS[verdict.verdict]} ({verdict.because})"
    if verdict.fitted is not None and verdict.fitted.margins.decisive is not None:
        own = wording.decibels(verdict.fitted.margins.decisive, sign=True)
        text += f"; with the kit's {wording.farads(place.part.value)} the margin is {own}"
    against = AGAINST.get((verdict.verdict, place.state), "")
    return f"{text}; {against}" if against else text


def content(place: Place) -> str:
    """What a place has in it: `2.2 ohm`, `a link`, `nothing`."""
    other: Mapping[State, str] = {"link": "a link", "omit": "nothing"}
    return other.get(place.state) or wording.part_value(place.part.kind, place.part.value)


def effect_text(effect: Effect) -> str:
    """`1.2 ohm instead of 2.2 ohm (as in tall): tweeter +1.0 dB; ...`."""
    like = f" (as in {wording.listed(effect.like)})" if effect.like else ""
    fitted = effect.here.state == "fit"
    old, new = content(effect.old) + like * fitted, content(effect.new) + like * (not fitted)
    text = f"{new} instead of {old}"
    if effect.impossible:
        return f"{text}: cannot be computed ({effect.impossible})"
    assert effect.before is not None
    assert effect.after is not None
    told = [*_branch_words(effect), *_total_words(effect), *_figures_words(effect.before, effect.after)]
    return f"{text}: {'; '.join(told) or f'makes less than {SMALL:g} dB of difference'}"


def _branch_words(effect: Effect) -> list[str]:
    if effect.branch is None or abs(effect.branch.largest) < SMALL:
        return []
    who, mean, most = wording.listed(effect.drivers), effect.branch.mean, effect.branch.largest
    if abs(most) > SILENT:
        return [f"{who} {'plays' if most > 0 else 'is silent'}"]
    if abs(most - mean) < 0.5:
        return [f"{who} {wording.decibels(mean, sign=True)}"]
    at = wording.hertz(effect.branch.frequency)
    return [f"{who} {wording.decibels(mean, sign=True)} on average, {wording.decibels(most, sign=True)} at {at}"]


def _total_words(effect: Effect) -> list[str]:
    if effect.total is None or abs(effect.total.largest) < SMALL:
        return []
    most = effect.total.largest
    if abs(most) > SILENT:
        return [f"the sum {'plays' if most > 0 else 'is silent'}"]
    return [f"the sum changes by up to {wording.decibels(most, sign=True)}, at {wording.hertz(effect.total.frequency)}"]


def _figures_words(before: Sum, after: Sum) -> list[str]:
    """What of the single figures changes."""
    words = []
    if abs(after.uneven - before.uneven) >= SMALL:
        low, high = (wording.hertz(f) for f in LEVEL_BAND)
        strays = f"{wording.decibels(before.uneven)} -> {wording.decibels(after.uneven)}"
        words.append(f"unevenness {strays} rms from {low} to {high}")
    if _moved(before.minus_3, after.minus_3):
        words.append(f"-3 dB point {wording.hertz(before.minus_3)} -> {wording.hertz(after.minus_3)}")
    if _moved(before.lowest_impedance, after.lowest_impedance):
        old, new = wording.ohms(before.lowest_impedance), wording.ohms(after.lowest_impedance)
        words.append(f"lowest impedance {old} -> {new}")
    return words


def _moved(old: float | None, new: float | None) -> bool:
    """Whether a figure changes by more than is worth a word."""
    return old != new if old is None or new is None else abs(new / old - 1) > MOVED
