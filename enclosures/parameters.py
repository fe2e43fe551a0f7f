"""From any sufficient set of small-signal parameters to the independent six. Plain floats, no numpy.

All the relations between them are products of powers (Small, J. Audio Eng. Soc. 20(5), 1972), so their logarithms are
linear in those of re, bl, mms, cms, rms and sd; only 1/qts = 1/qms + 1/qes is a sum, and it is brought in as soon as
one of the two, or their ratio, is known. Data sheets give more than enough: a base is picked in an order of trust by
rank, and every other figure is compared with what the base says.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import field
from fractions import Fraction
from types import MappingProxyType

from enclosures.frozen import frozen

INDEPENDENT = ("re", "bl", "mms", "cms", "rms", "sd")
TRUST = ("re", "sd", "fs", "qes", "qms", "qts", "vas", "mms", "bl", "cms", "rms")  # what is measured best comes first
# How many sides of a piston in an infinite baffle a stated mms lacks. A disc in free air carries one side's worth in
# all: its two sides let the air slip round the edge (Beranek & Mellow, Acoustics, 2012, from memory).
AIR_LOADS: Mapping[str, float] = MappingProxyType({"included": 0.0, "free_air": 1.0, "none": 2.0})

_EQUAL = 1e-6  # relative difference below which two figures agree

_Row = tuple[Fraction, ...]


def _row(**exponents: float) -> _Row:
    return tuple(Fraction(exponents.get(name, 0)) for name in INDEPENDENT)


_ROWS: dict[str, _Row] = {  # exponents of the independent six
    **{name: _row(**{name: 1}) for name in INDEPENDENT},
    "fs": _row(mms=-0.5, cms=-0.5),  # fs = 1/(2 pi sqrt(mms cms))
    "qms": _row(mms=0.5, cms=-0.5, rms=-1),  # qms = sqrt(mms/cms)/rms
    "qes": _row(re=1, mms=0.5, cms=-0.5, bl=-2),  # qes = re sqrt(mms/cms)/bl^2
    "vas": _row(sd=2, cms=1),  # vas = rho c^2 sd^2 cms
}
_ELECTRICAL_SHARE = tuple(qes - qms for qes, qms in zip(_ROWS["qes"], _ROWS["qms"], strict=True))  # qes/qms


def radiation_mass(sd: float, density: float) -> float:
    """8/3 rho a^3 in kg: the air that one side of a piston of `sd` (m2) in an infinite baffle carries while ka << 1.

    `density` rho of the air in kg/m3. Rayleigh, The Theory of Sound, 1896, section 302 (from memory). Raises ValueError
    unless the area is above zero.
    """
    if not (math.isfinite(sd) and sd > 0):
        raise ValueError(f"driver: sd must be above zero, not {sd!r}")
    return 8 / 3 * density * math.sqrt(sd / math.pi) ** 3


class InsufficientParameters(ValueError):  # noqa: N818 - what it tells is not an error of ours
    """The parameters given do not fix the driver.

    `missing` are those of the independent six that stay unknown, `needed` says how many more figures it takes and
    `candidates` which ones would help.
    """

    def __init__(self, missing: Sequence[str], needed: int, candidates: Sequence[str]) -> None:
        self.missing = tuple(missing)
        self.needed = needed
        self.candidates = tuple(candidates)
        more = "one more" if needed == 1 else f"{needed} more"
        super().__init__(
            f"not enough to work out {', '.join(self.missing)}: {more} of {', '.join(self.candidates)} needed"
        )


@frozen
class Disagreement:
    """A figure that was more than enough and does not fit: relative = given/derived - 1."""

    name: str
    given: float
    derived: float
    relative: float


@frozen
class Completed:
    """re (ohm), bl (T m), mms (kg), cms (m/N), rms (kg/s), sd (m2), and what else was given and does not fit."""

    re: float
    bl: float
    mms: float
    cms: float
    rms: float
    sd: float
    disagreements: tuple[Disagreement, ...] = ()


@frozen
class _LogSystem:
    """Linear equations in the logarithms of the independent six, kept reduced; exact in the exponents."""

    rows: list[tuple[int, _Row, float]] = field(default_factory=list)  # pivot column, row with 1 there, right side

    def _reduced(self, row: _Row, value: float) -> tuple[_Row, float]:
        for pivot, known, known_value in self.rows:
            factor = row[pivot]
            if factor:
                row = tuple(a - factor * b for a, b in zip(row, known, strict=True))
                value -= float(factor) * known_value
        return row, value

    def add(self, row: _Row, value: float) -> None:
        """Take row . x = value in, unless the row already follows from the others."""
        row, value = self._reduced(row, value)
        pivot = next((i for i, exponent in enumerate(row) if exponent), None)
        if pivot is None:
            return
        scale = row[pivot]
        self.rows.append((pivot, tuple(a / scale for a in row), value / float(scale)))

    def value(self, row: _Row) -> float | None:
        """row . x, or None while the equations leave it open."""
        rest, negative = self._reduced(row, 0.0)
        return None if any(rest) else -negative


def complete(
    given: Mapping[str, float], density: float, speed_of_sound: float, prefer: Sequence[str] = ()
) -> Completed:
    """The independent six from any sufficient set of re fs qms qes qts vas sd mms cms rms bl (SI).

    `density` (kg/m3) and `speed_of_sound` (m/s) are those of the air that vas was stated in. Figures in `prefer` are
    believed first, then in the order of `TRUST`; the others are compared with what those give.

    Raises InsufficientParameters naming what is missing; ValueError for an unknown name, a value that is not above
    zero, a preferred figure that is not given, or a qts that is not below qes and qms.
    """
    for name, number in given.items():
        if name not in TRUST:
            raise ValueError(f"{name!r} is no small-signal parameter; known are {', '.join(TRUST)}")
        if not (math.isfinite(number) and number > 0):
            raise ValueError(f"{name} must be above zero, not {number!r}")
    for name in prefer:
        if name not in given:
            raise ValueError(f"{name!r} is preferred but not given")
    for name in ("qes", "qms"):
        if "qts" in given and name in given and given["qts"] >= given[name]:
            raise ValueError(
                f"qts {given['qts']:g} must be below {name} {given[name]:g}, because 1/qts = 1/qms + 1/qes"
            )

    offsets = {"fs": -math.log(2 * math.pi), "vas": math.log(density * speed_of_sound**2)}
    system = _LogSystem()
    order = [*dict.fromkeys(prefer), *(name for name in TRUST if name in given and name not in prefer)]
    waiting = False  # qts, until one of its two parts is known
    for name in order:
        if name == "qts":
            waiting = True
        else:
            system.add(_ROWS[name], math.log(given[name]) - offsets.get(name, 0.0))
        if waiting:
            waiting = not _take_in_total_q(system, given["qts"])
    _check_sufficient(system, given, waiting)

    def derived(name: str) -> float:
        if name == "qts":
            return 1 / (1 / derived("qes") + 1 / derived("qms"))
        log = system.value(_ROWS[name])
        assert log is not None  # all six are known here
        return math.exp(log + offsets.get(name, 0.0))

    disagreements = []
    for name in TRUST:
        if name in given:
            relative = given[name] / derived(name) - 1
            if abs(relative) > _EQUAL:
                disagreements.append(Disagreement(name, given[name], derived(name), relative))
    return Completed(**{name: derived(name) for name in INDEPENDENT}, disagreements=tuple(disagreements))


def _take_in_total_q(system: _LogSystem, qts: float) -> bool:
    """Turn qts into the one Q it still decides; False while neither Q nor their ratio is known."""
    for known, wanted in (("qes", "qms"), ("qms", "qes")):
        log = system.value(_ROWS[known])
        if log is not None:
            if system.value(_ROWS[wanted]) is None:
                if qts >= math.exp(log):
                    raise ValueError(
                        f"qts {qts:g} must be below {known} {math.exp(log):.4g}, because 1/qts = 1/qms + 1/qes"
                    )
                system.add(_ROWS[wanted], -math.log(1 / qts - math.exp(-log)))
            return True
    share = system.value(_ELECTRICAL_SHARE)
    if share is None:
        return False
    system.add(_ROWS["qes"], math.log(qts * (1 + math.exp(share))))  # 1/qts = (1 + qes/qms)/qes
    return True


def _check_sufficient(system: _LogSystem, given: Mapping[str, float], waiting: bool) -> None:
    missing = [name for name in INDEPENDENT if system.value(_ROWS[name]) is None]
    if not missing:
        return
    candidates = [name for name in TRUST if name != "qts" and system.value(_ROWS[name]) is None]
    if "qts" not in given and {"qes", "qms"} & set(candidates):
        candidates.append("qts")
    raise InsufficientParameters(missing, len(INDEPENDENT) - len(system.rows) - waiting, candidates)
