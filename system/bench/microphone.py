"""Which way round each driver is connected, as a microphone at the listening point hears it.

An impedance sweep is blind to the way round of a driver that has its air to itself: turned, it draws the same current.
What it adds to the others does change its sign, so the level about the frequency where it takes over does. Both
ways are computed and laid over the measured table, whose own level and slight tilt are left open; the one that fits is
told where the two are far enough apart and the measurement follows one of them much better than the other.

The response of each group of drivers that share air is linear in their currents, and currents do not change when such
a group is turned as a whole. So all ways of turning groups come from one prediction, p = sum of s P with signs s.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from system.build import Build, build
from system.kit import Kit, Variant
from system.predict import solve
from system.transfer import transfer

if TYPE_CHECKING:
    from system.bench.sweeps import MicrophoneTable

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]
Mask = NDArray[np.bool_]
Group = tuple[str, ...]  # drivers that share air, by the names of their hookups
Signs = tuple[int, ...]  # of each group: 1 as built, -1 turned
Way = Literal["as_built", "turned"]
WayRoundVerdict = Literal["as_built", "other_way_round", "cannot_tell"]

LOWEST, HIGHEST = 150.0, 15e3  # Hz: below, the room decides; above, a microphone's place to the millimetre
SMOOTHED = 1 / 6  # octave
AN_OCTAVE = 24  # frequencies of the comparison
FINER = 4  # frequencies of the prediction to each of those
REACH = 1.0  # octaves to either side of where the two ways differ most, in which they are compared
BEYOND = 1.0  # octaves beyond that, which tell the level of the table
APART = 3.0  # dB, by which the two ways must differ somewhere to be told apart
CLEARLY = 2.0  # times: how much worse the other way must fit
SLOPE = 0.5  # dB an octave: how far a microphone and a room usually tilt a table (common practice, no source)
UNEVEN = 3.0  # dB, by which single points are usually off in a room: what the slope is weighed against
# No cancellation is complete: copies a dB and a few degrees apart leave a tenth (common practice, no source).
LEFT_OVER = 0.01  # of the power of all groups heard alone
SUREST = math.log(1000)  # of the evidence: more is not known of a room
LEAST_COVERED = 0.5  # octave that a table must have
LEAST_ALIKE = 0.5  # octave over which both ways are alike, to take the level of the table from there


@dataclass(frozen=True, slots=True)
class WayRound:
    """One group of drivers that share air (mostly a single tweeter): as built, or the other way round?

    `others` are the drivers it is held against: turning all of those would sound the same. The two ways differ by up
    to `difference` dB, level and tilt taken out, in the band `low` to `high` (Hz), over which the table misses them by
    `as_built` and `turned` (dB rms). The way that has the dip of the two has it at `null_at` (Hz), `null` dB below
    the other way; the table is `measured_null` dB below that other way there. All None where nothing was compared,
    and `why` tells why nothing is told. `evidence` is ln of how much likelier the table is with these turned than as
    built, at most `SUREST` either way; 0 where it cannot be told.
    """

    drivers: Group
    others: Group
    verdict: WayRoundVerdict
    why: str = ""
    low: float | None = None
    high: float | None = None
    difference: float | None = None
    as_built: float | None = None
    turned: float | None = None
    null_at: float | None = None
    null: float | None = None
    measured_null: float | None = None
    dips: Way | None = None
    evidence: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """What a microphone table says: one `WayRound` a group, and the curves (F,) of the first, dB, for a picture.

    `as_built` and `turned` lie on the table with the gain that fits each best; `band` is where they were compared. No
    frequencies where there is nothing to compare.
    """

    name: str
    ways: tuple[WayRound, ...]
    frequency: Floats  # (F,) Hz
    measured: Floats  # (F,) dB
    as_built: Floats
    turned: Floats

    @property
    def verdict(self) -> WayRoundVerdict:
        """`other_way_round` if any is, else `as_built` if all are."""
        found = {way.verdict for way in self.ways}
        if "other_way_round" in found:
            return "other_way_round"
        return "as_built" if found == {"as_built"} else "cannot_tell"


def listen(kit: Kit, variant: Variant, table: MicrophoneTable) -> Heard:
    """Lay a microphone table of the variant, taken at the kit's listening point, over what either way round gives.

    Raises KitError where the circuit has no solution.
    """
    model = build(kit, variant)
    groups = [tuple(model.names[i] for i in cell.members) for cell in model.cells]
    low, high = max(LOWEST, float(table.frequency[0])), min(HIGHEST, float(table.frequency[-1]))
    why = ""
    if len(groups) < 2:
        why = "all its drivers share one chamber" if len(model.names) > 1 else "there is one driver only"
    elif not high > low * 2**LEAST_COVERED:
        why = f"the table has less than half an octave between {LOWEST:g} Hz and {HIGHEST / 1e3:g} kHz"
    if why:
        nothing = np.zeros(0)
        return Heard(table.name, (_silent(groups[-1], (), why),), nothing, nothing, nothing, nothing)
    frequency, fine = _grids(low, high)
    measured = smoothed(table.frequency, 10 ** (table.level / 10), frequency)
    return _judge(model, groups, table.name, _Ways(fine, shares(model, fine), frequency), 10 * np.log10(measured))


def null(kit: Kit, variant: Variant, drivers: Group) -> tuple[float, float, Way] | None:
    """Where (Hz), by how much (dB) and which way the response dips that tells the way round of `drivers`.

    None where they are not all the drivers of one chamber, or where the two ways do not differ enough.
    """
    model = build(kit, variant)
    groups = [tuple(model.names[i] for i in cell.members) for cell in model.cells]
    here = [c for c, group in enumerate(groups) if set(group) == set(drivers)]
    if not here or len(groups) < 2:
        return None
    frequency, fine = _grids(LOWEST, HIGHEST)
    ways = _Ways(fine, shares(model, fine), frequency)
    built: Signs = (1,) * len(groups)
    way, _, _ = _way_round(groups, here[0], ways, built, ways.level(built))
    if way.verdict == "cannot_tell" or way.null_at is None or way.null is None or way.dips is None:
        return None
    return way.null_at, way.null, way.dips


def _grids(low: float, high: float) -> tuple[Floats, Floats]:
    """Frequencies (G,) of the comparison, and those (F,) of the prediction, which reach a little farther."""
    octaves = math.log2(high / low)
    return (
        np.geomspace(low, high, 1 + math.ceil(AN_OCTAVE * octaves)),
        np.geomspace(low / 2**SMOOTHED, high * 2**SMOOTHED, 1 + math.ceil(FINER * AN_OCTAVE * (octaves + 0.5))),
    )


def shares(model: Build, frequency: Floats) -> Complexes:
    """Pressure (F, C) in Pa at the listening point of each cell of the build, as built, for one volt."""
    acoustics = transfer(model, frequency)
    each = acoustics.total_pressure * solve(model, acoustics, 1.0).load_current
    return np.stack([each[:, list(cell.members)].sum(axis=1) for cell in model.cells], axis=1)


def smoothed(x: Floats, power: Floats, at: Floats, octaves: float = SMOOTHED) -> Floats:
    """Mean of `power` (F,), given at rising frequencies `x` (F,), over a band of `octaves` about each of `at` (G,).

    The mean is over log frequency, and exact for a curve that is straight between its points (trapezia).
    """
    half = octaves / 2 * math.log(2)
    low, high = np.log(at) - half, np.log(at) + half
    places = np.unique(np.concatenate([np.log(x), low, high]))
    values = np.interp(places, np.log(x), power)
    area = np.concatenate([[0.0], np.cumsum((values[1:] + values[:-1]) / 2 * np.diff(places))])
    return np.asarray((np.interp(high, places, area) - np.interp(low, places, area)) / (high - low))


class _Ways:
    """The level (G,) in dB of every way of turning the groups, by their signs."""

    def __init__(self, fine: Floats, parts: Complexes, frequency: Floats) -> None:
        self.frequency, self._fine, self._parts = frequency, fine, parts
        self._rest = LEFT_OVER * np.sum(np.abs(parts) ** 2, axis=1)

    def power(self, signs: Signs) -> Floats:
        return smoothed(self._fine, np.abs(self._parts @ np.array(signs)) ** 2, self.frequency)

    def level(self, signs: Signs) -> Floats:
        return self._decibels(self.power(signs) + smoothed(self._fine, self._rest, self.frequency))

    def sharp(self, signs: Signs) -> Floats:
        """Without what copies leave of every cancellation."""
        return self._decibels(self.power(signs))

    @staticmethod
    def _decibels(power: Floats) -> Floats:
        return np.asarray(10 * np.log10(np.maximum(power, 1e-50)))


def _judge(model: Build, groups: Sequence[Group], name: str, ways: _Ways, measured: Floats) -> Heard:
    """The signs that fit best over all, then each group turned against those."""
    signs = _ways_of_turning(model, groups)
    best = min(signs, key=lambda each: _Laid.on(measured, ways.level(each), ways.frequency).misfit)
    found = [_way_round(groups, c, ways, best, measured) for c in _subjects(signs)]
    found.sort(key=lambda each: "tweeter" not in _roles(model, each[0].drivers))
    _, as_built, turned = found[0]
    return Heard(name, tuple(way for way, *_ in found), ways.frequency, measured, as_built, turned)


def _roles(model: Build, drivers: Group) -> set[str]:
    return {model.variant.hookups[name].driver.role for name in drivers}


def _ways_of_turning(model: Build, groups: Sequence[Group]) -> list[Signs]:
    """Every way of turning groups, as built first. Two that differ in every sign sound alike: that which turns fewer
    drivers stands for both, of two with as many that which leaves the first group without a tweeter."""
    plain = [c for c, drivers in enumerate(groups) if "tweeter" not in _roles(model, drivers)]
    reference = plain[0] if plain else 0
    drivers = len(model.names)

    def stands(signs: Signs) -> bool:
        turned = sum(len(group) for group, sign in zip(groups, signs, strict=True) if sign < 0)
        return 2 * turned < drivers or (2 * turned == drivers and signs[reference] > 0)

    return [signs for signs in itertools.product((1, -1), repeat=len(groups)) if stands(signs)]


def _subjects(signs: Sequence[Signs]) -> list[int]:
    """The groups that any of these ways turns."""
    return [c for c in range(len(signs[0])) if any(each[c] < 0 for each in signs)]


@dataclass(frozen=True, slots=True, eq=False)
class _Laid:
    """A way laid on the table: its level (G,) with the gain and tilt that fit best, and what it misses by, dB rms."""

    level: Floats
    misfit: float

    @classmethod
    def on(
        cls, measured: Floats, level: Floats, frequency: Floats, alike: Mask | None = None, band: Mask | None = None
    ) -> _Laid:
        """Gain free, tilt about as large as `SLOPE`, both from `alike`; the misfit is that in `band`; or everywhere.

        Least squares, with what is known of the tilt as one more equation.
        """
        octaves = np.log2(frequency / frequency[0])
        points = slice(None) if alike is None else alike
        off = (measured - level)[points]
        known = UNEVEN / SLOPE * math.sqrt(AN_OCTAVE * SMOOTHED)  # that many neighbours tell the same
        rows = np.vstack([np.column_stack([np.ones(off.size), octaves[points]]), [0.0, known]])
        gain, slope = np.linalg.lstsq(rows, np.append(off, 0.0), rcond=None)[0]
        laid = level + gain + slope * octaves
        missed = (measured - laid)[slice(None) if band is None else band]
        return cls(laid, float(np.sqrt(np.mean(missed**2))))


def _way_round(
    groups: Sequence[Group], c: int, ways: _Ways, best: Signs, measured: Floats
) -> tuple[WayRound, Floats, Floats]:
    """Group `c` as built and turned, the others as in `best`; and both curves (G,) laid on the table."""
    f = ways.frequency
    both = [tuple(sign if i == c else each for i, each in enumerate(best)) for sign in (1, -1)]
    levels = [ways.level(signs) for signs in both]
    raw = np.abs(levels[0] - levels[1])
    centre = f[int(np.argmax(raw))]
    near = np.abs(np.log2(f / centre))
    band = (near <= REACH) & (raw >= APART)
    around = near <= REACH + BEYOND
    alike = around & (raw < APART)
    if np.count_nonzero(alike) < AN_OCTAVE * LEAST_ALIKE:
        alike = around
    others = tuple(name for i, group in enumerate(groups) if i != c for name in group)
    as_built, turned = (_Laid.on(measured, level, f, alike, band) for level in levels) if band.any() else (None, None)
    if as_built is None or turned is None:
        why = f"the two ways differ by {raw.max():.1f} dB at most, {APART:g} dB are needed"
        return _silent(groups[c], others, why), levels[0], levels[1]
    apart = float(np.max(np.abs(_Laid.on(levels[1], levels[0], f, alike, band).level - levels[1])[band]))
    dips: Way = "as_built" if levels[0][band].mean() < levels[1][band].mean() else "turned"
    loud, quiet = (both[1], both[0]) if dips == "as_built" else both
    depth = np.where(band, ways.sharp(loud) - ways.sharp(quiet), -np.inf)
    deepest = int(np.argmax(depth))
    louder = turned if dips == "as_built" else as_built
    verdict, why = _verdict(apart, as_built.misfit, turned.misfit)
    way = WayRound(
        drivers=groups[c],
        others=others,
        verdict=verdict,
        why=why,
        low=float(f[band][0]),
        high=float(f[band][-1]),
        difference=apart,
        as_built=as_built.misfit,
        turned=turned.misfit,
        dips=dips,
        null_at=float(f[deepest]),
        null=float(depth[deepest]),
        measured_null=float((louder.level - measured)[deepest]),
        evidence=0.0
        if verdict == "cannot_tell"
        else _evidence(int(np.count_nonzero(band)), as_built.misfit, turned.misfit),
    )
    return way, as_built.level, turned.level


def _verdict(apart: float, as_built: float, turned: float) -> tuple[WayRoundVerdict, str]:
    if apart < APART:
        return "cannot_tell", f"level and tilt left open, the two ways differ by {apart:.1f} dB; {APART:g} are needed"
    if turned >= CLEARLY * as_built:
        return "as_built", ""
    if as_built >= CLEARLY * turned:
        return "other_way_round", ""
    return "cannot_tell", "neither fits clearly better than the other"


def _evidence(points: int, as_built: float, turned: float) -> float:
    """ln of a likelihood ratio: normal errors, independent a smoothed band apart, as large as a room makes them."""
    independent = points / (AN_OCTAVE * SMOOTHED)
    error = max(UNEVEN, min(as_built, turned))
    return float(np.clip(independent / 2 * (as_built**2 - turned**2) / error**2, -SUREST, SUREST))


def _silent(drivers: Group, others: Group, why: str) -> WayRound:
    return WayRound(drivers, others, "cannot_tell", why)
