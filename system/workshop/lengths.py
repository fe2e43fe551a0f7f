"""How long the ducts and lines of a cabinet are to be cut, and how exact."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import astuple, dataclass, replace

from enclosures.air import Air
from enclosures.line import Line
from enclosures.tuning import tuned_port_length, tuning_frequency
from system.build import ENCLOSURES
from system.cabinet import Face, LineChamber, MouthSpec, PortSpec, SectionSpec, VentedChamber
from system.kit import Kit, Variant
from system.wood import Piece
from system.workshop.displacement import Duct, inside, named_openings
from system.workshop.folding import fold_boards, rooms

STEP = 1e-3  # of a length, over which a line's resonance is taken to move in proportion
# which of width, height and depth lies behind a face
BEHIND: Mapping[Face, int] = {"front": 2, "rear": 2, "left": 0, "right": 0, "top": 1, "bottom": 1}


@dataclass(frozen=True, slots=True)
class Tube:
    """A duct to be cut: the `tuning` (Hz) of its box or the first resonance of its line, and how exact it is to be.

    `shorter` raises the tuning by 1 Hz and `longer` lowers it by as much, m of this duct alone with all else as it is;
    None where no length does. `before` (m) is the distance of its inner end to the opposite board, None where not
    known.
    """

    duct: Duct
    tuning: float
    shorter: float | None
    longer: float | None
    before: float | None


@dataclass(frozen=True, slots=True)
class Stretch:
    """A section of a line, `start` (m) from the closed end, with what it holds."""

    number: int
    start: float
    section: SectionSpec

    @property
    def end(self) -> float:
        return self.start + self.section.length

    @property
    def end_sides(self) -> tuple[float, float] | None:
        """Width and depth (m) towards the mouth; a taper is taken to change the depth."""
        sides = self.section.sides
        return None if sides is None else (sides[0], self.section.end_area / sides[0])


@dataclass(frozen=True, slots=True)
class Run:
    """A line: its stretches, what sits where along it (m from the closed end), and how exact its length is to be.

    `per_hertz` (m) is the length that moves the first `resonance` (Hz) by 1 Hz. `boards` stand between the legs of its
    folds, by the number of the bend. `inside` says whether it goes into the cabinet, None where that is not known.
    """

    chamber: int
    stretches: tuple[Stretch, ...]
    places: Mapping[str, float]
    resonance: float
    per_hertz: float
    boards: tuple[tuple[int, Piece], ...]
    inside: bool | None

    @property
    def length(self) -> float:
        return self.stretches[-1].end


def tube(kit: Kit, variant: Variant, duct: Duct) -> Tube:
    """The duct, and how exact its length is to be."""
    chamber, room = variant.cabinet.chambers[duct.chamber], inside(variant.cabinet)
    before = None
    if room is not None and duct.cutout is not None:
        before = room[BEHIND[duct.cutout.face]] - duct.inside
    air = Air(*astuple(kit.air))
    if isinstance(chamber, LineChamber):
        tuning, per_hertz = _line_and_port(chamber, duct, air)
        return Tube(duct, tuning, per_hertz, per_hertz, before)
    assert isinstance(chamber, VentedChamber)
    ports = [replace(port, length=_length(port.length, duct)) for port in chamber.ports]
    tuning = tuning_frequency(chamber.volume, ports, air)
    this = chamber.ports.index(duct.spec)
    open_ = [replace(port, length=None) if i == this else port for i, port in enumerate(ports)]
    shorter, longer = (_off(chamber.volume, tuning + step, open_, duct, air) for step in (1.0, -1.0))
    return Tube(duct, tuning, shorter, longer, before)


def _length(given: float | None, duct: Duct) -> float:
    return duct.length if given is None else given


def _off(volume: float, tuning: float, ports: Sequence[PortSpec], duct: Duct, air: Air) -> float | None:
    """By how much (m) the open one of `ports` is off its length at another tuning (Hz); None where no length does."""
    if tuning <= 0:
        return None
    try:
        return abs(tuned_port_length(volume, tuning, ports, air) - duct.length)
    except ValueError:
        return None


def _line(chamber: LineChamber, air: Air) -> Line:
    made = ENCLOSURES[LineChamber](chamber, (), air)
    assert isinstance(made, Line)
    return made


def _line_and_port(chamber: LineChamber, duct: Duct, air: Air) -> tuple[float, float]:
    """The first resonance (Hz) of a line, and the length (m) of the port of one mouth that moves it by 1 Hz."""
    by = STEP * duct.length
    mouths = tuple(
        replace(mouth, port=replace(mouth.port, length=duct.length + by)) if mouth.port is duct.spec else mouth
        for mouth in chamber.mouths
    )
    return _slope(chamber, replace(chamber, mouths=mouths), by, air)


def _slope(chamber: LineChamber, longer: LineChamber, by: float, air: Air) -> tuple[float, float]:
    here, there = (_line(each, air).resonances(air, 1)[0] for each in (chamber, longer))
    return here, by / (here - there) if here > there else math.inf


def runs(kit: Kit, variant: Variant) -> Iterator[Run]:
    """Every line of the cabinet, with the drivers of this variant along it."""
    air, cabinet = Air(*astuple(kit.air)), variant.cabinet
    for index, chamber in enumerate(cabinet.chambers):
        if not isinstance(chamber, LineChamber):
            continue
        stretches, start = [], 0.0
        for number, section in enumerate(chamber.profile):
            stretches.append(Stretch(number, start, section))
            start += section.length
        there = zip(chamber.drivers, chamber.positions, strict=True)
        places = {name: place for name, place in there if name in variant.hookups}
        for here, name, opening in named_openings(cabinet):
            if here == index and isinstance(opening, MouthSpec):
                places[name] = start if opening.at is None else opening.at
        by = STEP * chamber.profile[-1].length
        last = replace(chamber.profile[-1], length=chamber.profile[-1].length + by)
        resonance, per_hertz = _slope(chamber, replace(chamber, profile=(*chamber.profile[:-1], last)), by, air)
        room = inside(cabinet)
        yield Run(
            chamber=index,
            stretches=tuple(stretches),
            places=dict(sorted(places.items(), key=lambda item: item[1])),
            resonance=resonance,
            per_hertz=per_hertz,
            boards=tuple(fold_boards(chamber.profile)),
            inside=None if room is None else all(each.goes_into(room) for each in rooms(chamber.profile)),
        )
