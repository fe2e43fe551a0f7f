"""What else could be done for a woofer than a capacitor, what each costs, and what a good verdict does not survive.

The receiver's high-pass, a lower volume setting, more or less volume of air behind the cone: all with the place linked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from enclosures.tuning import port_mass, tuned_port_length
from system import wording
from system.kit import Chamber, HighPass, Kit, PortSpec, SealedChamber, Variant, VentedChamber
from system.signal import Signal
from system.states import Figures, Margins, States
from system.view import View

CORNERS = (60.0, 80.0, 100.0, 120.0)  # Hz, of receivers' high-passes; common practice, no source
ORDER = 2
VOLUMES = (0.8, 1.25, 1.5)  # of the box
UNCERTAINTY = 1.5  # dB, the model's own
STRESSES: tuple[tuple[str, Mapping[str, Any]], ...] = (  # what a `not_needed` is tried with once more
    ("pink noise", {"spectrum": "pink", "table": None}),
    ("bass-heavy programme", {"spectrum": "bass_heavy", "table": None}),
    ("a crest factor of 6 dB", {"crest_factor": 10 ** (6 / 20)}),
)


@dataclass(frozen=True, slots=True)
class Means:
    """Another way out, or a way in which a verdict breaks: in words, with its margin (dB) and volts (rms) if any.

    `figures` are those of the linked place with it, which is what it costs; `level` (dB) is that of the signal at a
    lower volume setting; `high_pass` and `volume` (m3) say which.
    """

    means: str
    text: str
    margin: float | None = None
    volts: float | None = None
    figures: Figures | None = None
    level: float | None = None
    high_pass: HighPass | None = None
    volume: float | None = None


def signal_of(states: States, variant: Variant, **changed: Any) -> Signal:
    """The kit's signal behind the variant's high-pass at the frequencies of `states`, its programme `changed`."""
    kit = replace(states.kit, programme=replace(states.kit.programme, **changed))
    return Signal.of(kit, variant, states.frequency)


def breaks(states: States, woofer: str, variant: Variant) -> Iterator[Means]:
    """What a `not_needed` does not survive: other programmes, a lower crest factor, the receiver's high-pass off."""
    tries = [(label, signal_of(states, variant, **change)) for label, change in STRESSES]
    if variant.receiver_high_pass is not None:
        off = replace(variant, receiver_high_pass=None)
        tries.append(("the receiver's high-pass off", signal_of(states, off)))
    for label, signal in tries:
        margins = View.of(states, woofer, signal).linked().margins
        margin = margins.decisive
        if margin is not None and margin < UNCERTAINTY:
            volts = _limit_volts(signal, margins, margin)
            limit = f"its limit is reached at {wording.drive(volts, states.kit.amplifier.load)} of {margins.decided_by}"
            yield Means(label, f"not if {label}: margin {wording.decibels(margin, sign=True)}, {limit}", margin, volts)


def _limit_volts(signal: Signal, margins: Margins, margin: float) -> float:
    """Volts rms at the amplifier, of the signal that decides, at which its margin is used up."""
    volts = signal.full if margins.decided_by == "programme" else signal.rated
    return float(volts * 10 ** (margin / 20))


def other_means(states: States, woofer: str, variant: Variant, link: Figures) -> Iterator[Means]:
    """The receiver's high-pass and a lower volume setting, with what each does while the place is linked."""
    in_use = variant.receiver_high_pass
    for high_pass in (in_use,) if in_use else [HighPass(corner, ORDER) for corner in CORNERS]:
        behind = View.of(states, woofer, signal_of(states, replace(variant, receiver_high_pass=high_pass)))
        figures = behind.linked(heard=True)
        setting = f"{high_pass.corner:g} Hz, order {high_pass.order}, {'in use here' if in_use else 'if it has one'}"
        yield Means(
            "receiver_high_pass",
            f"the receiver's high-pass ({setting}): {_gives(figures)} with the place linked",
            figures.margins.decisive,
            figures=figures,
            high_pass=high_pass,
        )
    yield _lower_setting(states.kit, signal_of(states, variant), link)


def _gives(figures: Figures) -> str:
    margin = figures.margins.decisive
    return "what it gives cannot be told" if margin is None else f"margin {wording.decibels(margin, sign=True)}"


def _lower_setting(kit: Kit, signal: Signal, link: Figures) -> Means:
    margin, at_most, volts, level = link.margins.decisive, "", None, None
    if margin is not None and link.full_level is not None:
        volts = _limit_volts(signal, link.margins, margin)
        at_most = f": at most {wording.drive(volts, kit.amplifier.load)} of {link.margins.decided_by}"
        level = link.full_level + min(0.0, margin)
    return Means(
        "lower_volume",
        f"a lower volume setting that is kept{at_most}; the amplifier stays, since clipping burns tweeters",
        None if margin is None else 0.0,
        volts,
        figures=link,
        level=level,
    )


def other_volumes(states: States, woofer: str, variant: Variant) -> Iterator[Means]:
    """The woofer's box with less and more air in it, the outside and every port's tuning kept, the place linked."""
    chambers = states.place.variant.cabinet.chambers
    here = next((i for i, chamber in enumerate(chambers) if woofer in chamber.drivers), None)
    if here is None:
        return
    chamber = chambers[here]
    scaled = SCALED.get(type(chamber))
    if scaled is None or not isinstance(chamber, SealedChamber | VentedChamber):
        yield Means("box_volume", "more or less volume: told of sealed and vented boxes only, not of this one")
        return
    for factor in VOLUMES:
        litres = chamber.volume * factor * 1e3
        name = f"the box at {factor:g} times its volume ({litres:.3g} L)"
        try:
            other = scaled(chamber, factor, states)
        except ValueError as error:
            yield Means("box_volume", f"{name}: {error}", volume=chamber.volume * factor)
            continue
        changed = _with_chamber(states, here, other)
        figures = View.of(changed, woofer, signal_of(states, variant)).linked()
        margin = figures.margins.decisive
        yield Means("box_volume", f"{name}: {_gives(figures)}", margin, figures=figures, volume=other.volume)


def _with_chamber(states: States, index: int, chamber: Chamber) -> States:
    place, cabinet = states.place, states.place.variant.cabinet
    chambers = (*cabinet.chambers[:index], chamber, *cabinet.chambers[index + 1 :])
    variant = replace(place.variant, cabinet=replace(cabinet, chambers=chambers))
    return States.of(states.kit, replace(place, variant=variant), states)


def _sealed(chamber: SealedChamber, factor: float, _states: States) -> SealedChamber:
    return replace(chamber, volume=chamber.volume * factor)


def _vented(chamber: VentedChamber, factor: float, states: States) -> VentedChamber:
    """The tuning stays where volume times 1/mass of the ports does: every port's mass goes with 1/volume.

    Raises ValueError where a port would have to be shorter than nothing.
    """
    air = states.model.air
    tuned = None
    if chamber.tuning is not None:
        tuned = tuned_port_length(chamber.volume, chamber.tuning, chamber.ports, air)

    def scaled(port: PortSpec) -> PortSpec:
        length = port.length if port.length is not None else tuned
        assert length is not None
        mass = port_mass(port, length, air) / factor
        other = (mass - port_mass(port, 0.0, air)) * port.area / air.density
        if other < 0:
            raise ValueError("a port would have to be shorter than nothing to keep the tuning")
        return replace(port, length=other)

    ports = tuple(scaled(port) for port in chamber.ports)
    return replace(chamber, volume=chamber.volume * factor, ports=ports, tuning=None)


SCALED: Mapping[type[Chamber], Callable[..., SealedChamber | VentedChamber]] = {
    SealedChamber: _sealed,
    VentedChamber: _vented,
}
