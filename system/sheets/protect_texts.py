"""The text of `protect`: the verdict, why, the choices, other forms and means, and how many builds it holds for."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from system import wording
from system.candidates import WIRINGS
from system.confidence import Confidence
from system.kit import Kit, Variant
from system.means import Means
from system.protect import Form, Verdict, Word, alike, distinct
from system.shares import Share
from system.sheets.tables import table, wrap
from system.sheets.texts import NOT_A_TEST, VERDICTS, heading
from system.states import Figures

BEST = 8  # choices shown
JUDGED: Mapping[Word, str] = {  # what a form does, by the verdict that there would be if it were all that can be had
    "needed": "cures",
    "helps": "helps",
    "not_needed": "fine",
    "makes_worse": "worse",
    "undecided": "no gain",
}
HELPS = 0.05  # dB of margin, from which more or less volume helps


def protection(kit: Kit, verdicts: Mapping[str, Sequence[Verdict]]) -> str:
    """Per variant: the verdict, why, the choices, where they make it worse, what it rests on, and the other means."""
    lines = wrap(heading(kit), "  ", "")
    for name, each in verdicts.items():
        confidences = {verdict.driver: verdict.confidence for verdict in each}
        for verdict, woofers in alike(each):
            found = {woofer: c for woofer in woofers if (c := confidences[woofer]) is not None}
            lines += ["", *_verdict(kit.variants[name], verdict, woofers, found)]
        if not each:
            lines += ["", f"{name}: no woofers"]
    return "\n".join([*lines, "", *wrap(NOT_A_TEST, "  ", "")])


def _verdict(
    variant: Variant, verdict: Verdict, woofers: Sequence[str], confidences: Mapping[str, Confidence]
) -> list[str]:
    where = verdict.place or "imagined, in series with the woofers: the board has no such place"
    state = {"link": ", linked here", "fit": ", fitted here", "omit": ", left out here"}.get(verdict.state, "")
    lines = [f"{variant.name}, {' and '.join(woofers)}: {VERDICTS[verdict.verdict]}   (place: {where}{state})"]
    lines += wrap(verdict.because, "  ")
    if verdict.link is None:
        return lines
    if verdict.link.margins.decisive is not None:
        lines += [*_limits(verdict), f"  decided by the {verdict.link.margins.decided_by}"]
    lines += _confidence(verdict, confidences)
    for item in verdict.breaks:
        lines += wrap(item.text, "    ", "  ")
    lines += [*_choices(verdict, verdict.link), *_forms(verdict), *_means(verdict)]
    for text in verdict.assumed:
        lines += wrap(f"assumed: {text}", "    ", "  ")
    return lines


def _limits(verdict: Verdict) -> list[str]:
    """Lines of a table: the volts rms at which each limit is reached, and the margin, linked and with the capacitor."""
    states = [figures for figures in (verdict.link, verdict.subject) if figures is not None]
    limits = (
        ("programme to the linear limit", verdict.programme_volts, [f.margins.programme for f in states]),
        ("swept sine to the damage limit", verdict.sine_volts, [f.margins.sine for f in states]),
        ("swept sine to the linear limit", verdict.sine_volts, [f.margins.sine_to_linear for f in states]),
    )
    rows = [
        [label, *(_limit(volts, margin) for margin in margins)]
        for label, volts, margins in limits
        if volts is not None and margins[0] is not None
    ]
    return table(["volts rms, and margin", *(wording.state(f.value) for f in states)], rows, indent="  ")


def _limit(volts: float, margin: float | None) -> str:
    if margin is None:
        return wording.NOTHING
    return f"{wording.volts_down(volts * 10 ** (margin / 20))} ({wording.decibels(margin, sign=True)})"


def _confidence(verdict: Verdict, confidences: Mapping[str, Confidence]) -> list[str]:
    """A table of the share of builds that stay inside: a row a woofer, a column a state of the place."""
    if not confidences:
        return []
    header = ["builds that stay inside", "linked"]
    if verdict.fitted is not None:
        header.append(f"{wording.state(verdict.fitted.value)} (own)")
    if verdict.named is not None:
        header.append(wording.state(verdict.named.value))
    rows = [
        [woofer, *(_share(share) for share in (found.link, found.fitted, found.named) if share is not None)]
        for woofer, found in confidences.items()
    ]
    first = next(iter(confidences.values()))
    text = (
        f"of {first.link.copies} builds, seed {first.seed}, in brackets the 95 % interval: every part within its"
        f" tolerance ({first.law} law), every driver's fs, qts, re and linear limit within its spread; the decisive"
        " margin is at least 0 dB. The damage limit, the box and the filling are not drawn."
    )
    return [*table(header, rows, indent="  "), *wrap(text, "  ")]


def _share(share: Share) -> str:
    low, high = share.interval
    return f"{_percent(share.value)} % ({_percent(low)} to {_percent(high)} %)"


def _percent(share: float) -> str:
    return f"{100 * share:.1f}".removesuffix(".0")


CHOICE_HEADER = (
    "capacitor", "made of", "margin", "sine", "at Hz", "prog.", "-3 dB", "ripple", "max dB", "ohm", "V pk", "A",
    "worse Hz",
)  # fmt: skip


def _choices(verdict: Verdict, link: Figures) -> list[str]:
    """The table of what stock offers for the place, and why some of it is not practicable."""
    best = distinct(verdict.choices)[:BEST]
    shown = [link, *([verdict.fitted] if verdict.fitted else []), *best]
    lines = table(CHOICE_HEADER, [_choice(f, verdict) for f in shown], indent="  ")
    lines += wrap(
        f"the best of {len(verdict.choices)} that stock offers, each more than 10 % from a better one; --json and --csv"
        " have all. Made of uF; margin and ripple in dB; sine and programme excursion in mm, one-way peaks; max dB the"
        " loudest at the listening point before this woofer's limit on the signal or the amplifier's; ohm the lowest"
        " impedance; V and A the capacitor's own on the sine; worse Hz the band in which it moves the cone further than"
        " the link. Above 200 uF a capacitor is judged over its tolerance.",
        "  ",
    )
    if verdict.costs_in_wall:
        lines += wrap(
            "-3 dB and ripple are those of this build in a wall: as placed, a dip from a wall or the floor hides them.",
            "  ",
        )
    return lines + _refusals(shown)


def _choice(figures: Figures, verdict: Verdict) -> list[str]:
    """A row: sine and programme excursion one-way peak, the capacitor's own peak volts and rms amps on the sine."""
    mark = " own" if figures is verdict.fitted else " <-" if figures is verdict.named else ""
    stress = (f"{figures.part_volts_peak:.0f}", f"{figures.part_current:.1f}") if figures.value else ("", "")
    return [
        wording.state(figures.value) + mark,
        _members(figures),
        _signed(figures.margins.decisive),
        f"{figures.peak_excursion * 1e3:.1f}",
        f"{figures.peak_excursion_hz:.0f}",
        _bare(figures.programme_excursion, 1e3),
        _bare(figures.minus_3, digits=0),
        _bare(figures.ripple),
        _bare(figures.maximum_level),
        _bare(figures.lowest_impedance),
        *stress,
        _band(figures),
    ]


def _members(figures: Figures) -> str:
    """`100+120`, in uF; `470+470 ser.` for two in series."""
    if len(figures.made_of) < 2:
        return ""
    series = " ser." if figures.candidate and figures.candidate.how == "series" else ""
    return "+".join(f"{part * 1e6:.4g}" for part in figures.made_of) + series


def _band(figures: Figures) -> str:
    band = figures.worse_band
    return f"{band[0]:.0f}-{band[1]:.0f}" if band else "none" if figures.value else ""


def _refusals(shown: Sequence[Figures]) -> list[str]:
    return [
        line
        for figures in shown
        if figures.refused
        for line in wrap(f"{figures.words} is not practicable: {'; '.join(figures.refused)}", "    ", "  ")
    ]


FORM_HEADER = (
    "other passive forms", "does", "margin", "sine", "prog.", "-3 dB", "ripple", "max dB", "ohm", "W", "worse Hz",
)  # fmt: skip


def _forms(verdict: Verdict) -> list[str]:
    """The table of two in series and of capacitors with a resistor, and why some are not practicable."""
    forms = verdict.forms
    if not forms:
        return []
    lines = table(FORM_HEADER, [_form(form) for form in forms], indent="  ")
    text = "the resistor from stock across the capacitor or in series with it that lets the kit play loudest"
    if any(form.figures.candidate and form.figures.candidate.damping is None for form in forms):
        text += ", and two in series where nothing else is within 10 %"
    lines += wrap(
        f"{text}. Values in uF and ohm. Does: what the verdict would be with nothing else to be had. W the resistor's"
        " heat on the sine at rated volts, then on the programme; a sine does not last.",
        "  ",
    )
    lines += _refusals([form.figures for form in forms])
    cures = [form.figures for form in forms if form.judged == "needed"]
    if cures and verdict.verdict != "needed":  # what is said above is of single capacitors and two in parallel
        lines += wrap(f"what no single capacitor or two in parallel can, {cures[0].words} does: it cures it", "  ")
    return lines


def _form(form: Form) -> list[str]:
    figures = form.figures
    heat = figures.heat
    watts = "" if heat is None else f"{heat.sine:.1f}"
    if heat is not None and heat.programme is not None:
        watts += f"/{heat.programme:.1f}"
    return [
        _form_name(figures),
        JUDGED[form.judged],
        _signed(figures.margins.decisive),
        f"{figures.peak_excursion * 1e3:.1f}",
        _bare(figures.programme_excursion, 1e3),
        _bare(figures.minus_3, digits=0),
        _bare(figures.ripple),
        _bare(figures.maximum_level),
        _bare(figures.lowest_impedance),
        watts,
        _band(figures),
    ]


def _form_name(figures: Figures) -> str:
    """`across: 136, 3.3 ohm`, `two: 470+470 ser.`."""
    damping = figures.candidate.damping if figures.candidate else None
    if damping is None:
        return f"two: {_members(figures)}"
    wiring = "series" if WIRINGS[damping.wiring].in_series else "across"
    return f"{wiring}: {(figures.value or 0.0) * 1e6:.4g}, {damping.value:.3g} ohm"


MEANS_HEADER = ("other means, place linked", "margin", "sine", "prog.", "-3 dB", "ripple", "max dB", "ohm")


def _means(verdict: Verdict) -> list[str]:
    """The table of what else could be done, and in words what each means."""
    costed = [item for item in verdict.other_means if item.figures is not None and item.means in NAMES]
    lines = table(MEANS_HEADER, [_mean(item) for item in costed], indent="  ") if costed else []
    for item in verdict.other_means:
        if item.figures is None or item.means not in NAMES:
            text = item.text
            if item.level is not None:
                text += f"; the signal is then {wording.decibels(item.level)} at the listening point"
            lines += wrap(f"other means: {text}", "    ", "  ")
    if any(item.means == "receiver_high_pass" for item in costed):
        lines += wrap(
            "-3 dB and ripple are with the receiver's high-pass: what it takes away a subwoofer has to play.", "  "
        )
    if any(item.means == "box_volume" for item in costed):
        lines += wrap(_which_volume(verdict, costed), "  ")
    return lines


def _receiver(item: Means) -> str:
    high_pass = item.high_pass
    return f"receiver's high-pass {high_pass.corner:g} Hz, order {high_pass.order}" if high_pass else item.text


def _box(item: Means) -> str:
    return f"box of {(item.volume or 0.0) * 1e3:.3g} L"


NAMES = {"receiver_high_pass": _receiver, "box_volume": _box}


def _mean(item: Means) -> list[str]:
    figures = item.figures
    assert figures is not None
    return [
        NAMES[item.means](item),
        _signed(item.margin),
        f"{figures.peak_excursion * 1e3:.1f}",
        _bare(figures.programme_excursion, 1e3),
        _bare(figures.minus_3, digits=0),
        _bare(figures.ripple),
        _bare(figures.maximum_level),
        _bare(figures.lowest_impedance),
    ]


def _which_volume(verdict: Verdict, costed: Sequence[Means]) -> str:
    """Whether a smaller or a larger box holds the cone better."""
    linked = verdict.link.margins.decisive if verdict.link else None
    volumes = [item for item in costed if item.means == "box_volume" and item.margin is not None]
    kept = "the outside of the cabinet and the tuning of ports are kept"
    if linked is None or not volumes:
        return f"boxes: {kept}"
    best = max(volumes, key=lambda item: item.margin or 0.0)
    gain = (best.margin or 0.0) - linked
    if gain < HELPS:
        return f"boxes: neither more nor less volume helps; {kept}"
    way = "less" if best.volume == min(item.volume or 0.0 for item in volumes) else "more"
    return f"boxes: {way} volume helps, {wording.decibels(gain, sign=True)} of margin at {_box(best)[7:]}; {kept}"


def _bare(value: float | None, factor: float = 1.0, digits: int = 1) -> str:
    return wording.NOTHING if value is None or math.isinf(value) else f"{value * factor:.{digits}f}"


def _signed(value: float | None) -> str:
    return wording.NOTHING if value is None else f"{round(value, 1) + 0.0:+.1f}"  # never -0.0
