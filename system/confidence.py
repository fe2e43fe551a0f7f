"""How many builds of a kit keep a woofer inside its limits: copies drawn within the tolerances of parts and drivers.

Each copy is judged as the kit itself is (`system.states.Margins`), against a linear limit of its own; the damage limit
is not drawn. What is drawn and what is held stands in `system.builds`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from filters.elimination import solve_builds
from filters.network import Network
from filters.parts import Resistor
from system.builds import Common, Draws, draw, part_values, with_values
from system.candidates import Candidate
from system.kit import Variant
from system.predict import PEAK
from system.shares import Share
from system.signal import Signal
from system.states import Figures, States

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

BUILDS = 1000
STEP = 2  # of the grid of the states, every such point: 27 an octave tell a peak to 0.05 dB


@dataclass(frozen=True, slots=True)
class Confidence:
    """The builds that stay inside: place linked, the kit's own capacitor and the named choice, None where not there."""

    seed: int
    law: str
    link: Share
    fitted: Share | None
    named: Share | None


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """Copies of the build behind one place, for all its woofers; the currents in them are kept, by what is in it."""

    states: States
    draws: Draws
    seed: int
    law: str
    common: Common
    signal: Signal
    moves: dict[Candidate | None, Floats] = field(default_factory=dict)  # (B, F, N) one-way peak, m per volt

    @classmethod
    def of(cls, states: States, variant: Variant, seed: int, builds: int = BUILDS) -> Drawn:
        """`builds` copies of what `states` look at, on the signal of `variant`."""
        kit, model = states.kit, states.model
        acoustics = states.acoustics.some(slice(int(np.argmax(states.swept)), None, STEP))
        return cls(
            states=states,
            draws=draw(kit, states.place.variant, builds, seed),
            seed=seed,
            law=kit.spread.law,
            common=Common.of(model, acoustics.frequency, acoustics),
            signal=Signal.of(kit, variant, acoustics.frequency),
        )

    def confidence(self, woofer: str, fitted: Figures | None, named: Figures | None) -> Confidence:
        return Confidence(
            seed=self.seed,
            law=self.law,
            link=self.share(woofer, None),
            fitted=self.share(woofer, fitted.candidate) if fitted else None,
            named=self.share(woofer, named.candidate) if named else None,
        )

    def share(self, woofer: str, candidate: Candidate | None) -> Share:
        """How many builds stay inside with the candidate in the place, or with the place linked (None)."""
        margins = self.margins(woofer, candidate)
        return Share.of(margins >= 0)

    def margins(self, woofer: str, candidate: Candidate | None) -> Floats:
        """The margin (B,) in dB that decides in each build. Raises ValueError for a driver without a linear limit."""
        index = self.states.model.names.index(woofer)
        data = self.states.model.data[index]
        if data.linear_excursion is None:
            raise ValueError(f"{data.name} has no linear limit that a build could keep")
        if candidate not in self.moves:
            self.moves[candidate] = np.concatenate(list(self._moves(candidate)))
        moves, signal = self.moves[candidate][:, :, index], self.signal
        linear = data.linear_excursion * self.draws.drivers[woofer].linear_excursion
        sine = signal.rated * np.max(moves * signal.gain, axis=1)
        margins = []
        with np.errstate(divide="ignore"):  # a cone that nothing drives keeps every limit
            if signal.weights is not None:
                noise = signal.crest / PEAK * signal.full * np.sqrt(moves**2 @ signal.weights)
                margins.append(linear / noise)
            if data.damage_excursion is not None:
                margins.append(data.damage_excursion / sine)
            return np.asarray(20 * np.log10(np.min(margins or [linear / sine], axis=0)))

    def _moves(self, candidate: Candidate | None) -> Iterator[Floats]:
        """(b, F, N) of some builds at a time."""
        omega = 2 * np.pi * self.signal.frequency
        drawn = None if candidate is None else self._values(candidate)
        for some, copies in self.common.chunks(self.draws):
            network = self._network(copies.network, None if drawn is None else drawn[some])
            resistance = self.states.model.source_resistance
            solved = solve_builds(network, omega, copies.impedance, 1.0, resistance)
            yield copies.excursion(solved.load_current)

    def _values(self, candidate: Candidate) -> Floats:
        """Capacitances (B,) of the candidate, each of its members drawn apart."""
        place = self.states.place.place
        part = replace(
            place.part,
            value=candidate.value,
            made_of=candidate.made_of if len(candidate.made_of) > 1 else (),
            made_of_how=candidate.how,
            tolerance=candidate.tolerance,
            marked_value=None,
        )
        return part_values(place.reference, part, self.draws.builds, self.seed, self.law)

    def _network(self, network: Network, values: Floats | None) -> Network:
        """With these capacitances (b,) in the place, or with it linked."""
        reference = self.states.place.place.reference
        if values is not None:
            return with_values(network, {reference: values})
        linked = replace(network.element(reference), part=Resistor(0.0))
        elements = (linked if e.reference == reference else e for e in network.elements)
        return replace(network, elements=tuple(elements))
