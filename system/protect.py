"""Does a woofer need a protective high-pass? The verdict, what it rests on, and the other means."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from system import wording
from system.candidates import alike as alike_values
from system.confidence import BUILDS, Confidence, Drawn
from system.forms import best_of_each, other_forms
from system.kit import DriverData, Kit, Variant
from system.means import UNCERTAINTY, Means, breaks, other_means, other_volumes
from system.place import ProtectivePlace, protective_place
from system.predict import PEAK
from system.signal import Signal
from system.states import Figures, Floats, Margins, States
from system.view import View

__all__ = [
    "UNCERTAINTY",
    "Closely",
    "Form",
    "Means",
    "Verdict",
    "Word",
    "alike",
    "decide",
    "distinct",
    "programme_volts",
    "protect",
]

Word = Literal["needed", "helps", "not_needed", "makes_worse", "undecided"]

BETTER = 1.0  # dB a choice must gain to be worth naming
WORSE = 0.5  # dB a choice may lose
DRAWN = 6  # states of the place whose excursion is kept as a curve


@dataclass(frozen=True, slots=True)
class Closely:
    """To be looked at closely, which takes longer: other passive forms, other volumes, and how many builds stay inside.

    `builds` copies are drawn from `seed`.
    """

    seed: int = 0
    builds: int = BUILDS


@dataclass(frozen=True, slots=True, eq=False)
class Form:
    """Another passive form of the high-pass, and the verdict that there would be if it were all that can be had."""

    figures: Figures
    judged: Word


@dataclass(frozen=True, slots=True, eq=False)
class Verdict:
    """The verdict for one woofer of one variant, with all that it rests on. `choices` are ranked, best first.

    `curves` are one-way peak excursions (F,) in m of the swept sine at `sine_volts`, by state of the place, at
    `frequency`.
    """

    variant: str
    driver: str
    place: str | None  # reference on the board; None for an imagined place
    state: str  # of the place in this variant: fit, link, omit; none for an imagined place
    verdict: Word
    because: str
    link: Figures | None  # None for a woofer whose motion is not known
    fitted: Figures | None  # the kit's own capacitor, where there is a place
    choices: tuple[Figures, ...]
    named: Figures | None
    subject: Figures | None  # the capacitor that is talked about: the named one, else the kit's own, else the best
    assumed: tuple[str, ...]
    costs_in_wall: bool  # -3 dB points and ripple are those in a wall, since a dip hides the bass as placed
    other_means: tuple[Means, ...]
    breaks: tuple[Means, ...]
    linear_limit: float | None  # m
    damage_limit: float | None  # m
    sine_volts: float
    programme_volts: float | None  # V rms; None where a sine is the signal
    frequency: Floats
    curves: Mapping[str, Floats]
    forms: tuple[Form, ...] = ()  # only where it was looked at closely, as `confidence`
    confidence: Confidence | None = None  # None too without a linear limit

    @property
    def worse_band(self) -> tuple[float, float] | None:
        """The band (Hz) in which the subject raises excursion."""
        return self.subject.worse_band if self.subject else None


def protect(kit: Kit, variant: Variant, closely: Closely | None = None) -> tuple[Verdict, ...]:
    """A verdict for each woofer of `variant`, in hookup order.

    Raises KitError where the circuit has no solution.
    """
    looked: dict[tuple[str, tuple[str, ...]], _Looked] = {}  # one serves all woofers behind a place
    verdicts = []
    for name, hookup in variant.hookups.items():
        if hookup.driver.role != "woofer":
            continue
        if hookup.driver.small_signal is None:
            verdicts.append(_unknowable(kit, variant, name))
        else:
            place = protective_place(variant, kit.input, name)
            key = (place.place.reference, place.woofers)
            with kit.blaming("circuit_unsolvable", f"variants.{variant.name}"):
                if key not in looked:
                    looked[key] = _Looked.of(kit, variant, place, closely)
                verdicts.append(looked[key].verdict(name))
    return tuple(verdicts)


def alike(verdicts: Iterable[Verdict]) -> list[tuple[Verdict, list[str]]]:
    """The verdicts that differ, each with the names of the woofers for whom it reads the same."""
    groups: dict[str, tuple[Verdict, list[str]]] = {}
    for verdict in verdicts:
        groups.setdefault(f"{verdict.verdict}: {verdict.because}", (verdict, []))[1].append(verdict.driver)
    return list(groups.values())


def _unknowable(kit: Kit, variant: Variant, woofer: str) -> Verdict:
    """The verdict on a woofer that is known by its tables only, so that nothing tells how far it moves."""
    place = protective_place(variant, kit.input, woofer)
    data = variant.hookups[woofer].driver
    return Verdict(
        variant=variant.name,
        driver=woofer,
        place=place.place.reference if place.own else None,
        state=place.state,
        verdict="undecided",
        because=f"driver {data.name} is known by its tables only, which do not tell its excursion",
        link=None,
        fitted=None,
        choices=(),
        named=None,
        subject=None,
        assumed=_assumed(kit, variant, data),
        costs_in_wall=False,
        other_means=(),
        breaks=(),
        linear_limit=data.linear_excursion,
        damage_limit=data.damage_excursion,
        sine_volts=kit.amplifier.rated_volts,
        programme_volts=programme_volts(kit),
        frequency=np.empty(0),
        curves={},
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Looked:
    """A place with what all woofers behind it share; `drawn` where it is looked at closely."""

    states: States
    variant: Variant
    signal: Signal
    drawn: Drawn | None
    judged: list[tuple[View, Verdict]]

    @classmethod
    def of(cls, kit: Kit, variant: Variant, place: ProtectivePlace, closely: Closely | None) -> _Looked:
        states = States.of(kit, place)
        drawn = Drawn.of(states, variant, closely.seed, closely.builds) if closely else None
        return cls(states, variant, Signal.of(kit, variant, states.frequency), drawn, [])

    def verdict(self, woofer: str) -> Verdict:
        """Of woofers that move alike the first speaks for all, but for the confidence: copies are drawn apart."""
        view = View.of(self.states, woofer, self.signal)
        for other, verdict in self.judged:
            if view.like(other):
                confidence = self.confidence(woofer, verdict.fitted, verdict.named)
                return replace(verdict, driver=woofer, confidence=confidence)
        verdict = _verdict(self, view, woofer)
        self.judged.append((view, verdict))
        return verdict

    def confidence(self, woofer: str, fitted: Figures | None, named: Figures | None) -> Confidence | None:
        limit = self.variant.hookups[woofer].driver.linear_excursion
        return None if self.drawn is None or limit is None else self.drawn.confidence(woofer, fitted, named)


def _verdict(looked: _Looked, view: View, woofer: str) -> Verdict:
    states, variant = looked.states, looked.variant
    kit, data = states.kit, variant.hookups[woofer].driver
    link, rest = view.linked(), view.figures(states.candidates)
    fitted = rest.pop(0) if states.place.own else None
    choices = tuple(sorted(rest, key=_rank))
    known = data.linear_excursion is not None and data.origin != "assumed"
    word, named = decide(link, choices) if known else ("undecided", None)
    subject = named or fitted or next(iter(choices), None)
    means = [*other_means(states, woofer, variant, link)]
    shown = [link, fitted, subject]
    forms: tuple[Form, ...] = ()
    if looked.drawn is not None:
        means += other_volumes(states, woofer, variant)
        # what nothing needs is tried with what is there only
        offered = (fitted,) if word == "not_needed" and fitted else (named, fitted, *choices)
        found = other_forms(view, offered)
        forms = tuple(Form(f, decide(link, [f])[0] if known else "undecided") for f in found)
        shown += [*distinct(choices)[:2], *best_of_each(found)]
    return Verdict(
        variant=variant.name,
        driver=woofer,
        place=states.place.place.reference if states.place.own else None,
        state=states.place.state,
        verdict=word,
        because=_because(word, link, named, choices, data, states.ear.in_wall) if known else _unknown(data),
        link=link,
        fitted=fitted,
        choices=choices,
        named=named,
        subject=subject,
        assumed=_assumed(kit, variant, data),
        costs_in_wall=states.ear.in_wall,
        other_means=tuple(means),
        breaks=tuple(breaks(states, woofer, variant)) if word == "not_needed" else (),
        linear_limit=data.linear_excursion,
        damage_limit=data.damage_excursion,
        sine_volts=kit.amplifier.rated_volts,
        programme_volts=programme_volts(kit),
        frequency=states.frequency[states.swept],
        curves=_curves(view, shown),
        forms=forms,
        confidence=looked.confidence(woofer, fitted, named),
    )


def programme_volts(kit: Kit) -> float | None:
    """Programme rms voltage with its peaks at the clipping point, sqrt(2) V_rated / crest; None for a sine."""
    signal = kit.programme
    return None if signal.spectrum == "sine" else PEAK * kit.amplifier.rated_volts / signal.crest_factor


def _rank(figures: Figures) -> tuple[bool, float, int, tuple[float, ...]]:
    """Practicable first, then by margin; of those that are one to a nanodecibel, the fewest parts."""
    margin = round(figures.margins.decisive or 0.0, 9)
    return bool(figures.refused), -margin, len(figures.made_of), figures.made_of


def distinct(choices: Iterable[Figures]) -> list[Figures]:
    """The choices that are not alike any better one."""
    kept: list[Figures] = []
    for figures in choices:
        value = figures.value or 0.0
        if not any(alike_values(value, other.value or 1.0) for other in kept):
            kept.append(figures)
    return kept


def _curves(view: View, shown: Iterable[Figures | None]) -> dict[str, Floats]:
    """The first few, by their short names."""
    states = {figures.short: figures for figures in reversed([f for f in shown if f is not None])}
    names = list(dict.fromkeys(figures.short for figures in shown if figures is not None))
    return {name: view.curve(states[name]) for name in names[:DRAWN]}


def decide(link: Figures, choices: Sequence[Figures]) -> tuple[Word, Figures | None]:
    """The verdict's rules, in order, and the choice that it names."""
    linked = link.margins.decisive
    if linked is None:
        return "undecided", None
    if linked >= UNCERTAINTY:
        return "not_needed", None
    margins = [(m, c) for c in choices if (m := c.margins.decisive) is not None]
    better = [(m, c) for m, c in margins if not c.refused and m >= linked + BETTER]
    cures = [(m, c) for m, c in better if m >= 0]
    if linked < 0 and cures:
        return "needed", _best(cures)
    if margins and all(m < linked - WORSE for m, _ in margins):
        return "makes_worse", None
    helpers = [(m, c) for m, c in better if not _lowers_either(link.margins, c.margins)]
    if helpers:
        return "helps", _best(helpers)
    return "undecided", None


def _best(pairs: Sequence[tuple[float, Figures]]) -> Figures:
    return max(pairs, key=lambda pair: pair[0])[1]


def _lowers_either(link: Margins, choice: Margins) -> bool:
    pairs = ((link.programme, choice.programme), (link.sine, choice.sine))
    return any(a is not None and b is not None and b < a - WORSE for a, b in pairs)


def _assumed(kit: Kit, variant: Variant, data: DriverData) -> tuple[str, ...]:
    """The assumptions of the kit file that this verdict rests on: those of its cabinet, driver, programme and air.

    Not those of heat, which is no part of it.
    """
    heat = f"drivers.{data.name}.thermal"
    mine = (f"cabinets.{variant.cabinet.name}.", f"drivers.{data.name}.", "programme.", "air.")
    assumed = [f for f in kit.findings if f.code == "assumed" and f.path != heat]
    return tuple(dict.fromkeys(f.message or f.found for f in assumed if f"{f.path}.".startswith(mine)))


def _because(
    word: Word,
    link: Figures,
    named: Figures | None,
    choices: Sequence[Figures],
    data: DriverData,
    in_wall: bool,
) -> str:
    """One sentence: the figures that decided, and what the named choice does about them."""
    text = f"linked: {_figures_text(link, data)}"
    if named is not None:
        where = " in a wall" if in_wall else ""
        cost = f"-3 dB point{where} {wording.hertz(link.minus_3)} -> {wording.hertz(named.minus_3)}"
        if band := named.worse_band:
            cost += f", moves the cone further from {band[0]:.0f} to {band[1]:.0f} Hz"
        text += f"; {wording.group(named.value, named.made_of)}: {_figures_text(named, data)}, {cost}"
    elif word == "undecided" and not choices:
        text += "; stock offers no capacitor for this place"
    elif word == "makes_worse":
        text += "; every capacitor from this stock lowers the margin"
    elif word == "undecided":
        text += "; no practicable capacitor from this stock gains 1 dB without a loss elsewhere"
    margin = link.margins.decisive
    if word in ("makes_worse", "undecided") and margin is not None and margin < 0:
        text += "; over its limit, and no capacitor from this stock cures it"
    return text


def _figures_text(figures: Figures, data: DriverData) -> str:
    """`programme 4.9 mm of 4.0 mm linear (-1.8 dB), sine 7.1 mm at 45 Hz of 8.0 mm damage (+1.0 dB)`."""
    margins = figures.margins
    linear, damage = wording.millimetres(data.linear_excursion), wording.millimetres(data.damage_excursion)
    sine = f"sine {wording.millimetres(figures.peak_excursion)} at {wording.hertz(figures.peak_excursion_hz)}"
    parts = []
    if margins.programme is not None:
        programme = f"programme {wording.millimetres(figures.programme_excursion)}"
        parts.append(f"{programme} of {linear} linear ({wording.decibels(margins.programme, sign=True)})")
    if margins.sine is not None:
        parts.append(f"{sine} of {damage} damage ({wording.decibels(margins.sine, sign=True)})")
    elif margins.programme is not None:
        parts.append("on programme only, since no damage limit is given")
    else:
        parts.append(f"{sine} of {linear} linear ({wording.decibels(margins.sine_to_linear, sign=True)})")
    return ", ".join(parts)


def _unknown(data: DriverData) -> str:
    if data.linear_excursion is None:
        return f"driver {data.name} has no linear_excursion, so there is nothing to hold its motion against"
    return f"the limits of driver {data.name} are only assumed (origin: assumed)"
