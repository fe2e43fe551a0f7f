"""How much of a wave a plane sends back, by what it is covered with.

A plane's image has the strength |R| = sqrt(1 - alpha) with alpha the absorption coefficient in octaves for sound from
all directions (Kuttruff, Room Acoustics, section 2.3 for |R|^2 = 1 - alpha; figures as tables like his and that of
Cox & D'Antonio, Acoustic Absorbers and Diffusers, have them; all from memory). Between the bands it runs smoothly over
the logarithm of frequency, outside of them alpha stays what it is in the last band.

What that leaves out, and what it may cost: tables of the same thing differ by 0.05 to 0.1 in alpha, which is 0.5 dB
where an image adds and much more in the bottom of a dip. Alpha depends on the angle: near grazing incidence a plane
reflects more than these figures say, at about 55 degrees less. R has a phase, here none: a layer on a hard wall acts
like a wall up to its own thickness farther back, a board that gives way like one that is nearer, so dips lie a few per
cent off where the layer is thin against the way to the plane. Below 125 Hz nothing is known: carpet and curtains go on
to absorb less, boards and panes resonate somewhere there.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from enclosures.arrays import RealArray

Surface = Literal["rigid", "concrete", "plaster", "wood", "carpet", "curtain", "glass"]

BANDS = (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0)  # Hz
# Absorption coefficients in these octaves, from memory of the tables that handbooks share.
ABSORPTION: dict[str, tuple[float, ...]] = {
    "rigid": (0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
    "concrete": (0.01, 0.01, 0.02, 0.02, 0.02, 0.05),  # smooth
    "plaster": (0.29, 0.10, 0.05, 0.04, 0.07, 0.09),  # gypsum board, 13 mm, on studs
    "wood": (0.15, 0.11, 0.10, 0.07, 0.06, 0.07),  # boards on joists
    "carpet": (0.02, 0.06, 0.14, 0.37, 0.60, 0.65),  # heavy, on concrete
    "curtain": (0.07, 0.31, 0.49, 0.75, 0.70, 0.60),  # medium velour, draped to half its area
    "glass": (0.35, 0.25, 0.18, 0.12, 0.07, 0.04),  # a window
}


def absorption(surface: str, frequency: RealArray) -> RealArray:
    """The absorption coefficient (F,) of a surface at `frequency` (F,) in Hz, 0 Hz included. KeyError: no such word.

    Piecewise cubic and monotone between the bands (Fritsch & Carlson, SIAM J. Numer. Anal. 17, 1980): it never leaves
    the range of its two neighbours.
    """
    if not any(ABSORPTION[surface]):  # a rigid plane, the one there is in most kits
        return np.zeros(np.shape(frequency))
    from scipy.interpolate import PchipInterpolator  # takes a quarter of a second to load

    inside = np.clip(np.asarray(frequency, dtype=np.float64), BANDS[0], BANDS[-1])
    return np.asarray(PchipInterpolator(np.log2(BANDS), ABSORPTION[surface])(np.log2(inside)))


def reflection(surface: str, frequency: RealArray) -> RealArray:
    """|R| (F,) of a surface at `frequency` (F,) in Hz: sqrt(1 - alpha), real and positive. KeyError: no such word."""
    return np.asarray(np.sqrt(1.0 - absorption(surface, frequency)))
