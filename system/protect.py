"""Does a woofer need a protective high-pass? The verdict, what it rests on, and the other means."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from system import wording
from system.kit import DriverData, HighPass, Kit, Programme, Variant
from system.place import protective_place
from system.states import Figures, Floats, Margins, States, programme_volts

Word = Literal["needed", "helps", "not_needed", "makes_worse", "undecided"]

UNCERTAINTY = 1.5  # dB, the model's own
BETTER = 1.0  # dB a choice must gain to be worth naming
WORSE = 0.5  # dB a choice may lose
STRESSES: tuple[tuple[str, Mapping[str, Any]], ...] = (  # what a `not_needed` is tried with once more
    ("pink noise", {"spectrum": "pink", "table": None}),
    ("bass-heavy programme", {"spectrum": "bass_heavy", "table": None}),
    ("a crest factor of 6 dB", {"crest_factor": 10 ** (6 / 20)}),
)
OTHER_HIGH_PASS = HighPass(80.0, 2)  # the receiver's, tried as another means where the variant has none


@dataclass(frozen=True, slots=True)
class Means:
    """Another way out, or a way in which a verdict breaks: in words, with its margin (dB) and volts (rms) if any."""

    means: str
    text: str
    margin: float | None = None
    volts: float | None = None


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
    linear_limit: float | None
    damage_limit: float | None
    sine_volts: float
    programme_volts: float | None
    frequency: Floats
    curves: Mapping[str, Floats]

    @property
    def worse_band(self) -> tuple[float, float] | None:
        """The band (Hz) in which the subject raises excursion."""
        return self.subject.worse_band if self.subject else None


def protect(kit: Kit, variant: Variant) -> tuple[Verdict, ...]:
    """A verdict for each woofer of `variant`, in hookup order.

    Raises KitError where the circuit has no solution.
    """
    swept: dict[tuple[str, tuple[str, ...]], States] = {}  # one sweep serves all woofers behind a place
    verdicts = []
    for name, hookup in variant.hookups.items():
        if hookup.driver.role != "woofer":
            continue
        if hookup.driver.small_signal is None:
            verdicts.append(_unknowable(kit, variant, name))
        else:
            place = protective_place(variant, kit.input, name)
            key = (place.place.reference, place.woofers)
            if key not in swept:
                with kit.blaming("circuit_unsolvable", f"variants.{variant.name}"):
                    swept[key] = States.of(kit, place)
            verdicts.append(_verdict(kit, variant, swept[key], name))
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
        programme_volts=programme_volts(kit, kit.programme),
        frequency=np.empty(0),
        curves={},
    )


def _verdict(kit: Kit, variant: Variant, states: States, woofer: str) -> Verdict:
    receiver, data = variant.receiver_high_pass, variant.hookups[woofer].driver
    link, *rest = states.figures(woofer, kit.programme, receiver)
    fitted = rest.pop(0) if states.place.own else None
    choices = tuple(sorted(rest, key=lambda f: (bool(f.refused), -(f.margins.decisive or 0.0))))
    known = data.linear_excursion is not None and data.origin != "assumed"
    word, named = decide(link, choices) if known else ("undecided", None)
    subject = named or fitted or next(iter(choices), None)
    shown = [figures for figures in (link, fitted, subject) if figures is not None]
    return Verdict(
        variant=variant.name,
        driver=woofer,
        place=states.place.place.reference if states.place.own else None,
        state=states.place.state,
        verdict=word,
        because=_because(word, link, named, choices, data, states.in_wall) if known else _unknown(data),
        link=link,
        fitted=fitted,
        choices=choices,
        named=named,
        subject=subject,
        assumed=_assumed(kit, variant, data),
        costs_in_wall=states.in_wall,
        other_means=_other_means(states, woofer, link, receiver),
        breaks=_breaks(states, woofer, receiver) if word == "not_needed" else (),
        linear_limit=data.linear_excursion,
        damage_limit=data.damage_excursion,
        sine_volts=kit.amplifier.rated_volts,
        programme_volts=programme_volts(kit, kit.programme),
        frequency=states.frequency[states.swept],
        curves={wording.state(f.value): states.excursion(woofer, f, receiver) for f in shown},
    )


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


def _breaks(states: States, woofer: str, receiver: HighPass | None) -> tuple[Means, ...]:
    """What a `not_needed` does not survive: other programmes, a lower crest factor, the receiver's high-pass off."""
    signal = states.kit.programme
    tries = [(label, replace(signal, **change), receiver) for label, change in STRESSES]
    if receiver is not None:
        tries.append(("the receiver's high-pass off", signal, None))
    result = []
    for label, stress, high_pass in tries:
        margins = states.figures(woofer, stress, high_pass, linked_only=True)[0].margins
        margin = margins.decisive
        if margin is not None and margin < UNCERTAINTY:
            volts = _limit_volts(states.kit, stress, margins, margin)
            limit = f"its limit is reached at {wording.drive(volts, states.kit.amplifier.load)} of {margins.decided_by}"
            result.append(Means(label, f"not if {label}: margin {margin:+.1f} dB, {limit}", margin, volts))
    return tuple(result)


def _limit_volts(kit: Kit, signal: Programme, margins: Margins, margin: float) -> float:
    """Volts rms at the amplifier, of the signal that decides, at which its margin is used up."""
    rms = programme_volts(kit, signal)
    volts = rms if rms is not None and margins.decided_by == "programme" else kit.amplifier.rated_volts
    return float(volts * 10 ** (margin / 20))


def _other_means(states: States, woofer: str, link: Figures, receiver: HighPass | None) -> tuple[Means, ...]:
    """The receiver's high-pass and a lower volume setting, with what each does while the place is linked."""
    kit = states.kit
    high_pass = receiver or OTHER_HIGH_PASS
    behind = states.figures(woofer, kit.programme, high_pass, linked_only=True)[0].margins.decisive
    setting = f"{high_pass.corner:g} Hz, order {high_pass.order}, {'in use here' if receiver else 'if it has one'}"
    gives = f"margin {behind:+.1f} dB with the place linked" if behind is not None else "what it gives cannot be told"
    margin, at_most, volts = link.margins.decisive, "", None
    if margin is not None:
        volts = _limit_volts(kit, kit.programme, link.margins, margin)
        at_most = f": at most {wording.drive(volts, kit.amplifier.load)} of {link.margins.decided_by}"
    lower = f"a lower volume setting that is kept{at_most}; the amplifier stays, since clipping burns tweeters"
    return (
        Means("receiver_high_pass", f"the receiver's high-pass ({setting}): {gives}", behind),
        Means("lower_volume", lower, None if margin is None else 0.0, volts),
    )


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
