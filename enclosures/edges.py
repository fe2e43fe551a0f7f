"""Sound bent round the edges of a rigid box: wedge integrals of first and second order.

A source on a face is seen by the four edges of that face; each point of such an edge radiates again (first order), also
along the two faces that meet there, to their other edges (second order). The directional weight of an edge point is
exact for the infinite rigid wedge: the directivity functions beta of Svensson, Fred & Vanderkooy, J. Acoust. Soc. Am.
106 (1999), 2331 (their equation numbers not at hand), here for 90-degree edges, nu = pi/(3 pi/2) = 2/3, and sources on
a face. With e^{-jkr}/r for the wave in front of an infinite wall:

    E1 = -nu/(4 pi) integral of beta e^{-jk(m + l)}/(m l) dz
    E2 = (nu/(4 pi))^2 double integral of beta_1 beta_2 e^{-jk(m + b + l)}/(m b l) dz1 dz2

m, b and l are the lengths from source to edge, from edge to edge, and to the listener. The auxiliary function eta of
their paper is the sum of asinh(offset along the edge/distance from it) over both sides of an edge point, and
d(eta) = (1/m + 1/l) dz: both are used throughout, the second because beta's integral over eta has a closed form.

The weights do not depend on frequency, only the phase of the path's length does. So each pair of source and listener
gets one histogram of its paths' lengths (cubic interpolation between bins a tenth of the shortest wavelength apart)
and all frequencies follow from it by one product of matrices.

A rounded edge (`enclosures.rounded`) changes the weights with frequency: in first order by an amount that is added to
beta, here spread along the edge as 1/cosh(nu eta), the course of its slowest part, and in second order by a factor.
Paths that one change belongs to are kept in a histogram of their own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from enclosures.arrays import ComplexArray, RealArray

NU = 2.0 / 3.0  # pi over the exterior wedge angle
ON_PLANE = 1e-9  # m; a listener nearer than this to the plane of a face counts as lying in it
SOFT = 0.6  # rad; see `second_order`
ORDER = 8  # nodes of one Gauss-Legendre rule
SCALE = NU / (4.0 * math.pi)


@dataclass(frozen=True, slots=True)
class Face:
    """A face of the box: the axis it is normal to (0, 1, 2) and whether it is the upper end of it."""

    axis: int
    upper: bool

    @property
    def sign(self) -> float:
        return 1.0 if self.upper else -1.0


@dataclass(frozen=True, slots=True, eq=False)
class Radiator:
    """A point (3,) on a face."""

    face: Face
    position: RealArray


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """The box between two corners, (3,) each, in m; all edges of the `rounded` faces have this `radius` (m)."""

    low: RealArray
    high: RealArray
    radius: float = 0.0
    rounded: tuple[Face, ...] = ()

    def is_rounded(self, face: Face, other: Face) -> bool:
        """Whether the edge between two faces is."""
        return face in self.rounded or other in self.rounded

    def plane(self, face: Face) -> float:
        return float((self.high if face.upper else self.low)[face.axis])

    def length(self, axis: int) -> float:
        return float(self.high[axis] - self.low[axis])

    def height(self, face: Face, points: RealArray) -> RealArray:
        """The distance (m) of points (..., 3) in front of the plane of a face, exactly 0 in it."""
        distance = face.sign * (points[..., face.axis] - self.plane(face))
        return np.where(np.abs(distance) < ON_PLANE, 0.0, distance)


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """Listeners as an edge sees them: cylindrical coordinates, and 1, 1/2 or 0 for in sight, grazing, hidden."""

    radius: RealArray  # (P,) m, from the edge's line
    along: RealArray  # (P,) m, from the edge's lower end
    angle: RealArray  # (P,) rad, from the face the sound comes along, through the air
    sight: RealArray  # (P,)


def across(face: Face) -> Iterator[Face]:
    """The four faces that meet a face."""
    for axis in range(3):
        if axis != face.axis:
            yield Face(axis, False)
            yield Face(axis, True)


def _see(block: Block, face: Face, other: Face, points: RealArray, soft: float = 0.0) -> Seen:
    """How the edge between two faces sees points (P, 3) when its sound comes along `face`.

    With `soft` (rad) the sight fades over that angle to both sides of grazing; hidden points are seen at grazing.
    """
    inward = -block.height(other, points)
    outward = block.height(face, points)
    angle = np.arctan2(outward, inward)
    angle = np.where(angle < 0.0, angle + 2.0 * math.pi, angle)
    hidden = (inward > 0.0) & (outward < 0.0)
    grazing = ((inward > 0.0) & (outward == 0.0)) | ((inward == 0.0) & (outward < 0.0))
    sight = np.where(hidden, 0.0, np.where(grazing, 0.5, 1.0))
    if soft > 0.0:
        lit = np.minimum(angle, 1.5 * math.pi - angle)  # from grazing; negative where hidden
        past = np.where(hidden, -np.minimum(2.0 * math.pi - angle, angle - 1.5 * math.pi), lit)
        t = np.clip(past / soft, -1.0, 1.0)
        sight = 0.5 * (1.0 + np.sin(0.5 * math.pi * t))
        angle = np.where(hidden, np.where(angle > 1.75 * math.pi, 0.0, 1.5 * math.pi), angle)
    axis = 3 - face.axis - other.axis
    return Seen(
        radius=np.maximum(np.hypot(inward, outward), ON_PLANE),
        along=points[..., axis] - block.low[axis],
        angle=angle,
        sight=sight,
    )


def _beta(growth: RealArray, angle: float) -> RealArray:
    """beta for sound along the face; `growth` is exp(nu eta).

    The sum of sin(phi)/(cosh(nu eta) - cos(phi)) over phi = nu (pi +- angle). The paper's four terms are these two
    twice, and half the pressure on a face is the incident wave, so the two are counted once.
    """
    above_one = (growth - 1.0) ** 2 / (2.0 * growth)  # cosh(nu eta) - 1
    total = np.zeros(growth.shape)
    for phi in (NU * (math.pi + angle), NU * (math.pi - angle)):
        if phi != 0.0:  # exactly in the shadow boundary the two one-sided limits cancel
            total += math.sin(phi) / (above_one + 2.0 * math.sin(0.5 * phi) ** 2)
    return total


def _beta_integral(low: RealArray, high: RealArray, angle: float) -> RealArray:
    """The integral of `_beta` over eta between growths, in closed form: (2/nu) atan(cot(phi/2) tanh(nu eta/2))."""
    total = np.zeros(np.broadcast(low, high).shape)
    for phi in (NU * (math.pi + angle), NU * (math.pi - angle)):
        if phi != 0.0:
            sine, cosine = math.sin(0.5 * phi), math.cos(0.5 * phi)
            for growth, sign in ((high, 1.0), (low, -1.0)):
                slope = (growth - 1.0) / (growth + 1.0)  # tanh(nu eta / 2)
                total += sign * (2.0 / NU) * np.arctan(slope * cosine / sine)
    return total


def _growth(offset: RealArray, radius: RealArray | float) -> RealArray:
    """exp(nu asinh(offset/radius)): eta is the sum of asinh of both sides, so its growth is a product."""
    return np.asarray(np.exp(NU * np.arcsinh(offset / radius)))


@lru_cache(maxsize=1)
def _gauss() -> tuple[RealArray, RealArray]:
    nodes, weights = np.polynomial.legendre.leggauss(ORDER)
    return 0.5 * (nodes + 1.0), 0.5 * weights


def _nodes(length: float, count: int) -> tuple[RealArray, RealArray]:
    """At least `count` nodes and weights for an integral over 0 to `length`: Gauss-Legendre rules side by side."""
    parts = -(-count // ORDER)
    step = length / parts
    nodes, weights = _gauss()
    return (step * (np.arange(parts)[:, None] + nodes)).ravel(), np.tile(step * weights, parts)


@dataclass(frozen=True, slots=True, eq=False)
class Paths:
    """Paths from one source to one listener: lengths (N,) in m and weights (N,) in 1/m."""

    lengths: RealArray
    weights: RealArray


@dataclass(frozen=True, slots=True, eq=False)
class EdgeWave:
    """The paths from a source over one edge to one listener, and where the edge is rounded what it adds.

    `added` are the same paths, to be weighted by `enclosures.rounded.change` at kappa = k R `across`, the sine of the
    angle between ray and edge at the edge point nearest to both ends.
    """

    listener: int
    edge: Face  # the other face
    angle: float  # rad, under which the edge sees the listener
    paths: Paths
    added: Paths | None
    across: float


def first_order(block: Block, source: Radiator, listeners: RealArray, spacing: float) -> Iterator[EdgeWave]:
    """The paths over one edge point, for each edge of the source's face and each listener that is in its sight.

    Nodes are about `spacing` (m) apart.
    """
    place = source.position
    for other in across(source.face):
        axis = 3 - source.face.axis - other.axis
        length = block.length(axis)
        nodes, weights = _nodes(length, 16 + math.ceil(length / spacing))
        near = float(-block.height(other, place))
        start = float(place[axis] - block.low[axis])
        m = np.hypot(nodes - start, near)
        growth = _growth(nodes - start, near)
        ends = _growth(np.array([-start, length - start]), near)
        seen = _see(block, source.face, other, listeners)
        for p in np.flatnonzero(seen.sight):
            far, along, angle = float(seen.radius[p]), float(seen.along[p]), float(seen.angle[p])
            strength = -SCALE * float(seen.sight[p])
            le = np.hypot(nodes - along, far)
            both = growth * _growth(nodes - along, far)
            spread = weights / (m * le)
            beta = spread * _beta(both, angle)
            # What the nodes miss of a narrow beta (near a shadow boundary, a source near the edge) goes to its peak.
            limits = ends * _growth(np.array([-along, length - along]), far)
            missed = _beta_integral(limits[:1], limits[1:], angle) - np.sum(beta * (m + le))
            peak = np.clip((start * far + along * near) / (near + far), 0.0, length)
            reach = np.hypot(peak - start, near) + np.hypot(peak - along, far)
            paths = Paths(np.append(m + le, reach), strength * np.append(beta, missed / reach))
            added = None
            if block.is_rounded(source.face, other):
                added = Paths(m + le, strength * spread * 2.0 / (both + 1.0 / both))  # 1/cosh(nu eta)
            yield EdgeWave(int(p), other, angle, paths, added, near / float(np.hypot(peak - start, near)))


@dataclass(frozen=True, slots=True, eq=False)
class _Pair:
    """Two edges of one face, `via`: what of a second-order path does not depend on source or listener."""

    via: Face
    first: Face  # the other face of the first edge
    second: Face
    nodes: tuple[RealArray, RealArray]  # m, along the first and the second edge from their lower ends
    weights: tuple[RealArray, RealArray]
    between: RealArray  # (N1, N2) m
    growth_first: RealArray  # (N1, N2), the second edge's share in eta of the first
    growth_second: RealArray  # (N1, N2), the first edge's share in eta of the second
    second_radius: RealArray  # (N1,) m, the first edge's points from the second edge's line
    second_along: RealArray  # (N1,) m


def _pair(block: Block, via: Face, first: Face, second: Face, spacing: float) -> _Pair:
    axes = (3 - via.axis - first.axis, 3 - via.axis - second.axis)
    points, nodes, weights = [], [], []
    for face, axis in zip((first, second), axes, strict=True):
        length = block.length(axis)
        spots, weight = _nodes(length, 8 + math.ceil(length / spacing))
        place = np.empty((spots.size, 3))
        place[:, via.axis], place[:, face.axis] = block.plane(via), block.plane(face)
        place[:, axis] = block.low[axis] + spots
        points.append(place)
        nodes.append(spots)
        weights.append(weight)
    one, two = points
    first_radius, first_along = -block.height(first, two), two[:, axes[0]] - block.low[axes[0]]
    second_radius, second_along = -block.height(second, one), one[:, axes[1]] - block.low[axes[1]]
    return _Pair(
        via, first, second, (nodes[0], nodes[1]), (weights[0], weights[1]),
        between=np.sqrt(sum(np.subtract.outer(a, b) ** 2 for a, b in zip(one.T, two.T, strict=True))),
        growth_first=_growth(nodes[0][:, None] - first_along, first_radius),
        growth_second=_growth(nodes[1] - second_along[:, None], second_radius[:, None]),
        second_radius=second_radius, second_along=second_along,
    )  # fmt: skip


def _along_face(growth: RealArray, same: bool) -> RealArray:
    """`_beta` for a listener on the source's own face (angle 0) or on the other one (3 pi/2): never singular."""
    half = 0.5 * (growth + 1.0 / growth)
    return math.sqrt(3.0) / (half + 0.5) if same else -math.sqrt(3.0) / (half - 0.5)


@dataclass(frozen=True, slots=True, eq=False)
class DoubleWave:
    """The paths from a source over two edges to one listener, and the angles (rad) under which each sees the next.

    `first` is that of the first edge where it is rounded, `last` that of the second where it is.
    """

    source: int
    listener: int
    via: Face  # the face both edges belong to
    second: Face  # the other face of the second edge
    paths: Paths
    first: float | None
    last: float | None


def second_order(
    block: Block, face: Face, sources: Sequence[Radiator], listeners: RealArray, spacing: float
) -> Iterator[DoubleWave]:
    """The paths over two edges from each source on `face` to each listener, in parts.

    Where a face hides the second edge from the listener its wave stops short; the wave over a third edge, not computed,
    is what fills the step. Its transition is as wide as the first Fresnel zone of the face, sqrt(lambda/(pi length)) or
    about 0.6 rad where the wavelength is that of the first interior resonance. So sight fades over `SOFT` either
    side of grazing. (Against fine boundary elements this halves the error beside and lessens it behind the cabinet.)
    """
    for start in across(face):
        for via in (face, start):
            first = start if via == face else face
            # the face between the edges is the source's own, or the one round the first edge
            bend = (0.0 if via == face else 1.5 * math.pi) if block.is_rounded(face, start) else None
            for second in across(via):
                if second == first:
                    continue
                seen = _see(block, via, second, listeners, SOFT)
                visible = np.flatnonzero(seen.sight)
                if visible.size == 0:
                    continue
                pair = _pair(block, via, first, second, spacing)
                legs = [_first_leg(block, pair, face, source) for source in sources]
                for p in visible:
                    last = _last_leg(block, pair, seen, int(p))
                    angle = float(seen.angle[p]) if block.is_rounded(via, second) else None
                    for s, leg in enumerate(legs):
                        yield DoubleWave(s, int(p), via, second, _through(pair, leg, last), bend, angle)


@dataclass(frozen=True, slots=True, eq=False)
class _FirstLeg:
    """A source's wave over the first edge: weights (N1, N2), lengths (N1,), and what the weight at any point needs."""

    weights: RealArray
    lengths: RealArray
    growth: RealArray  # (N1,)
    same: bool
    along: RealArray  # (N1,) m, nodes of the first edge


def _first_leg(block: Block, pair: _Pair, face: Face, source: Radiator) -> _FirstLeg:
    other = pair.first if face == pair.via else pair.via
    axis = 3 - pair.via.axis - pair.first.axis
    place = source.position
    near, start = float(-block.height(other, place)), float(place[axis] - block.low[axis])
    nodes = pair.nodes[0]
    m = np.hypot(nodes - start, near)
    growth = _growth(nodes - start, near)
    scale = SCALE * pair.weights[0] / m
    same = face == pair.via
    weights = scale[:, None] * _along_face(growth[:, None] * pair.growth_first, same)
    return _FirstLeg(weights, m, np.stack([growth, scale]), same, nodes)


@dataclass(frozen=True, slots=True, eq=False)
class _LastLeg:
    """The second edge's wave to a listener: weights (N1, N2) at the nodes, lengths (N2,), and the peak's (N1,)."""

    weights: RealArray
    lengths: RealArray
    peak_weight: RealArray
    peak_length: RealArray
    peak_growth: RealArray  # (N1,), the peak's share in eta of the first edge


def _last_leg(block: Block, pair: _Pair, seen: Seen, p: int) -> _LastLeg:
    far, along, angle = float(seen.radius[p]), float(seen.along[p]), float(seen.angle[p])
    axis = 3 - pair.via.axis - pair.second.axis
    length, nodes = block.length(axis), pair.nodes[1]
    le = np.hypot(nodes - along, far)
    beta = pair.weights[1] * _beta(pair.growth_second * _growth(nodes - along, far), angle) / (pair.between * le)
    near, start = pair.second_radius, pair.second_along
    low = _growth(-start, near) * _growth(np.array([-along]), far)
    high = _growth(length - start, near) * _growth(np.array([length - along]), far)
    missed = _beta_integral(low, high, angle) - np.sum(beta * (pair.between + le), axis=1)
    peak = np.clip((start * far + along * near) / (near + far), 0.0, length)
    reach = np.hypot(peak - start, near) + np.hypot(peak - along, far)
    # the peak as the first edge sees it
    spot = np.empty((peak.size, 3))
    spot[:, pair.via.axis], spot[:, pair.second.axis] = block.plane(pair.via), block.plane(pair.second)
    spot[:, axis] = block.low[axis] + peak
    first_axis = 3 - pair.via.axis - pair.first.axis
    radius = np.maximum(-block.height(pair.first, spot), ON_PLANE)
    growth = _growth(pair.nodes[0] - (spot[:, first_axis] - block.low[first_axis]), radius)
    strength = SCALE * float(seen.sight[p])
    return _LastLeg(strength * beta, le, strength * missed / reach, reach, growth)


def _through(pair: _Pair, leg: _FirstLeg, last: _LastLeg) -> Paths:
    at_peak = leg.growth[1] * _along_face(leg.growth[0] * last.peak_growth, leg.same) * last.peak_weight
    lengths = leg.lengths[:, None] + pair.between + last.lengths
    return Paths(
        np.concatenate([lengths.ravel(), leg.lengths + last.peak_length]),
        np.concatenate([(leg.weights * last.weights).ravel(), at_peak]),
    )


# Four-point Lagrange weights of bins -1, 0, 1 and 2 (columns) as polynomials in the way t from bin 0 to bin 1: the rows
# are the coefficients of 1, t, t^2 and t^3.
LAGRANGE = np.array([[0, 6, 0, 0], [-2, -3, 6, -1], [3, -6, 3, 0], [-1, 3, -3, 1]]) / 6.0

PATHS_AT_ONCE = 8192  # keeps what is made of them in a core's own cache, which halves the time
PAIRS_AT_ONCE = 8  # keeps their spectra in some megabytes


class Echoes:
    """Histograms of path lengths, one a pair of source and listener in each group, and the spectra that follow."""

    def __init__(self, bin_width: float, bins: int, shape: tuple[int, int]) -> None:
        self.bin_width = bin_width
        self.bins = bins + 5
        self.shape = shape
        self.used = 0  # bins, of all that there are
        self.groups: list[RealArray] = []  # (listeners, sources, bins) each
        self.packed: tuple[RealArray, NDArray[np.intp], int] | None = None

    def new_group(self) -> int:
        self.groups.append(np.zeros((*self.shape, self.bins)))
        return len(self.groups) - 1

    def add(self, group: int, listener: int, source: int, paths: Paths, shortest: float) -> None:
        """Put paths in, their lengths counted from `shortest` (m); four-point Lagrange weights at the bins.

        The weights are cubic in a path's place within its bin, so a bin's first moments make up all of its paths.
        """
        counts = self.groups[group][listener, source]
        for start in range(0, paths.lengths.size, PATHS_AT_ONCE):
            some = slice(start, start + PATHS_AT_ONCE)
            where = (paths.lengths[some] - shortest) / self.bin_width + 1.0
            whole = where.astype(np.int64)
            within = where - whole
            first, span = int(whole.min()), int(np.ptp(whole)) + 1
            whole -= first
            weights = paths.weights[some]
            moments = np.empty((4, span))
            for power in range(4):
                moments[power] = np.bincount(whole, weights, minlength=span)
                weights = weights * within
            shares = LAGRANGE.T @ moments
            for shift in range(4):
                counts[first + shift : first + shift + span] += shares[shift]
            self.used = max(self.used, first + span + 3)

    def spectra(self, wavenumbers: RealArray) -> ComplexArray:
        """The sum of weight e^{-jk (length - shortest)} of every pair: (F, groups, listeners, sources), 1/m.

        Nothing can be added any more.
        """
        every, heard, groups = self._packed()
        block = 64
        rows = -(-self.used // block)
        step = np.outer(wavenumbers, self.bin_width * np.arange(block))  # within a block of bins
        leap = np.exp(
            -1j * np.outer(wavenumbers, self.bin_width * (block * np.arange(rows) - 2))
        )  # from block to block
        both = np.concatenate([np.cos(step), -np.sin(step)])
        result = np.zeros((wavenumbers.size, groups * self.shape[0] * self.shape[1]), dtype=np.complex128)
        for start in range(0, heard.size, PAIRS_AT_ONCE):
            some = slice(start, start + PAIRS_AT_ONCE)
            counts = np.zeros((heard[some].size, rows * block))
            counts[:, : self.used] = every[some]
            within = both @ counts.reshape(-1, block).T  # (2 F, pairs and blocks)
            wave = (within[: len(leap)] + 1j * within[len(leap) :]).reshape(-1, len(counts), rows)
            result[:, heard[some]] = np.einsum("fsr,fr->fs", wave, leap)
        return result.reshape(-1, groups, *self.shape)

    def _packed(self) -> tuple[RealArray, NDArray[np.intp], int]:
        """The bins in use of the pairs that have any paths, which pairs they are, and the number of groups."""
        if self.packed is None:
            alive = [np.flatnonzero(group.any(axis=2)) for group in self.groups]
            pairs = self.shape[0] * self.shape[1]
            counts = [group.reshape(pairs, -1)[own, : self.used] for group, own in zip(self.groups, alive, strict=True)]
            places = [pairs * g + own for g, own in enumerate(alive)]
            self.packed = np.concatenate(counts), np.concatenate(places), len(self.groups)
            self.groups.clear()
        return self.packed
