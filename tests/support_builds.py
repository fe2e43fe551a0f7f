"""One copy of a kit built the ordinary way: a kit of its own, its drivers' parameters worked out from fs and the Qs.

Small, J. Audio Eng. Soc. 20(5), 1972: fs = 1/(2 pi sqrt(mms cms)), qms = sqrt(mms/cms)/rms, qes = qms re rms/bl^2.
"""

from __future__ import annotations

import math
from dataclasses import replace

from enclosures.sealed import SealedBox
from system.build import Build, build
from system.builds import Draws, DriverFactors
from system.kit import DriverData, Kit, SmallSignal, Table, Variant


def _small_signal(s: SmallSignal, air_mass: float, factors: DriverFactors, b: int) -> SmallSignal:
    """By way of fs, qms and qes, with the mass that moves and sd held."""
    mms = s.mms + air_mass
    root = math.sqrt(mms / s.cms)
    fs = factors.fs[b] / (2 * math.pi * math.sqrt(mms * s.cms))
    qms, qes = (q * factors.qts[b] for q in (root / s.rms, s.re * root / s.bl**2))
    cms = 1 / ((2 * math.pi * fs) ** 2 * mms)
    root, re = math.sqrt(mms / cms), s.re * factors.re[b]
    return replace(s, re=re, cms=cms, rms=root / qms, bl=math.sqrt(re * root / qes))


def _scaled(table: Table | None, ratio: float) -> Table | None:
    return table and replace(table, magnitude=tuple(ratio * value for value in table.magnitude))


def _raised(table: Table, decibels: float) -> Table:
    return replace(table, magnitude=tuple(value + decibels for value in table.magnitude))


def _driver(data: DriverData, air_mass: float, factors: DriverFactors, b: int) -> DriverData:
    response = data.response
    if response is not None:
        response = replace(response, table=_raised(response.table, 20 * math.log10(factors.level[b])))
    return replace(
        data,
        re=data.re * factors.re[b],
        small_signal=data.small_signal and _small_signal(data.small_signal, air_mass, factors, b),
        impedance=_scaled(data.impedance, factors.re[b]),
        response=response,
    )


def one_copy(kit: Kit, variant: Variant, draws: Draws, b: int) -> Build:
    """Copy number `b`. The losses of a sealed box are the box's own: its Q values are told for another resonance.

    RAL = QL/(wb Cab) and RAB = 1/(wb Cab QA) stay (Small, J. Audio Eng. Soc. 21(5), 1973).
    """
    nominal = build(kit, variant)
    hookups = {}
    for i, (name, hookup) in enumerate(variant.hookups.items()):
        driver, small = nominal.drivers[i], hookup.driver.small_signal
        air_mass = driver.mms - small.mms if driver and small else 0.0
        hookups[name] = replace(hookup, driver=_driver(hookup.driver, air_mass, draws.drivers[name], b))
    places = {
        name: replace(place, part=replace(place.part, value=float(draws.values[name][b])))
        for name, place in variant.places.items()
    }
    copy = build(kit, replace(variant, hookups=hookups, places=places))
    cells = []
    for cell in copy.cells:
        box = cell.enclosure
        if isinstance(box, SealedBox):
            before, after = (
                box.resonance(copy.air, [each.moving(i) for i in cell.members]) for each in (nominal, copy)
            )
            box = replace(box, leak=box.leak * after / before, absorption=box.absorption * before / after)
        cells.append(replace(cell, enclosure=box))
    return replace(copy, cells=tuple(cells))
