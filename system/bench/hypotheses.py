"""One hypothesis for each mistake of a variant, set up once for all sweeps of the same frequencies."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from filters.network import solve
from system.bench.copies import Acoustics, Copies, Layout, cold
from system.bench.faults import RIGHT, Fault, faults, wrong
from system.bench.likelihood import STEP, Error, Fitted, Whitening, fit, likely_error
from system.build import build, crossover
from system.kit import Kit, Variant
from system.transfer import motion

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

RIGHT_PRIOR = 0.5  # the rest evenly over the kinds of fault, then over their places; common practice, no source
STARTS = np.array([-1.4, -0.7, 0.0, 0.7, 1.4])  # of every fs, standard deviations
FAR = 3.0  # standard deviations, the farthest that a linear estimate leads
# Hypotheses that are fitted properly: so many, if the linear estimate of ln p is within the margin of the best.
LEAST_REFINED, REFINED, MARGIN = 3, 12, 25.0
TOLD = 1.0  # ln p by which two explanations must differ to be told apart
NEARLY = 4.0  # the linear estimate may be so many times too large near zero
SAME = 1e-8  # of ln Z, between curves that are the same
PER_OCTAVE = 12  # frequencies of a sweep that are used


def priors(every: Sequence[Fault]) -> Floats:
    """Of each fault before anything is measured."""
    kinds = Counter(fault.kind for fault in every)
    wrong_kinds = len(kinds) - 1
    return np.array(
        [RIGHT_PRIOR if fault == RIGHT else (1 - RIGHT_PRIOR) / (wrong_kinds * kinds[fault.kind]) for fault in every]
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Linear:
    """What a hypothesis says near each of its starts (G, P), for one kind of data: white slopes (G, P, D)."""

    slope: Floats
    inverse: Floats  # (G, P, P) of 1 + slope slope'
    logdet: Floats  # (G,)


@dataclass(frozen=True, slots=True, eq=False)
class Hypothesis:
    """A mistake with its prior, copies of the speaker that has it, and their curves ln Z (G, F) at the starts."""

    fault: Fault
    prior: float
    copies: Copies
    starts: Floats  # (G, P)
    curves: Complexes
    slopes: Complexes  # (G, P, F) per standard deviation

    @property
    def middle(self) -> int:
        """Which of its starts is that of all things as drawn."""
        return len(self.starts) // 2


@dataclass(frozen=True, slots=True, eq=False)
class _Screened:
    """Of each hypothesis, by the best of its starts: log `evidence` and `phi` (H,), which it is, and where the best
    few lead, each (S, P)."""

    evidence: Floats
    phi: Floats
    start: list[int]
    lead: list[Floats]


@dataclass(frozen=True, slots=True, eq=False)
class Hypotheses:
    """All that can be wrong with a variant, at those of a sweep's frequencies that are used (`chosen`)."""

    kit: Kit
    variant: Variant
    whole: Floats
    chosen: NDArray[np.intp]
    frequency: Floats
    layout: Layout
    all: tuple[Hypothesis, ...]
    twins: tuple[int, ...]  # of each the first that makes the same curves
    white: dict[Error, tuple[Whitening, list[_Linear]]]

    @property
    def right(self) -> int:
        """Which of them is the right build."""
        return next(h for h, each in enumerate(self.all) if each.fault == RIGHT)

    @classmethod
    def of(cls, kit: Kit, variant: Variant, frequency: Floats) -> Hypotheses:
        """Of `variant` for sweeps at `frequency` (F,) Hz, rising."""
        chosen = thinned(frequency)
        used = frequency[chosen]
        every = faults(kit, variant)
        acoustics: list[Acoustics] = []
        made = [wrong(kit, variant, fault) for fault in every]
        right = Acoustics.of(kit, variant, used, variant, RIGHT)
        for fault, other in zip(every, made, strict=True):
            same = other.cabinet is variant.cabinet
            acoustics.append(right if same else Acoustics.of(kit, variant, used, other, fault))
        layout = Layout.of(variant, tuple(dict.fromkeys(name for each in acoustics for name in each.extra)))
        batches = {}
        for air in dict.fromkeys(acoustics):
            starts = _starts(layout, air.wide)
            batch = np.concatenate([starts[:, None], starts[:, None] + STEP * np.eye(len(layout))], axis=1)
            batch = batch.reshape(-1, len(layout))
            batches[air] = starts, batch, air.loads(layout, batch)
        found = []
        for fault, other, air, prior in zip(every, made, acoustics, priors(every), strict=True):
            starts, batch, loads = batches[air]
            copies = Copies.of(air, layout, other, crossover(kit, other))
            curves = copies.log_impedance(batch, loads).reshape(len(starts), -1, used.size)
            slopes = (curves[:, 1:] - curves[:, :1]) / STEP
            found.append(Hypothesis(fault, float(prior), copies, starts, curves[:, 0], slopes))
        twins: list[int] = []
        for h, each in enumerate(found):
            twins.append(next((g for g in range(h) if _same(found[g], each)), h))
        return cls(kit, variant, frequency, chosen, used, layout, tuple(found), tuple(twins), {})

    def linear(self, error: Error) -> tuple[Whitening, list[_Linear]]:
        """What the hypotheses say near their starts, for an error; made once for each."""
        if error not in self.white:
            white = Whitening.of(self.frequency, error)
            made = []
            for each in self.all:
                slope = white(each.slopes)
                normal = np.eye(slope.shape[1]) + slope @ slope.transpose(0, 2, 1)
                inverse: Floats = np.linalg.inv(normal).astype(np.float64)
                made.append(_Linear(slope, inverse, np.linalg.slogdet(normal)[1]))
            self.white[error] = white, made
        return self.white[error]

    def screen(self, data: Complexes, error: Error) -> _Screened:
        """What each hypothesis says of ln Z (F,), linear about each of its starts."""
        white, linear = self.linear(error)
        found = _Screened(np.empty(len(self.all)), np.empty(len(self.all)), [], [])
        for h, (each, line) in enumerate(zip(self.all, linear, strict=True)):
            residual = white(data - each.curves)  # (G, D)
            pull = np.einsum("gpd,gd->gp", line.slope, residual) - each.starts
            step = np.einsum("gpq,gq->gp", line.inverse, pull)
            phi = (np.sum(residual**2, axis=1) + np.sum(each.starts**2, axis=1) - np.sum(pull * step, axis=1)) / 2
            value = -phi - line.logdet / 2
            order = np.argsort(-value)
            found.evidence[h], found.phi[h] = value[order[0]], phi[order[0]]
            found.start.append(int(order[0]))
            best = order[: max(1, len(order) // STARTS.size // 2)]  # several where the size of a leak is sought too
            found.lead.append(np.clip(each.starts[best] + step[best], -FAR, FAR))
        return found

    def explain(self, data: Complexes | None, log_prior: Floats) -> Explained:
        """Each hypothesis fitted to `data`, ln Z (F,) at `frequency` (real without phase; None: there is no sweep).

        `log_prior` (H,) says which ones are worth a proper fit.
        """
        if data is None:
            return Explained(self, np.zeros(len(self.all)), {}, [each.middle for each in self.all], None, None)
        usual = Error.usual(bool(np.iscomplexobj(data)))
        first = self.screen(data, usual)
        best = int(np.argmax(first.evidence + log_prior))
        roughly = self._fit(best, data, usual, first.lead[best])
        error = likely_error(self.frequency, data, roughly)
        screened = self.screen(data, error)
        evidence = screened.evidence
        order = [h for h in np.argsort(-(evidence + log_prior)) if self.twins[h] == h]
        least = evidence[order[0]] + log_prior[order[0]] - MARGIN
        within = [h for h in order[:REFINED] if evidence[h] + log_prior[h] > least]
        fits = {
            int(h): self._fit(h, data, error, screened.lead[h])
            for h in dict.fromkeys((*order[:LEAST_REFINED], *within, self.right))
        }
        for h, fitted in fits.items():
            evidence[h] = fitted.evidence
        evidence = evidence[list(self.twins)]
        return Explained(self, evidence, fits, screened.start, data, self.linear(error)[0])

    def _fit(self, h: int, data: Complexes, error: Error, starts: Floats) -> Fitted:
        """The best fit from `starts` (S, P)."""
        copies, white = self.all[h].copies, self.linear(error)[0]
        found = (fit(copies.log_impedance, data, white, start, copies.active) for start in starts)
        return max(found, key=lambda each: each.evidence)

    def worse(self, a: int, others: Sequence[int], within: float) -> Floats:
        """By how much (in ln p) each of `others` explains worse the curve of `a`, built to the drawing but for a.

        With phase and the usual error; infinite where it is more than `within`.
        """
        data, usual = self.all[a].curves[self.all[a].middle], Error.usual(True)
        seen = self.screen(data, usual)
        near = (
            self._fit(b, data, usual, seen.lead[b]).phi if seen.phi[b] < NEARLY * within else np.inf for b in others
        )
        return np.array([phi if phi < within else np.inf for phi in near])

    def alike(self) -> list[list[int]]:
        """The hypotheses in groups that no sweep with phase tells from the first of each, built to the drawing."""
        firsts = sorted(set(self.twins))
        worse = {a: dict(zip(firsts, self.worse(a, firsts, TOLD), strict=True)) for a in firsts}
        groups: list[list[int]] = []
        for h, t in enumerate(self.twins):
            heads = ((group, self.twins[group[0]]) for group in groups)
            home = next((group for group, a in heads if max(worse[a][t], worse[t][a]) < TOLD), None)
            if home is None:
                groups.append([h])
            else:
                home.append(h)
        return groups

    def hidden(self) -> list[int]:
        """Mistakes that a sweep is not expected to show, those that none can show among them.

        The right build explains their curve worse by less (in ln p) than it is likelier.
        """
        found = []
        for h, each in enumerate(self.all):
            odds = math.log(self.all[self.right].prior / each.prior)
            if h != self.right and np.isfinite(self.worse(h, [self.right], odds)[0]):
                found.append(h)
        return found

    def nominal(self) -> Complexes:
        """Impedance (F,) in ohm of the kit as drawn, at all of the sweep's frequencies."""
        model = build(self.kit, cold(self.variant))
        loads = motion(model, self.whole).impedance
        return solve(model.network, 2 * np.pi * self.whole, loads).input_impedance

    def spread_out(self, curve: Complexes) -> Complexes:
        """Impedance (..., F) in ohm at all of the sweep's frequencies from ln Z at those that are used."""
        smooth = curve.real + 1j * np.unwrap(curve.imag)
        return np.asarray(np.exp(CubicSpline(np.log(self.frequency), smooth, axis=-1)(np.log(self.whole))))


@dataclass(frozen=True, slots=True, eq=False)
class Explained:
    """What each hypothesis makes of a sweep: its log `evidence` (H,), and the `fits` of those that were fitted."""

    made: Hypotheses
    evidence: Floats
    fits: Mapping[int, Fitted]
    start: Sequence[int]  # of each the start that is nearest
    data: Complexes | None
    white: Whitening | None

    def unknowns(self, h: int) -> tuple[Floats, Floats]:
        """u (P,) and its covariance (P, P) under a hypothesis; as before any measurement where it was not fitted."""
        found = self.fits.get(self.made.twins[h])
        size = len(self.made.layout)
        return (found.u, found.covariance) if found else (np.zeros(size), np.eye(size))

    def curves(self) -> Complexes:
        """Impedance (H, F) in ohm at all of the sweep's frequencies: where it was fitted, else of the nearest start."""
        return self.made.spread_out(np.stack([self._log_curve(h) for h in range(len(self.made.all))]))

    def _log_curve(self, h: int) -> Complexes:
        found = self.fits.get(self.made.twins[h])
        return found.curve if found else self.made.all[h].curves[self.start[h]]

    def misfit(self, h: int) -> float:
        """Rms of what is left, in standard deviations of the usual error; zero without a sweep."""
        found = self.fits.get(self.made.twins[h])
        if found is None or self.data is None:
            return 0.0
        white = self.made.linear(Error.usual(bool(np.iscomplexobj(self.data))))[0]
        return float(np.sqrt(np.mean(white(self.data - found.curve) ** 2)))

    def groups(self, probability: Floats, said: Floats) -> list[list[int]]:
        """The hypotheses, most likely first, in groups of what cannot be told from the most likely of each.

        `said` (H,) is ln p of other measurements: what they tell apart by `TOLD` is no group.
        """
        groups: list[list[int]] = []
        for h in np.argsort(-probability, kind="stable"):
            home = next((group for group in groups if self.alike(group[0], int(h), said)), None)
            if home is None:
                groups.append([int(h)])
            else:
                home.append(int(h))
        return groups

    def alike(self, a: int, b: int, said: Floats) -> bool:
        """Whether neither explains the other's best curve worse by `TOLD`."""
        if abs(said[a] - said[b]) > TOLD:
            return False
        one, other = (self.fits.get(self.made.twins[h]) for h in (a, b))
        if self.made.twins[a] == self.made.twins[b] or self.white is None:
            return True
        if one is None or other is None:
            return False
        return max(apart(one, other, self.white), apart(other, one, self.white)) < TOLD


def apart(one: Fitted, other: Fitted, white: Whitening) -> float:
    """By how much (in ln p) `other` explains the curve of `one` worse, refitted to it by its slopes."""
    residual = white(one.curve - other.curve)
    u = other.u[other.columns]
    pull = other.slope @ residual - u
    step = np.linalg.solve(np.eye(u.size) + other.slope @ other.slope.T, pull)
    return float((residual @ residual + u @ u - pull @ step - one.u @ one.u) / 2)


def _starts(layout: Layout, wide: Sequence[str]) -> Floats:
    """Where fits start from (G, P), the middle one at zero: every fs, and the size of a leak that is a fault."""
    of_fs = [i for i, name in enumerate(layout.names) if name.endswith(" fs") and not name.endswith("own fs")]
    sizes = STARTS if wide else np.zeros(1)
    starts = np.zeros((STARTS.size, sizes.size, len(layout)))
    starts[:, :, of_fs] = STARTS[:, None, None]
    for name in wide:
        starts[:, :, layout.names.index(name)] = sizes
    return starts.reshape(-1, len(layout))


def _same(one: Hypothesis, other: Hypothesis) -> bool:
    """Whether two make the same curves, whatever their copies are."""
    if one.curves.shape != other.curves.shape:
        return False
    pairs = ((one.curves, other.curves), (one.slopes, other.slopes))
    return all(np.allclose(a, b, rtol=0, atol=SAME) for a, b in pairs)


def thinned(frequency: Floats) -> NDArray[np.intp]:
    """Which of `frequency` (F,) Hz, rising, are used: about `PER_OCTAVE` to an octave."""
    octaves = math.log2(frequency[-1] / frequency[0])
    wanted = np.geomspace(frequency[0], frequency[-1], max(2, round(octaves * PER_OCTAVE) + 1))
    return np.unique(np.abs(np.log(frequency[:, None] / wanted)).argmin(axis=0))
