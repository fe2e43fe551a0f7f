"""What a variant's figures rest on, and what becomes of them if one of it is a fifth off: worst first.

Every quantity is varied alone, down and up, in the kit as it has been read, and three figures are worked out again: the
margin by which the verdict on the protective high-pass is found (its place linked), the -3 dB point and the level. A
driver's figures are varied as its data sheet has them: one of fs, qts, vas and re with the other three held.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from system import summary, wording
from system.build import Build, build, crossover
from system.findings import Finding
from system.kit import DriverData, FillSpec, Kit, LineChamber, SmallSignal, Variant
from system.limits import COARSE
from system.means import UNCERTAINTY
from system.place import protective_place
from system.predict import PEAK, flows, pressure, reference_band
from system.protect import Verdict
from system.signal import Signal
from system.states import Margins
from system.transfer import Transfer, transfer

OFF = 0.2  # what a quantity is off, as a share of it
AT_LEAST = 0.1  # ohm: a resistance that is taken as none is tried with so much instead
STEP = 2  # of the grid of a programme, every such point: 27 an octave, and what counts here are differences
GRID = summary.GRID[:: COARSE * STEP]
ORIGINS = {"published": "data sheet", "measured": "measured", "derived": "derived", "assumed": "assumed"}


@dataclass(frozen=True, slots=True)
class Figures:
    """`margin` (dB) of the woofer that the verdict goes by, `minus_3` (Hz), `level` (dB); None where there is none."""

    margin: float | None
    minus_3: float | None
    level: float


@dataclass(frozen=True, slots=True, eq=False)
class Quantity:
    """Something that the figures rest on: its name, its value and where it comes from, in words; `path` in the kit.

    `vary` makes the variant with `factor` times as much of it. `moves` says whether anything moves otherwise then, so
    that the acoustics are to be worked out again.
    """

    name: str
    value: str
    origin: str
    path: str
    vary: Callable[[Kit, Variant, float], tuple[Kit, Variant]]
    moves: bool = True
    nothing: bool = False  # its value is zero, of which a share is nothing: only more of it is tried


@dataclass(frozen=True, slots=True)
class Assumption:
    """A quantity of one variant, and the figures with a fifth `less` and a fifth `more` of it."""

    name: str
    value: str
    origin: str
    less: Figures | None
    more: Figures


@dataclass(frozen=True, slots=True)
class RestsOn:
    """The assumptions of a variant, worst first; `woofer` is the one that the margin is told of.

    `others` are what the reader assumed that is no number of these: nothing was varied for them.
    """

    variant: Variant
    woofer: str | None
    base: Figures
    assumptions: tuple[Assumption, ...]
    others: tuple[Finding, ...]


def rests_on(kit: Kit, variant: Variant, verdicts: Sequence[Verdict], acoustics: Transfer | None = None) -> RestsOn:
    """For a variant with its verdicts, and its acoustics at `GRID` where they are at hand.

    Raises KitError where its circuit has no solution.
    """
    woofer = _weakest(verdicts)
    model = build(kit, variant)
    own = acoustics or transfer(model, GRID)
    base = _figures(model, own, woofer)
    found = []
    quantities = [each for source in SOURCES for each in source(kit, variant)]
    for quantity in quantities:

        def at(factor: float, quantity: Quantity = quantity) -> Figures:
            varied = build(*quantity.vary(kit, variant, factor))
            moved = transfer(varied, GRID, own.paths) if quantity.moves else own
            return _figures(varied, moved, woofer)

        less = None if quantity.nothing else at(1 - OFF)
        found.append(Assumption(quantity.name, quantity.value, _origin(kit, quantity), less, at(1 + OFF)))
    assumed = [finding for finding in kit.findings if finding.code == "assumed"]
    return RestsOn(
        variant=variant,
        woofer=woofer,
        base=base,
        assumptions=tuple(sorted(found, key=lambda each: harm(base, each), reverse=True)),
        others=tuple(f for f in assumed if not any(_is_of(f, each) for each in quantities) and _concerns(f, variant)),
    )


def harm(base: Figures, each: Assumption) -> tuple[float, float, float]:
    """What to sort by: how much margin may be lost or gained (dB), how far the -3 dB point moves (octaves), level."""
    tried = [figures for figures in (each.less, each.more) if figures is not None]
    margins = [abs(f.margin - base.margin) for f in tried if f.margin is not None and base.margin is not None]
    octaves = [abs(math.log2(f.minus_3 / base.minus_3)) for f in tried if f.minus_3 and base.minus_3]
    levels = [abs(f.level - base.level) for f in tried]
    return tuple(round(max(each, default=0.0), 3) for each in (margins, octaves, levels))  # type: ignore[return-value]


def crossed(base: Figures, then: Figures) -> str:
    """What a changed margin means for the verdict, in words; nothing where it means the same as before."""
    if base.margin is None or then.margin is None:
        return ""
    before, after = (0 if m < 0 else 1 if m < UNCERTAINTY else 2 for m in (base.margin, then.margin))
    words = ("over its limit", f"inside by less than {UNCERTAINTY:g} dB", f"inside by {UNCERTAINTY:g} dB or more")
    return "" if before == after else words[after]


def _weakest(verdicts: Sequence[Verdict]) -> str | None:
    """The woofer with the least margin, its place linked; None where none has any."""
    margins = [(m, v.driver) for v in verdicts if v.link is not None and (m := v.link.margins.decisive) is not None]
    return min(margins)[1] if margins else None


def _figures(model: Build, acoustics: Transfer, woofer: str | None) -> Figures:
    current = flows(model, acoustics, 2.83).load_current
    level = summary.level(pressure(acoustics, current))
    low = summary.low_end(GRID, level, reference_band(model.variant))
    margin = None if woofer is None else _margin(model, acoustics, woofer)
    return Figures(margin, low.minus_3, low.reference + 20 * math.log10(model.variant.listening.distance))


def _margin(model: Build, acoustics: Transfer, woofer: str) -> float | None:
    """With the protective place linked, as the verdict has it: the signal's excursion against its limit, dB."""
    place = protective_place(model.variant, model.kit.input, woofer)
    linked = replace(place.place, state="link")
    variant = replace(place.variant, places={**place.variant.places, linked.reference: linked})
    bridged = replace(model, variant=variant, network=crossover(model.kit, variant))
    index = model.names.index(woofer)
    moves = PEAK * np.abs(
        np.einsum("fj,fj->f", acoustics.excursion[:, index], flows(bridged, acoustics, 1.0).load_current)
    )
    signal, data = Signal.of(model.kit, model.variant, GRID), model.data[index]
    noise = signal.rms(moves)
    sine = signal.rated * signal.largest(moves)[0]
    programme = None if noise is None else signal.crest / PEAK * signal.full * noise
    return Margins(
        _decibels(data.linear_excursion, programme),
        _decibels(data.damage_excursion, sine),
        _decibels(data.linear_excursion, sine),
    ).decisive


def _decibels(limit: float | None, moved: float | None) -> float | None:
    return 20 * math.log10(limit / moved) if limit and moved else None


def _origin(kit: Kit, quantity: Quantity) -> str:
    assumed = any(f.code == "assumed" and _is_of(f, quantity) for f in kit.findings)
    return "assumed" if assumed else quantity.origin


def _is_of(finding: Finding, quantity: Quantity) -> bool:
    """Whether what the reader assumed there is this quantity, as its words say."""
    path, _, word = quantity.path.rpartition(".")
    return finding.path in (path, quantity.path) and word in f"{finding.found} {finding.allowed}"


def _concerns(finding: Finding, variant: Variant) -> bool:
    section, _, rest = finding.path.partition(".")
    mine = {
        "cabinets": {variant.cabinet.name},
        "drivers": {hookup.driver.name for hookup in variant.hookups.values()},
        "variants": {variant.name},
    }
    return section not in mine or rest.partition(".")[0] in mine[section]


def _drivers(kit: Kit, variant: Variant) -> Iterator[Quantity]:
    """Each driver's figures, as a data sheet prints them."""
    for data in {hookup.driver.name: hookup.driver for hookup in variant.hookups.values()}.values():
        origin, path = ORIGINS[data.origin], f"drivers.{data.name}"
        small = data.small_signal
        if small is not None:
            for name, value in _sheet(kit, small).items():
                yield Quantity(f"{name} of {data.name}", value, origin, f"{path}.{name}", _of_driver(data, name))
        for name in ("linear_excursion", "damage_excursion"):
            limit = getattr(data, name)
            if limit is not None:
                words = f"{name.replace('_', ' ')} of {data.name}"
                yield Quantity(
                    words, wording.millimetres(limit), origin, f"{path}.{name}", _of_driver(data, name), moves=False
                )
        if data.response is not None:
            words, file = f"sound pressure in the table of {data.name}", Path(data.response.table.file).name
            yield Quantity(words, file, origin, f"{path}.response", _of_driver(data, "response"))


def _sheet(kit: Kit, small: SmallSignal) -> dict[str, str]:
    """The figures that are varied, in words."""
    omega = 1 / math.sqrt(small.mms * small.cms)
    vas = kit.air.density * kit.air.speed_of_sound**2 * small.sd**2 * small.cms
    qts = omega * small.mms / (small.rms + small.bl**2 / small.re)
    return {
        "fs": f"{omega / (2 * math.pi):.1f} Hz",
        "qts": f"{qts:.2f}",
        "vas": f"{vas * 1e3:.1f} L",
        "re": wording.ohms(small.re),
    }


# With one of fs, qts, vas (as compliance) and re times x, the others and sd held: what bl, mms, cms, rms are multiplied
# by, as powers of x. From omega_s^2 = 1/(mms cms), qes = omega_s mms re/bl^2, qms = omega_s mms/rms (Small 1972).
POWERS: dict[str, dict[str, float]] = {
    "fs": {"mms": -2, "rms": -1, "bl": -0.5},
    "qts": {"rms": -1, "bl": -0.5},
    "vas": {"cms": 1, "mms": -1, "rms": -1, "bl": -0.5},
    "re": {"re": 1, "bl": 0.5},
}


def _of_driver(data: DriverData, name: str) -> Callable[[Kit, Variant, float], tuple[Kit, Variant]]:
    def vary(kit: Kit, variant: Variant, factor: float) -> tuple[Kit, Variant]:
        changed = _varied_driver(data, name, factor)
        hookups = {
            hookup: replace(each, driver=changed) if each.driver.name == data.name else each
            for hookup, each in variant.hookups.items()
        }
        return kit, replace(variant, hookups=hookups)

    return vary


def _varied_driver(data: DriverData, name: str, factor: float) -> DriverData:
    if name in POWERS and data.small_signal is not None:
        powers = POWERS[name]
        changes = {key: getattr(data.small_signal, key) * factor**power for key, power in powers.items()}
        re = data.re * factor ** powers.get("re", 0)
        return replace(data, re=re, small_signal=replace(data.small_signal, **changes))
    if name == "response" and data.response is not None:  # as much pressure for fewer volts
        return replace(data, response=replace(data.response, volts=data.response.volts / factor))
    return replace(data, **{name: getattr(data, name) * factor})


def _chambers(kit: Kit, variant: Variant) -> Iterator[Quantity]:
    """Volumes, losses and fillings."""
    for number, chamber in enumerate(variant.cabinet.chambers):
        path = f"cabinets.{variant.cabinet.name}.chambers.{number}"
        whose = f" of {wording.listed(chamber.drivers)}" if len(variant.cabinet.chambers) > 1 else ""
        if isinstance(chamber, LineChamber):
            if any(section.fill for section in chamber.profile):
                words = f"density of the filling in the line{whose}"
                yield Quantity(words, _densities(chamber.fills), "kit file", f"{path}.density", _of_line(number))
            continue
        names = {each.name for each in fields(chamber)}
        yield Quantity(
            f"volume of the box{whose}", f"{chamber.volume * 1e3:.1f} L", "kit file", f"{path}.volume",
            _of_chamber(number, "volume"),
        )  # fmt: skip
        for loss in ("leak", "absorption", "port"):
            if loss in names and math.isfinite(q := getattr(chamber, loss)):
                words = f"Q of the box's losses{whose}, {loss}"
                yield Quantity(words, f"{q:g}", "kit file", f"{path}.{loss}", _of_chamber(number, loss))
        if chamber.fill is not None:
            words = f"density of the filling{whose}"
            yield Quantity(words, _densities([chamber.fill]), "kit file", f"{path}.fill", _of_chamber(number, "fill"))


def _densities(fills: Sequence[FillSpec | None]) -> str:
    known = dict.fromkeys(fill for fill in fills if fill is not None)
    return ", ".join(
        f"{fill.fibre_density:.3g} kg/m3" if fill.fibre_density else f"{fill.flow_resistivity:.3g} Pa s/m2"
        for fill in known
    )


def _denser(fill: FillSpec | None, factor: float) -> FillSpec | None:
    """With its flow resistivity in proportion to the density of the fibre, the kit's spread about that aside."""
    if fill is None:
        return None
    density = fill.fibre_density * factor if fill.fibre_density is not None else None
    return replace(fill, flow_resistivity=fill.flow_resistivity * factor, fibre_density=density)


def _in_chamber(variant: Variant, number: int, changes: dict[str, Any]) -> Variant:
    chambers = list(variant.cabinet.chambers)
    chambers[number] = replace(chambers[number], **changes)
    return replace(variant, cabinet=replace(variant.cabinet, chambers=tuple(chambers)))


def _of_chamber(number: int, name: str) -> Callable[[Kit, Variant, float], tuple[Kit, Variant]]:
    def vary(kit: Kit, variant: Variant, factor: float) -> tuple[Kit, Variant]:
        old = getattr(variant.cabinet.chambers[number], name)
        new = _denser(old, factor) if name == "fill" else old * factor
        return kit, _in_chamber(variant, number, {name: new})

    return vary


def _of_line(number: int) -> Callable[[Kit, Variant, float], tuple[Kit, Variant]]:
    def vary(kit: Kit, variant: Variant, factor: float) -> tuple[Kit, Variant]:
        chamber = variant.cabinet.chambers[number]
        assert isinstance(chamber, LineChamber)
        profile = tuple(replace(each, fill=_denser(each.fill, factor)) for each in chamber.profile)
        return kit, _in_chamber(variant, number, {"profile": profile})

    return vary


def _electrical(kit: Kit, variant: Variant) -> Iterator[Quantity]:
    """The signal and the amplifier."""
    if kit.programme.spectrum != "sine":
        value = f"{20 * math.log10(kit.programme.crest_factor):.3g} dB"

        def crest(kit: Kit, variant: Variant, factor: float) -> tuple[Kit, Variant]:
            signal = kit.programme
            return replace(kit, programme=replace(signal, crest_factor=signal.crest_factor * factor)), variant

        yield Quantity(
            "peak over rms of the programme", value, "kit file", "programme.crest_factor", crest, moves=False
        )
    yield _of_amplifier(kit, "power", f"{kit.amplifier.power:g} W", "power of the amplifier")
    for name, words in (("output_resistance", "output resistance of the amplifier"), ("cable", "cable, both ways")):
        value = getattr(kit.amplifier, name)
        yield _of_amplifier(kit, name, f"{value:.2g} ohm", words)


def _of_amplifier(kit: Kit, name: str, value: str, words: str) -> Quantity:
    old = getattr(kit.amplifier, name)

    def vary(kit: Kit, variant: Variant, factor: float) -> tuple[Kit, Variant]:
        changes: dict[str, Any] = {name: old * factor if old else AT_LEAST}
        return replace(kit, amplifier=replace(kit.amplifier, **changes)), variant

    return Quantity(words, value, "kit file", f"amplifier.{name}", vary, moves=False, nothing=not old)


SOURCES: tuple[Callable[[Kit, Variant], Iterator[Quantity]], ...] = (_drivers, _chambers, _electrical)
