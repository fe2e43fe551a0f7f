"""The boundary elements against the sphere's series and a cube's published polarizability."""

from __future__ import annotations

import math

import numpy as np
import pytest

from enclosures.boundary import MIRRORS, Body, box_body, carried_on, rounded_body, solid_angles, surface_pressure
from tests.support_diffraction import point_on_sphere, sphere_with_cap

RADIUS = 0.15


def sphere_octant(radius: float, rings: int) -> Body:
    """An eighth of a sphere in flat panels between circles of latitude and longitude, scaled to the sphere's volume."""
    polar = 0.5 * math.pi * np.linspace(0.0, 1.0, rings + 1)
    panels = []
    for i in range(rings):
        count = max(2, math.ceil(rings * math.sin(0.5 * (polar[i] + polar[i + 1]))))
        around = 0.5 * math.pi * np.linspace(0.0, 1.0, count + 1)
        for j in range(count):
            corners = [(i, j), (i, j + 1), (i + 1, j + 1), (i + 1, j)]
            panels.append(
                [
                    (
                        math.sin(polar[m]) * math.cos(around[n]),
                        math.sin(polar[m]) * math.sin(around[n]),
                        math.cos(polar[m]),
                    )
                    for m, n in corners
                ]
            )
    quads = np.array(panels)
    a, b, c, d = (quads[:, i] for i in range(4))
    volume = (np.abs(np.sum(a * np.cross(b, c), axis=1)) + np.abs(np.sum(a * np.cross(c, d), axis=1))).sum() / 6.0
    return Body.of(quads * radius * (math.pi / 6.0 / volume) ** (1.0 / 3.0))


def test_solid_angles_close() -> None:
    """From inside a closed surface they add up to 4 pi, from a point in a face to 2 pi."""
    body = box_body(np.array([0.3, 0.5, 0.2]), (3, 5, 2))
    assert body.angles.sum(axis=(0, 2)) == pytest.approx(2.0 * math.pi, abs=1e-9)
    inside = np.array([[0.02, 0.1, -0.03]])
    signs = np.array([[x, y, z] for x in (1, -1) for y in (1, -1) for z in (1, -1)])
    whole = np.concatenate([body.panels * s for s in signs])
    assert float(solid_angles(inside, whole).sum()) == pytest.approx(4.0 * math.pi, abs=1e-9)


@pytest.mark.parametrize(
    ("frequency", "level"),
    # Spherical-harmonic series, recomputed from the published definition (Morse & Ingard 1968; Beranek & Mellow 2012)
    [
        (50.0, -5.690), (100.0, -5.605), (200.0, -4.909), (300.0, -3.670), (500.0, -2.453),
        (700.0, -1.787), (1000.0, -1.310), (1500.0, -0.716), (2000.0, -0.484), (3000.0, -0.292),
    ],
)  # fmt: skip
def test_the_series_itself(frequency: float, level: float) -> None:
    k, rim = 2.0 * math.pi * frequency / 343.21, 0.03
    area = 2.0 * math.pi * RADIUS**2 * (1.0 - math.sqrt(1.0 - (rim / RADIUS) ** 2))
    ratio = abs(sphere_with_cap(k, RADIUS, rim, 2.0)) / (k * area / (2.0 * math.pi * 1.85))
    assert 20.0 * math.log10(ratio) == pytest.approx(level, abs=0.0006)


def _against_series(rings: int, ka: np.ndarray, listener: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Ours and the series at every panel's centre, a flat place of the surface, and cosines to the listener."""
    body = sphere_octant(RADIUS, rings)
    distance = float(np.linalg.norm(listener))
    places = np.rint(ka / 0.1).astype(int)  # ka in steps of 0.1
    every = surface_pressure(body, body.centres, listener[None], 0.1 / RADIUS, int(places.max()) + 1)
    found = 2.0 * math.pi * every[places, 0]
    cosines = body.centres @ listener / (np.linalg.norm(body.centres, axis=1) * distance)
    exact = np.stack([point_on_sphere(value / RADIUS, RADIUS, distance, cosines) for value in ka])
    return found, exact, cosines


@pytest.mark.parametrize("direction", [(0.0, 0.0, 1.0), (0.5, 0.6, -0.624), (-0.7, 0.1, 0.707)])
def test_sphere(direction: tuple[float, float, float]) -> None:
    """Within 0.1 dB of the series in front, 0.15 dB behind, to ka = 2.8; the inside resonates at ka = pi."""
    ka = np.array([0.1, 0.5, 1.0, 2.0, 2.5, 2.8])
    found, exact, cosines = _against_series(10, ka, 2.0 * np.array(direction) / np.linalg.norm(direction))
    error = np.abs(20.0 * np.log10(np.abs(found / exact)))
    assert np.max(error[:, cosines > 0.0], initial=0.0) < 0.1
    assert np.max(error, initial=0.0) < 0.15


def test_sphere_refines() -> None:
    errors = []
    for rings in (4, 8):
        found, exact, _ = _against_series(rings, np.array([1.5]), np.array([1.0, 0.8, 1.5]))
        errors.append(float(np.sqrt(np.mean(np.abs(found - exact) ** 2))))
    assert errors[1] < 0.4 * errors[0]


def test_sphere_with_cap() -> None:
    """The panels round the pole give the cap's mean pressure, by reciprocity its own radiation, against the series."""
    k = np.array([0.1, 0.5, 1.4, 2.7]) / RADIUS  # 36 to 983 Hz
    found, _, cosines = _against_series(10, k * RADIUS, np.array([0.0, 0.0, 2.0]))
    rim = 0.03
    edge = math.sqrt(1.0 - (rim / RADIUS) ** 2)
    area = 2.0 * math.pi * RADIUS**2 * (1.0 - edge)
    for f, wave_number in enumerate(k):
        # smooth near the pole: a quadratic in the cosine through the first rings, its mean over the cap
        near = cosines > 0.6
        fit = np.polynomial.Polynomial.fit(1.0 - cosines[near], found[f, near], 3)
        t, w = np.polynomial.legendre.leggauss(4)
        mean = 0.5 * np.sum(w * fit(0.5 * (1.0 - edge) * (t + 1.0)))
        exact = 2.0 * math.pi * sphere_with_cap(wave_number, RADIUS, rim, 2.0) / (1j * wave_number * area)
        assert 20.0 * math.log10(abs(mean / exact)) == pytest.approx(0.0, abs=0.1)


def test_polarizability_of_a_cube() -> None:
    """A rigid cube in a uniform static field: -1.6383 times field and volume (Sihvola, Yla-Oijala, Jarvenpaa & Avelin,
    IEEE Trans. Antennas Propag. 52, 2004, table of the platonic solids, permittivity 0; from memory)."""
    far = 40.0
    found = []
    for count in (5, 10):
        body = box_body(np.ones(3), (count, count, count))
        top = body.centres[:, 2] > 0.5 - 1e-9
        corners = body.panels[top]
        area = 0.5 * np.linalg.norm(np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]), axis=1)
        pressure = surface_pressure(body, body.centres[top], np.array([[0, 0, far], [0, 0, -far]]), 0.0, 1)[0].real
        potential = (pressure[0] - pressure[1]) * 2.0 * math.pi * far**2  # of a field of 1
        found.append(8.0 * float(np.sum(potential * area)))  # both faces, four quarters each
    assert found[1] == pytest.approx(1.6383, rel=5e-3)
    assert abs(found[1] - 1.6383) < 0.4 * abs(found[0] - 1.6383)


@pytest.mark.parametrize("rear", [False, True])
def test_mirror_images(rear: bool) -> None:
    """A listener's mirror image hears the mirror images of the points alike."""
    size = np.array([0.2, 0.4, 0.3])
    points, listener = np.array([[0.03, 0.1, 0.15], [-0.07, -0.11, -0.15]]), np.array([[0.5, 0.3, 1.0]])
    bodies = [box_body(size, (2, 4, 3)), rounded_body(size, (2, 4, 3), 0.02, 2, rear)]
    for body, axes in zip(bodies, (3, 3 if rear else 2), strict=True):
        whole = surface_pressure(body, points, listener, 3.0, 4)
        for axis in range(axes):
            mirror = np.where(np.arange(3) == axis, -1.0, 1.0)
            other = surface_pressure(body, points * mirror, listener * mirror, 3.0, 4)
            np.testing.assert_allclose(other, whole, rtol=1e-11)


def test_a_quarter_and_an_eighth_are_one_body() -> None:
    """With nothing to round, four images of a quarter give what eight of an eighth do."""
    size, counts = np.array([0.2, 0.4, 0.3]), (2, 4, 3)
    points, listener = np.array([[0.03, 0.1, 0.15], [-0.07, -0.11, -0.15]]), np.array([[0.5, 0.3, -1.0]])
    eighth = surface_pressure(box_body(size, counts), points, listener, 2.0, 5)
    quarter = surface_pressure(rounded_body(size, counts, 1e-7, 1), points, listener, 2.0, 5)
    np.testing.assert_allclose(quarter, eighth, rtol=2e-5)


def test_roundings_take_off_what_arcs_do() -> None:
    """The volume inside, by the divergence theorem over all images, against that of the box less its edges.

    A rounding takes (1 - pi/4) R^2 off the cross-section; where two meet in a mitre, what both would take counts once:
    the integral of (R - sqrt(R^2 - (R - t)^2))^2 over the depth t, R^3 (5/3 - pi/2).
    """
    size, radius = np.array([0.2, 0.4, 0.3]), 0.05
    for rear in (False, True):
        corners = 2 if rear else 1
        whole = float(np.prod(size)) - corners * (
            2.0 * (size[0] + size[1]) * (1.0 - math.pi / 4.0) * radius**2
            - 4.0 * (5.0 / 3.0 - math.pi / 2.0) * radius**3
        )
        for segments, within in ((2, 4e-4), (6, 5e-5)):
            body = rounded_body(size, (2, 4, 3), radius, segments, rear)
            a, b, c, d = (body.panels[:, i] for i in range(4))
            cones = np.abs(np.sum(a * np.cross(b, c), axis=1)) + np.abs(np.sum(a * np.cross(c, d), axis=1))
            # the coordinate planes cut the body open, and their part of the theorem is nothing: they hold the origin
            assert body.images * float(cones.sum()) / 6.0 == pytest.approx(whole, rel=within)
            assert body.angles.sum(axis=(0, 2)) == pytest.approx(2.0 * math.pi, abs=1e-9)


@pytest.mark.parametrize("radius", [0.0, 0.03])
def test_boxes_refine(radius: float) -> None:
    """The steps from size to size of panel shrink as their 1.6th power, and what is carried on to none hardly moves."""
    size = np.array([0.2, 0.4, 0.3])
    points = np.array([[0.02, 0.1, 0.15], [0.1, -0.05, 0.02]])
    listeners = np.array([[0.3, 0.2, 1.0], [0.5, 0.3, -0.9]])

    def body(count: int) -> Body:
        counts = (count, 2 * count, count)
        return rounded_body(size, counts, radius, count) if radius else box_body(size, counts)

    found = {count: surface_pressure(body(count), points, listeners, 3.0, 4) for count in (2, 3, 4, 6)}
    steps = [np.linalg.norm(found[count] - found[2 * count]) for count in (2, 3)]
    assert steps[1] / steps[0] == pytest.approx((2.0 / 3.0) ** 1.6, rel=0.2)
    carried = [carried_on(found[n], found[3 * n // 2]) for n in (2, 4)]
    assert np.max(np.abs(20.0 * np.log10(np.abs(carried[0] / carried[1])))) < 0.05
    assert np.linalg.norm(carried[0] - carried[1]) < 0.25 * np.linalg.norm(found[3] - carried[1])


def _heard(body: Body, source: np.ndarray, ear: np.ndarray) -> np.ndarray:
    """The pressure (1/m) off the body for a source off it, from that on all its panels: Green's representation."""
    panels = np.concatenate([body.panels * image for image in MIRRORS[: body.images]])
    centres = panels.mean(axis=1)
    step, count = 4.0, 4
    pressure = surface_pressure(body, centres, source[None], step, count)[:, 0]
    normals = np.cross(panels[:, 2] - panels[:, 0], panels[:, 3] - panels[:, 1])
    away = ear - centres
    outward = normals * np.sign(np.sum(normals * centres, axis=1))[:, None]
    layer = np.sign(np.sum(outward * away, axis=1)) * solid_angles(ear[None], panels)[0] / (4.0 * math.pi)
    jkr = 1j * step * np.arange(count)[:, None] * np.linalg.norm(away, axis=1)
    r = float(np.linalg.norm(source - ear))
    direct = np.exp(-1j * step * np.arange(count) * r) / (4.0 * math.pi * r)
    return np.asarray(direct + np.sum(layer * (1.0 + jkr) * np.exp(-jkr) * pressure, axis=1))


@pytest.mark.parametrize("radius", [0.0, 0.03])
def test_reciprocity(radius: float) -> None:
    """A source at the ear is heard at a panel as a panel that pumps is heard at the ear, to 1e-9.

    The second is worked out by another formulation, with sources on the surface (the indirect method: Colton & Kress
    1983, section 3.4): a point source at each panel's centre, so strong that together they send one unit of volume
    velocity out through one panel and none through the others.
    """
    size, ear = np.array([0.2, 0.4, 0.3]), np.array([0.5, -0.3, 1.1])
    body = rounded_body(size, (2, 4, 3), radius, 2) if radius else box_body(size, (2, 4, 3))
    panels = np.concatenate([body.panels * image for image in MIRRORS[: body.images]])
    centres = panels.mean(axis=1)
    here = [0, len(centres) // 3, len(centres) - 2]
    step, count = 5.0, 4
    heard_here = surface_pressure(body, centres[here], ear[None], step, count)[:, 0]
    angles = solid_angles(centres, panels)  # of panel j (columns), seen from the source at i: what it sends through j
    apart = np.linalg.norm(centres[:, None] - centres, axis=2)
    to_ear = np.linalg.norm(centres - ear, axis=1)
    for f in range(count):
        k = step * f
        # outward flux through panel j of the source at i; the body is convex, so all of it goes in, and half of its own
        flux = -angles * (1.0 + 1j * k * apart) * np.exp(-1j * k * apart) / (4.0 * math.pi) - 0.5 * np.eye(len(panels))
        strengths = np.linalg.solve(-flux.T, np.eye(len(panels))[:, here])
        heard_there = (np.exp(-1j * k * to_ear) / (4.0 * math.pi * to_ear)) @ strengths
        np.testing.assert_allclose(heard_here[f], heard_there, rtol=1e-9)


@pytest.mark.parametrize("radius", [0.0, 0.03])
def test_reciprocity_off_the_body(radius: float) -> None:
    """Two places off the body, which nothing of ours asks for: collocation knows of these only as well as its panels
    are fine, 6e-4 here, and their size squared (Rayleigh, Theory of Sound II, section 294)."""
    size = np.array([0.2, 0.4, 0.3])
    one, two = np.array([0.02, 0.1, 0.35]), np.array([-0.16, 0.03, -0.4])
    apart = []
    for n in (1, 2):
        counts = (2 * n, 4 * n, 3 * n)
        body = rounded_body(size, counts, radius, 2 * n) if radius else box_body(size, counts)
        apart.append(np.abs(_heard(body, one, two) / _heard(body, two, one) - 1.0))
    assert np.all(apart[1] < 6e-4)
    assert np.all(apart[1] < 0.35 * apart[0])


def test_nothing_stands_in_the_way_of_a_long_wave() -> None:
    """At 0 Hz a distant source's field is the same all over the body: 1/(4 pi r), and a constant is solved exactly."""
    body = box_body(np.array([0.3, 0.3, 0.3]), (3, 3, 3))
    found = surface_pressure(body, np.array([[0.0, 0.1, 0.15]]), np.array([[0.0, 0.0, 500.0]]), 0.0, 1)
    assert found[0, 0, 0] == pytest.approx(1.0 / (4.0 * math.pi * 500.0), rel=2e-3)
