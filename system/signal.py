"""The signal that a variant is judged on, as it comes out of the amplifier: programme, or a sine that is swept.

A programme is told by its volts rms as they would be without the receiver's high-pass: that is what a volume setting
fixes. What it does is worked out behind the high-pass.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from system import programme
from system.kit import Kit, Variant
from system.predict import PEAK

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Signal:
    """Of one variant at `frequency` (F,): the `gain` (F,) of its high-pass, and a programme of one volt rms behind it.

    `weights` (F,) are its shares of the mean square, None where a sine is the signal. `crest` is the peak over the rms
    of whatever a programme does behind a filter: that of an excursion, max(4, crest factor), for all of it. `full` are
    the volts rms of the signal whose peaks the amplifier clips, `rated` those of a sine.
    """

    frequency: Floats
    lowest: float
    gain: Floats
    weights: Floats | None
    crest: float
    full: float
    rated: float

    @classmethod
    def of(cls, kit: Kit, variant: Variant, frequency: Floats) -> Signal:
        signal, rated = kit.programme, kit.amplifier.rated_volts
        gain = programme.high_pass_gain(variant.receiver_high_pass, frequency)
        if signal.spectrum == "sine":
            return cls(frequency, signal.lowest, gain, None, PEAK, rated, rated)
        weights = programme.power_shares(signal, frequency) * gain**2
        crest = max(programme.EXCURSION_CREST, signal.crest_factor)
        return cls(frequency, signal.lowest, gain, weights, crest, PEAK * rated / signal.crest_factor, rated)

    def rms(self, per_volt: Floats) -> float | None:
        """Rms on a programme of one volt rms of what is `per_volt` (F,) on a sine; None where a sine is the signal."""
        return None if self.weights is None else math.sqrt(float(self.weights @ per_volt**2))

    def largest(self, per_volt: Floats) -> tuple[float, float]:
        """The most of what is `per_volt` (F,) that a sine of one volt swept from `lowest` up makes, and where (Hz)."""
        heard = self.frequency > self.lowest
        behind = per_volt * self.gain
        # the sweep may begin between two points of the grid
        start = np.interp(math.log(self.lowest), np.log(self.frequency), behind)
        behind = np.concatenate([[start], behind[heard]])
        at = int(np.argmax(behind))
        return float(behind[at]), float(np.concatenate([[self.lowest], self.frequency[heard]])[at])
