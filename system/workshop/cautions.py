"""The register of cautions: each rule looks at one build and says what it triggers, and where that is shown.

Figures are those of the variant: what a link in the wrong place does, how hot a resistor gets, how loud it plays. Where
mains, structure or fire are concerned, local rules and licensed practice come before anything said here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from system import wording
from system.heat import CHART_SPREAD
from system.kit import Kit, SealedChamber, Variant
from system.workshop.cautionmodel import (
    ALWAYS,
    DAMAGE,
    DISCHARGE,
    INJURY,
    MIND,
    WHERE,
    Caution,
    Known,
    Linked,
    Told,
    Where,
)
from system.workshop.runup import START

__all__ = ["RULES", "WHERE", "Caution", "Known", "Where", "cautions"]

MOST_ON_TOP = 3
CELL = 1.5  # V, of the battery that tells the way round
BURNS = 333.0  # K: 60 degC, from which a short touch may burn (ISO 13732-1, about, from memory)
WARM_WATTS = 1.0  # W, from which a resistor of which no temperature is stated is called hot; common practice, no source
SHOCK = 60.0  # V dc that are safe to touch (IEC 62368-1, class ES1, from memory)
TIPS = math.radians(10.0)  # tilt that equipment is to stand (IEC 62368-1, 8.6, from memory)
MUCH_HOTTER = 4.0  # times the power that a coil gets as built
LOUD = 100.0  # dB(A): a quarter of an hour a day
LOCAL = "Local rules and licensed practice come first."


@dataclass(frozen=True, slots=True)
class Rule:
    """Where a caution is shown, and what it says of a build; None where it does not concern that one."""

    where: tuple[Where, ...]
    tell: Callable[[Known], Told | None]


def cautions(kit: Kit, variant: Variant, where: Where, known: Known | None = None) -> tuple[Caution, ...]:
    """The cautions for one place: what this build triggers first, at most three of those on top.

    `known` are the variant's figures where they are at hand. Raises ValueError for a place that there is not, KitError
    where the circuit has no solution.
    """
    if where not in WHERE:
        raise ValueError(f"there are no cautions for {where!r}; places are {', '.join(WHERE)}")
    known = known or Known.of(kit, variant)
    told = [(name, rule.tell(known)) for name, rule in RULES.items() if where in rule.where]
    found = [Caution(name, where, t.short, t.long, t.because, t.urgency) for name, t in told if t is not None]
    found.sort(key=lambda each: -each.urgency)  # stable: the register's order within an urgency
    return tuple(replace(each, top=i < MOST_ON_TOP and each.urgency > ALWAYS) for i, each in enumerate(found))


def _outputs(known: Known) -> Told | None:
    if known.kit.amplifier.outputs == "ground_referenced":
        return None
    bridged = known.kit.amplifier.outputs == "bridged"
    return Told(
        "Minus is not ground: never clip a grounded meter, scope or interface to this amplifier's outputs."
        if bridged
        else "Unless you know that minus is ground, never clip a grounded meter or interface to an output.",
        "Both terminals of a bridged output, and of most class-D amplifiers, carry the signal. A scope, a sound"
        " interface or a mains-powered meter whose minus is ground shorts one half of the output; so do two"
        " loudspeakers that share their minus wire. Measure with a battery meter, or through an isolating transformer.",
        "amplifier.outputs is bridged" if bridged else "the kit says nothing of amplifier.outputs",
        DAMAGE if bridged else MIND,
    )


def _links(known: Known) -> Told | None:
    """The one part that must not be mistaken for a link; and those that keep the bass from a tweeter."""
    fatal = [link for link in known.links if link.lowest < known.stands / 2]
    heated = list(_bared(known))
    if not fatal and not heated:
        return None
    told = [_shorted_words(known, fatal)] if fatal else []
    told += [
        f"a link at {place} gives {driver} {watts:.0f} W instead of {before:.1f} W"
        for place, driver, before, watts in heated
    ]
    meant = [wording.place(place) for place in known.variant.places.values() if place.state == "link"]
    here = f" Here only {wording.listed(meant)}." if meant else " This variant has none."
    return Told(
        "Check every link against the sheet before the amplifier is joined: a wrong one shorts it or burns a tweeter.",
        f"A link belongs where the sheet says so and nowhere else.{here} Read the meter between the input's points"
        " first; a reading well under its window means that something is linked or bridged with solder.",
        "; ".join(told),
        DAMAGE,
    )


def _shorted_words(known: Known, fatal: Sequence[Linked]) -> str:
    each = wording.listed([f"at {link.reference} {_lowest_words(link)}" for link in fatal])
    return f"the amplifier stands {known.stands:g} ohm; a link leaves it {each}"


def _lowest_words(link: Linked) -> str:
    return "a short" if link.frequency is None else f"{link.lowest:.1f} ohm ({wording.hertz(link.frequency)})"


def _bared(known: Known) -> Iterator[tuple[str, str, float, float]]:
    """Places whose link sends much more programme into a tweeter: place, driver, its watts as built and then."""
    weights = known.signal.weights
    if weights is None:
        return
    model, full = known.swept.model, known.signal.full
    for link in known.links:
        if link.currents is None or known.variant.places[link.reference].state != "fit":
            continue
        for name in known.drivers("tweeter"):
            i = model.names.index(name)
            own = known.swept.result.drivers[name].current / known.swept.result.volts
            squared = (float(weights @ abs(each) ** 2) * full**2 for each in (own, link.currents[:, i]))
            before, after = (model.data[i].re * each for each in squared)  # P = I^2 Re
            if after > MUCH_HOTTER * before:
                yield link.reference, name, before, after


def _hot(known: Known) -> Told | None:
    """Resistors on the programme at full volume."""
    surfaces = {n: part.surface for n, part in known.stress.parts.items() if part.surface is not None}
    hot = {n: surface.temperature for n, surface in surfaces.items() if surface.temperature > BURNS}
    loads = {n: part.programme or part.sine for n, part in known.stress.parts.items() if part.part.kind == "resistor"}
    doubtful = {n: load.watts for n, load in loads.items() if n not in surfaces and load.watts > WARM_WATTS}
    if not hot and not doubtful:
        return None
    words = [f"{n} {wording.degrees(kelvin)}" for n, kelvin in hot.items()]
    words += [f"{n} {watts:.1f} W, its temperature not stated" for n, watts in doubtful.items()]
    return Told(
        f"Hot: {wording.listed([*hot, *doubtful])} can burn fingers after loud playing. Let the board cool.",
        "Resistors stay hot for minutes after the music stops. Mount them clear of the board, of other parts, of wires"
        " and of filling, with air about them.",
        f"at full volume on the programme: {', '.join(words)}",
        INJURY if hot else MIND,
    )


def _glue(known: Known) -> Told | None:
    """Hot melt that would not stay."""
    soft = {n: part.surface for n, part in known.stress.parts.items() if part.surface and part.surface.melts}
    text = (
        "The nozzle and the fresh glue burn the skin and stick to it; keep cold water near. Glue holds no part on its"
        " own where the cabinet may be dropped: add a tie or a screw."
    )
    if not soft:
        return Told("Hot glue burns: do not touch nozzle or fresh glue.", text)
    bears = wording.degrees(known.kit.assembly.hot_melt_bears)
    warm = ", ".join(f"{name} {wording.degrees(surface.temperature)}" for name, surface in soft.items())
    return Told(
        f"No hot glue on or beside {wording.listed(list(soft))}: it would melt. Use a tie, a screw or silicone.",
        text,
        f"the glue bears {bears}; at full volume {warm}, give or take {CHART_SPREAD:.0f}",
        DAMAGE,
    )


def _charge(known: Known) -> Told | None:
    """What the capacitors may hold, from the largest volts that they see."""
    stored = {}
    for name, part in known.stress.parts.items():
        if part.part.kind == "capacitor":
            volts = max(load.volts_peak for load in (part.sine, part.programme or part.sine))
            stored[name] = (0.5 * part.part.value * volts**2, volts)  # E = C V^2/2
    if not stored:
        return None
    most = max(stored, key=lambda name: stored[name][0])
    joules, highest = stored[most][0], max(volts for _, volts in stored.values())
    high = highest > SHOCK
    return Told(
        f"Discharge capacitors through a resistor before touching or measuring: up to {highest:.0f} V.",
        f"Switch off, unplug, and {DISCHARGE}. A charged one spoils a meter reading, sparks on a screwdriver, and may"
        " hurt.",
        f"{most} holds up to {joules:.2g} J; peaks reach {highest:.0f} V ({SHOCK:g} V dc are safe to touch)",
        INJURY if high else MIND,
    )


def _fire(known: Known) -> Told:
    """What passes its rating at full volume, and coils that burn."""
    burnt = [limit.name for limit in known.limits.exceeded if limit.kind == "heat"]
    failing = list(known.stress.fails)
    words = [f"over its rating at full volume: {name}" for name in failing]
    words += [f"too hot at full volume: {name}" for name in burnt]
    return Told(
        "Stay with it while it plays for the first hours; switch off at any smell or smoke.",
        "Never test unattended, keep filling away from hot parts, and leave the amplifier's fuse as it is. A part that"
        f" smells has failed: do not switch on again to look. {LOCAL}",
        "; ".join(words),
        INJURY if words else ALWAYS,
    )


def _load(known: Known) -> Told | None:
    figures = known.swept.result.summary
    lowest = figures.lowest_impedance_ohm
    if lowest is None or known.kit.amplifier.lowest_load is None or lowest >= known.stands:
        return None
    return Told(
        "The impedance falls under what the amplifier stands: keep the volume down.",
        "An amplifier with a load that is too low gets hot, switches off or breaks. Use one that stands it.",
        f"{wording.ohms(lowest)} at {wording.hertz(figures.lowest_impedance_hz)}; it stands {known.stands:g} ohm",
        DAMAGE,
    )


def _sweep_level(known: Known) -> Told:
    lowest = known.run_up.lowest
    return Told(
        f"Sweep at {START:g} V; never above {lowest.volts:g} V.",
        "An impedance sweep needs no more than a tenth of a volt at the driver. Set the level with the sweep generator"
        " turned down and the amplifier's volume low, and turn up from there, never down from loud.",
        f"at {wording.hertz(lowest.frequency)}, {lowest.volts:g} V are {lowest.limited_by}",
        MIND,
    )


def _no_sine(known: Known) -> Told:
    first = known.first_heat()
    text = (
        "Computed limits say where something gives, not what may be tried. Music puts little into a tweeter; a sine"
        " puts all of its power there, and its coil burns before anything is heard."
    )
    small = known.drivers("tweeter", "midrange")
    if not small:
        return Told("Never feed a sine at the volts of a computed limit.", text)
    because = f"{wording.listed(small)} {'is' if len(small) == 1 else 'are'} in this build"
    if first is not None:
        limit, volts, at = first
        because = f"{wording.volts_down(volts)} at {wording.hertz(at)} hold {limit.name} at the most heat it stands"
    return Told("Never feed a sine at a computed limit, least of all into a tweeter.", text, because, DAMAGE)


def _battery(known: Known) -> Told | None:
    """Which driver may be told by a battery, and how far it moves."""
    small = known.drivers("tweeter", "midrange")
    woofers = known.drivers("woofer")
    if not small and not woofers:
        return None
    moves = {
        h.driver.name: CELL * s.bl * s.cms / s.re  # x = Bl Cms V/Re at rest
        for h in (known.variant.hookups[name] for name in woofers)
        if (s := h.driver.small_signal) is not None
    }
    words = [f"{name} moves out {wording.millimetres(x)} on {CELL:g} V" for name, x in moves.items()]
    if small:
        words.append(f"not for {wording.listed(small)}")
    return Told(
        "Battery test of the way round: woofers only, taken off the board, a touch of 1.5 V.",
        "Plus of the cell to the driver's plus: the cone jumps outward. On the board nothing can be told through a"
        " capacitor, and the cell would sit across a tweeter, whose thin coil and suspension it harms.",
        "; ".join(words),
        DAMAGE if small else ALWAYS,
    )


def _hearing(known: Known) -> Told | None:
    loud = known.loudness
    text = (
        "Loss of hearing comes without pain and stays. 85 dB(A) are stood for eight hours a day, every 3 dB more halve"
        " the time (NIOSH 1998). Two cabinets are up to 3 dB louder, and close to one it is louder still."
    )
    if loud is None:
        return None
    if loud.level <= 85.0:
        return Told("Mind your ears: start low, and keep listening tests short.", text)
    return Told(
        f"Loud enough to harm hearing: at its most it is stood for {duration(loud.seconds)} a day.",
        text,
        f"{loud.level:.0f} dB(A) at {loud.distance:g} m from one cabinet at {wording.volts_down(loud.volts)};"
        f" 85 dB(A) at {wording.volts_down(loud.safe_volts)}",
        INJURY if loud.level > LOUD else MIND,
    )


def duration(seconds: float) -> str:
    """Rounded down: `2 h 10 min`, `45 min`, `30 s`."""
    minutes = int(seconds // 60)
    if minutes >= 60:
        rest = minutes % 60 // 10 * 10
        return f"{minutes // 60} h" + (f" {rest} min" if rest and minutes < 600 else "")
    return f"{minutes} min" if minutes else f"{int(seconds)} s"


def _fibre(known: Known) -> Told | None:
    filled = [c.drivers for c in known.variant.cabinet.chambers if any(fill is not None for fill in c.fills)]
    if not filled:
        return None
    return Told(
        "Fibre dust: gloves, long sleeves and a dust mask while filling; keep fibres out of the drivers.",
        "Glass and mineral fibre irritate skin, eyes and lungs; wool and polyester shed dust too. Fill with the drivers"
        " out, hold the filling back from ports, cones and the board with cloth or netting, and vacuum before you"
        " close.",
        f"the chamber of {'; of '.join(wording.listed(names) for names in filled)} is filled",
        MIND,
    )


def _dust(known: Known) -> Told | None:
    if known.variant.cabinet.baffle is None:
        return None
    return Told(
        "Sawdust: extraction, mask, eye and ear protection while cutting; vacuum before a driver goes in.",
        "Dust of boards and of hardwood harms the lungs, and chips in a magnet's gap rub for ever. Keep drivers in"
        " their bags until the cabinet is clean.",
    )


def _magnets(_known: Known) -> Told:
    return Told(
        "Magnets: keep tools, screws and chips away from drivers; keep drivers from pacemakers and cards.",
        "A screwdriver is pulled through a cone before you can stop it: hold it in both hands, start screws by finger."
        " Two drivers pull each other and pinch. Lay drivers face up on a clean cloth.",
    )


def _solder(_known: Known) -> Told:
    return Told(
        "Soldering: glasses, air that moves, iron in its stand, hands washed after.",
        "Fumes of flux irritate, drops of solder jump, and leaded solder is poisonous to swallow. Unplug the board from"
        " everything first, and let joints cool before you pull at them.",
    )


def _mains(_known: Known) -> Told:
    return Told(
        "Amplifier off and unplugged before anything is connected, changed or measured.",
        "Never open an amplifier: its parts hold the mains' voltage after it is unplugged, and repairs are for who is"
        f" licensed to do them. No wire of a loudspeaker goes near a socket. {LOCAL}",
    )


def _meter(_known: Known) -> Told:
    return Told(
        "An ohmmeter only on what is unpowered, joined to no amplifier, and discharged.",
        "With the amplifier joined, a meter reads the amplifier, and may break it or itself. Leave cones untouched"
        " while you read: a moving coil makes volts of its own.",
    )


def _first_power(known: Known) -> Told:
    read = known.swept.model.kit.input
    return Told(
        f"First power-up: meter reading {read[0]} to {read[1]} right, volume down, one cabinet, then music softly.",
        "Join with everything off, switch on with the volume at its least, wait ten seconds, then turn up until you"
        " just hear each driver. Silence, hum, a cone that stands out or in: off at once. The run-up comes after that,"
        f" from {START:g} V.",
    )


def _hanging(known: Known) -> Told | None:
    """What is off the floor, or in a wall."""
    placement = known.variant.placement
    if placement.kind == "in_wall":
        because = "it stands in a wall"
    elif placement.above is not None and placement.above < 0.5 and (placement.below is None or placement.below > 1.0):
        because = f"{placement.above * 1e3:.0f} mm under the ceiling"
    elif placement.wall_behind == 0.0 and (placement.below is None or placement.below > 0.0):
        because = "flat against a wall and off the floor"
    else:
        return None
    baffle = known.variant.cabinet.baffle
    if baffle is not None:
        sizes = (baffle.width, baffle.height, baffle.depth)
        because += f"; outside {' x '.join(f'{size * 1e3:.0f}' for size in sizes)} mm"
    return Told(
        "Overhead or on a wall: weigh it; brackets and fixings rated for several times that, plus a safety wire.",
        "Fix into studs or masonry, never into plasterboard or into the cabinet's back panel alone. A loudspeaker"
        f" shakes its screws loose: use locking ones and look again after a month. {LOCAL} Ask who is licensed where"
        " people sit under it, and for cuts into walls with wires or fire barriers.",
        because,
        INJURY,
    )


def tipping_angle(known: Known) -> float | None:
    """Tilt (rad) at which the cabinet as it stands falls over its shorter side, weight in its middle; None: no matter.

    tan a = half of the base over the height of the middle; how far its front is tilted already is taken off.
    """
    placement, baffle = known.variant.placement, known.variant.cabinet.baffle
    if baffle is None or placement.kind == "in_wall":
        return None
    across, up = baffle.width, baffle.height
    if known.variant.attitude != "upright":
        across, up = up, across
    sideways = math.atan2(across, up) - abs(placement.lean)
    return min(sideways, math.atan2(baffle.depth, up) - abs(placement.tilt))


def _tipping(known: Known) -> Told | None:
    angle = tipping_angle(known)
    if angle is None:
        return None
    degrees = math.floor(math.degrees(angle) + 1e-9)
    narrow = angle < TIPS * 1.5
    return Told(
        "It tips easily: widen the base or hold it back to the wall, above all with children about."
        if narrow
        else "Stand it level; a low, wide base and a strap where children climb.",
        "Heavy drivers high up and a soft carpet make it worse than the figure, which takes the weight in the middle.",
        f"it falls at about {degrees} degrees of tilt ({math.degrees(TIPS):.0f} are to be stood)" if narrow else "",
        INJURY if angle < TIPS else MIND if narrow else ALWAYS,
    )


def _sealed_pressure(known: Known) -> Told | None:
    """Cones of a closed box give with the box, not with the finger."""
    if not any(isinstance(chamber, SealedChamber) for chamber in known.variant.cabinet.chambers):
        return None
    return Told(
        "Press on no cone or dome; to feel a sealed box, press both hands flat beside the cone, gently and evenly.",
        "One finger tilts the coil in its gap and it rubs. A dome that is pushed in stays creased.",
    )


RULES: Mapping[str, Rule] = {
    "mains": Rule(("bench", "power_up", "sweep"), _mains),
    "outputs": Rule(("bench", "sweep", "power_up", "run_up"), _outputs),
    "links": Rule(("bench", "meter", "power_up"), _links),
    "first_power_up": Rule(("power_up",), _first_power),
    "load": Rule(("power_up", "listening"), _load),
    "no_sine": Rule(("sweep", "power_up", "run_up"), _no_sine),
    "sweep_level": Rule(("sweep",), _sweep_level),
    "battery": Rule(("bench", "meter"), _battery),
    "meter": Rule(("meter",), _meter),
    "charge": Rule(("bench", "meter"), _charge),
    "hot": Rule(("bench", "power_up", "cabinet", "listening"), _hot),
    "glue": Rule(("bench", "cabinet"), _glue),
    "solder": Rule(("bench",), _solder),
    "fire": Rule(("power_up", "cabinet", "listening"), _fire),
    "hearing": Rule(("power_up", "run_up", "listening", "sweep"), _hearing),
    "fibre": Rule(("cabinet",), _fibre),
    "dust": Rule(("cabinet",), _dust),
    "magnets": Rule(("bench", "cabinet"), _magnets),
    "cones": Rule(("cabinet", "run_up"), _sealed_pressure),
    "hanging": Rule(("placement",), _hanging),
    "tipping": Rule(("placement",), _tipping),
}
