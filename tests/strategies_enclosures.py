"""Random air, drivers and enclosures of every kind, within what people build; and what their openings radiate into."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np
from hypothesis import strategies as st

from enclosures.acoustics import Enclosure
from enclosures.air import Air
from enclosures.arrays import RealArray
from enclosures.driver import Driver, Inductance, PowerLaw, SemiInductance, ShuntedCoil
from enclosures.fibre import Fill
from enclosures.line import Line, Mouth, Section
from enclosures.sealed import SealedBox
from enclosures.vented import Port, Radiator, RadiatorBox, VentedBox

Made = tuple[Enclosure, tuple[Driver, ...]]

airs = st.builds(Air, density=st.floats(0.9, 1.3), speed_of_sound=st.floats(325, 355))
coils = st.one_of(
    st.builds(Inductance, st.floats(0, 2e-3)),
    st.builds(ShuntedCoil, st.floats(0, 1e-3), st.floats(1e-5, 2e-3), st.floats(0.5, 50)),
    st.builds(PowerLaw, st.floats(0, 0.1), st.floats(0.4, 1.0)),
    st.builds(SemiInductance, st.floats(0, 1e-3), st.floats(1e-5, 2e-3), st.floats(0.005, 0.2)),
)
drivers = st.builds(
    Driver,
    re=st.floats(2, 20),
    bl=st.floats(1, 20),
    mms=st.floats(2e-3, 0.15),
    cms=st.floats(1e-4, 4e-3),
    rms=st.floats(0.1, 8),
    sd=st.floats(2e-3, 0.09),
    coil=coils,
)
some_drivers = st.lists(drivers, min_size=1, max_size=3).map(tuple)
qs = st.one_of(st.just(math.inf), st.floats(2, 200))
# the power law is fitted above f/sigma = 0.01; below 0.00105 its printed coefficients are not passive (see Fill)
fills = st.one_of(
    st.none(),
    st.builds(Fill, st.floats(200, 9000)),
    st.builds(Fill, st.floats(200, 20000), st.just("rigid_fibre")),
    st.builds(
        Fill,
        st.floats(200, 20000),
        st.just("low_frequency"),
        st.one_of(st.none(), st.floats(2, 60)),
        st.floats(0.05, 1.0),
    ),
)
ends = st.sampled_from(["ideal", "unflanged", "flanged", "along_wall", "in_corner"])
ports = st.builds(
    Port,
    st.floats(3e-4, 2e-2),
    st.floats(0.005, 0.5),
    ends,
    ends,
    st.integers(1, 3),
    st.one_of(st.none(), st.floats(5e-3, 0.5)),
    st.floats(0.2, 1.0),
)
radiators = st.builds(
    Radiator, st.floats(5e-3, 0.08), st.floats(0.01, 0.5), st.floats(2e-4, 3e-3), st.floats(0, 5), st.integers(1, 2)
)
volumes = st.floats(1e-3, 0.2)
tapers = st.sampled_from(["area_linear", "conical", "exponential"])


def sections(lossless: bool) -> st.SearchStrategy[Section]:
    area = st.floats(1e-3, 5e-2)
    return st.builds(
        Section,
        st.floats(0.03, 1.0),
        area,
        st.one_of(st.none(), area),
        tapers,
        st.none() if lossless else fills,
        st.floats(0.2, 1.0),
        st.floats(0.3, 1.0),
    )


@st.composite
def sealed(draw: st.DrawFn, lossless: bool = False) -> Made:
    q, fill = (st.just(math.inf), st.none()) if lossless else (qs, fills)
    cones = draw(some_drivers)
    along = draw(st.one_of(st.none(), st.floats(0.05, 1.5)))
    positions = tuple(draw(st.floats(0, 1)) * along for _ in cones) if along else ()
    return draw(st.builds(SealedBox, volumes, q, q, fill, st.just(along), st.just(positions))), cones


@st.composite
def vented(draw: st.DrawFn, lossless: bool = False) -> Made:
    q, fill = (st.just(math.inf), st.none()) if lossless else (qs, fills)
    some = st.lists(ports, min_size=1, max_size=3).map(tuple)
    return draw(st.builds(VentedBox, volumes, some, q, q, q, fill)), draw(some_drivers)


@st.composite
def radiator_box(draw: st.DrawFn, lossless: bool = False) -> Made:
    q, fill = (st.just(math.inf), st.none()) if lossless else (qs, fills)
    some = st.lists(radiators, min_size=1, max_size=3).map(tuple)
    return draw(st.builds(RadiatorBox, volumes, some, q, q, fill)), draw(some_drivers)


@st.composite
def line(draw: st.DrawFn, lossless: bool = False) -> Made:
    profile = tuple(draw(st.lists(sections(lossless), min_size=1, max_size=4)))
    length = math.fsum(section.length for section in profile)
    cones = draw(some_drivers)
    places = st.one_of(st.just(0.0), st.just(1.0), st.floats(0, 1))
    positions = tuple(draw(places) * length for _ in cones)
    at = st.one_of(st.none(), places.map(lambda share: share * length))
    first = st.builds(Mouth, ends, st.one_of(st.none(), ports), at)
    further = st.builds(Mouth, ends.filter(lambda end: end != "ideal"), st.one_of(st.none(), ports), at)
    mouths = (draw(first), *draw(st.lists(further, max_size=2)))
    return Line(profile, positions, mouths, False if lossless else draw(st.booleans()), draw(st.booleans())), cones


STRATEGIES: Mapping[str, Callable[..., st.SearchStrategy[Made]]] = {
    "sealed": sealed,
    "vented": vented,
    "passive_radiator": radiator_box,
    "line": line,
}


def _pipe_resistance(omega: RealArray, area: float, end: str, air: Air, count: int) -> RealArray:
    """Real part of the impedance of a pipe's end, from the reflection printed by Silva et al. (2009).

    A pipe beside n - 1 mirror images is a part of one of n times the area.
    """
    n1, d1, d2 = {"ideal": (0.0, 0.0, 0.0), "unflanged": (0.167, 1.393, 0.457)}.get(end, (0.182, 1.825, 0.649))
    images = {"along_wall": 2, "in_corner": 4}.get(end, 1)
    jka = 1j * omega * math.sqrt(images * area / math.pi) / air.speed_of_sound
    reflection = -(1 + n1 * jka) / (1 + d1 * jka + d2 * jka**2)
    resistance: RealArray = (air.density * air.speed_of_sound / area * (1 + reflection) / (1 - reflection)).real / count
    return resistance


def _port_resistance(omega: RealArray, port: Port, air: Air) -> RealArray:
    return _pipe_resistance(omega, port.area, port.end, air, port.count)


def _vented_resistance(box: VentedBox, omega: RealArray, air: Air) -> list[RealArray]:
    return [_port_resistance(omega, port, air) for port in box.ports]


def _radiator_resistance(box: RadiatorBox, omega: RealArray, air: Air) -> list[RealArray]:
    return [np.full(len(omega), r.rms / (r.sd**2 * r.count)) for r in box.radiators]


def _line_resistance(tube: Line, omega: RealArray, air: Air) -> list[RealArray]:
    return [
        _port_resistance(omega, mouth.port, air) if mouth.port else _pipe_resistance(omega, area, mouth.end, air, 1)
        for mouth, area in zip(tube.mouths, tube.opening_areas, strict=True)
    ]


# what takes power at each opening of a lossless enclosure, Pa s/m3: radiation, or a radiator's own rms
OPENING_RESISTANCE: Mapping[str, Callable[..., list[RealArray]]] = {
    "sealed": lambda box, omega, air: [],
    "vented": _vented_resistance,
    "passive_radiator": _radiator_resistance,
    "line": _line_resistance,
}
