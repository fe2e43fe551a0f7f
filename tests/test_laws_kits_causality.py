"""Causality of whole random kits: nothing answers before it is asked, and what is minimum phase by its form is so.

Frequency is laid on the unit circle, w = w0 tan(theta/2), which takes the left half plane into the disc: what is
analytic in the right half plane, has no pole on the axis and one limit at infinity has a Fourier series of one side
only there. This is the relation of Kramers (1927) and Kronig (1926) between real and imaginary part, for functions that
need not fall off (Bode, Network Analysis and Feedback Amplifier Design, 1945, chapter XIV), without the cut-off of an
integral over a finite band.

Cones, boxes and coils of lumped elements only: a quarter-wave line has poles without end, a semi-inductance a branch
point, and fibre models of measured impedance are known not to be causal.
"""

from __future__ import annotations

import numpy as np
from hypothesis import assume

from tests.strategies_kits import Air, kits
from tests.support_laws import at_one_point, law

LUMPED = ("le", "shunted_coil")
BOXES = ("none", "sealed", "passive_radiator")
COUNT = 1 << 13  # points on half of the circle
CENTRE = 2 * np.pi * 400.0
THETA = (np.arange(COUNT) + 0.5) * np.pi / COUNT
FREQUENCY = CENTRE * np.tan(THETA / 2) / (2 * np.pi)
HEARD = (FREQUENCY > 20) & (FREQUENCY < 20e3)


def series(values):
    """Fourier coefficients (2 COUNT,) of a real system's response (COUNT,) on the upper half of the circle.

    The first half are those of e^{-j n theta}, n from 0 up, which are what comes after t = 0.
    """
    whole = np.concatenate([values, values[::-1].conj()])
    n = np.arange(whole.size)
    turned = np.fft.ifft(whole)  # sum of v e^{+j n theta}: coefficients of e^{-j n theta}
    return turned * np.exp(1j * np.pi * n / whole.size)


def is_causal(values):
    """Whether nothing comes before t = 0, which is in the last quarter of the series.

    What comes after t = 0 and has not died away in COUNT steps runs on beyond them, ever weaker.
    """
    found = np.abs(series(values)) ** 2
    whole, late, early = (
        np.sqrt(part.sum()) for part in (found, found[COUNT : COUNT * 3 // 2], found[COUNT * 3 // 2 :])
    )
    return bool(early < 1e-8 * whole + late)


def unresolved(values):
    """What narrow resonances may add to a sum over the series (COUNT terms), by its last terms before it is cut."""
    return COUNT * float(np.max(np.abs(series(values))[COUNT * 3 // 4 : COUNT]))


@law(few=3, many=40, draft=kits(kinds=BOXES, coils=LUMPED, air=Air(filled=False), coupled=True))
def test_no_current_flows_before_there_are_volts(draft):
    """The admittance of a passive one-port is positive real, so analytic in the right half plane (Brune, 1931)."""
    assume(all("dissipation_factor" not in part for part in draft.parts.values()))  # constant loss is not causal
    result = draft.predict(FREQUENCY)
    assert is_causal(1 / (result.impedance + 1.0))
    for driver in result.drivers.values():
        assert is_causal(driver.current)


def straight(values):
    """With its zeros at 0 Hz and at infinity taken off by factors (1 + s)/s and 1 + s, which are minimum phase."""
    slopes = np.log(np.abs(values[[1, -1]] / values[[0, -2]])) / np.log(FREQUENCY[[1, -1]] / FREQUENCY[[0, -2]])
    low, high = np.round(slopes)
    s = 1j * FREQUENCY * 2 * np.pi / CENTRE
    return values * ((1 + s) / s) ** low * (1 + s) ** -high


def phase_of(values):
    """The minimum phase (COUNT,) in rad that goes with the magnitude of `straight` (COUNT,)."""
    both = series(np.log(np.abs(straight(values))).astype(complex))
    # a real part has both sides of its series, half each; its imaginary part is their difference
    n = np.arange(2 * COUNT)
    sides = np.where(n == 0, 0, np.where(n < COUNT, 1, -1)) * both * np.exp(-1j * np.pi * n / (2 * COUNT))
    return np.fft.fft(sides)[:COUNT].imag


@law(few=3, many=40, draft=kits(kinds=BOXES, coils=LUMPED, air=Air(filled=False), most_woofers=1, tweeter=False))
def test_a_ladder_to_one_cone_is_minimum_phase(draft):
    """A ladder of resistances, coils and capacitors has its zeros where a branch opens or shorts, none on the right
    (Bode, 1945, chapter XI), so that its phase follows from its magnitude.

    A cone on the front, heard at its own place in a wall, adds the two zeros at 0 Hz of its acceleration.
    """
    assume(all("dissipation_factor" not in part for part in draft.parts.values()))
    result = at_one_point(draft).predict(FREQUENCY)
    heard = result.drivers["woofer_a"].pressure
    found = np.exp(1j * (np.angle(straight(heard)) - phase_of(heard)))[HEARD]
    sign = np.sign(found[0].real)
    left = unresolved(np.log(np.abs(straight(heard))).astype(complex))
    assume(left < 0.01)  # an all-pass would turn the phase by half a turn and more
    assert np.max(np.abs(found - sign)) < 1e-6 + left


S = 2j * np.pi * FREQUENCY / CENTRE


def test_the_circle_tells_after_from_before():
    """Closed forms: 1/(1 + s) is e^{-t} from t = 0 on, 1/(1 - s) is e^t up to t = 0."""
    assert is_causal(1 / (1 + S))
    assert not is_causal(1 / (1 - S))


def test_phase_follows_from_magnitude_but_for_an_all_pass():
    """Closed forms: s^2/(s^2 + s + 1) is minimum phase; times (1 - s)/(1 + s) it has the same magnitude."""
    high_pass = S**2 / (S**2 + S + 1)
    apart = np.angle(straight(high_pass) * np.exp(-1j * phase_of(high_pass)))
    assert np.max(np.abs(apart)) < 1e-9
    assert np.max(np.abs(phase_of(high_pass * (1 - S) / (1 + S)) - phase_of(high_pass))) < 1e-9
