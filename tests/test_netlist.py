"""The netlist of a variant, run by ngspice, against the project's own chain of enclosures and network."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from enclosures.acoustics import electrical_load
from filters.network import solve
from system import kit as k
from system import tabulated
from system.build import build
from system.netlist import netlist
from tests.support_ngspice import needs_ngspice, run

WOOFER_DATA = k.SmallSignal(re=6.1, bl=6.3, mms=12e-3, cms=1.0e-3, rms=1.0, sd=92e-4)
TWEETER_DATA = k.SmallSignal(re=5.2, bl=3.1, mms=0.35e-3, cms=0.08e-3, rms=0.9, sd=7e-4)
AIR = k.AirSpec(1.2041, 343.21, 1.82e-5, 0.72, 1.401)


def driver(name, data, coil=None, **more):
    return k.DriverData(name, "woofer", data.re, data.sd, data, coil, **more)


WOOFER = driver("woofer", WOOFER_DATA, k.Coil("le", {"le": 0.45e-3}))
TWEETER = driver(
    "tweeter", TWEETER_DATA, k.Coil("shunted_coil", {"series": 2e-5, "shunted": 5e-5, "shunt_resistance": 1.5})
)


def part(kind, value, **more):
    return k.Part(kind, value, **more)


PLACES = (
    k.Place("C1", part("capacitor", 220e-6, resistance=0.05, leakage_resistance=50e3), ("in", "w1")),
    k.Place("L1", part("coil", 1.2e-3, resistance=0.3), ("w1", "w2")),
    k.Place("C2", part("capacitor", 15e-6), ("w2", "common")),
    k.Place("C3", part("capacitor", 6.8e-6), ("in", "t1")),
    k.Place("L2", part("coil", 0.35e-3), ("t1", "common")),
    k.Place("R1", part("resistor", 2.2), ("t1", "t2")),
    k.Place("R9", part("resistor", 10.0), ("t2", "common"), "omit"),
)
NOTCH = (
    k.Place("R2", part("resistor", 3.3), ("w2", "n1")),
    k.Place("L3", part("coil", 1.5e-3, resistance=0.2), ("n1", "N1")),  # points that differ by case only
    k.Place("C4", part("capacitor", 4.7e-6), ("N1", "common")),
)


def variant(chamber, places=PLACES, couplings=(), drivers=(WOOFER, WOOFER, TWEETER), reversed_b=False):
    second = ("common", "w2") if reversed_b else ("w2", "common")
    hookups = {
        "woofer_a": k.Hookup("woofer_a", drivers[0], "w2", "common"),
        "woofer_b": k.Hookup("woofer_b", drivers[1], *second),
        "tweeter": k.Hookup("tweeter", drivers[2], "common", "t2", reversed_on_purpose=True),
    }
    chambers = () if chamber is None else (chamber,)
    cabinet = k.Cabinet("box", None, {}, chambers)
    places = {p.reference: p for p in places}
    return k.Variant(
        "one", cabinet, "upright", k.Placement("in_wall"), places, hookups, tuple(couplings), k.Listening()
    )


def kit(one, output_resistance=0.1):
    amplifier = k.Amplifier(80.0, 8.0, output_resistance=output_resistance, cable=0.0)
    return k.Kit(
        "Test kit", Path("kit.yaml"), AIR, amplifier, k.Programme(), k.Stock(), {}, ("in", "common"), {"one": one}, ()
    )


BOTH = ("woofer_a", "woofer_b")
INF = math.inf
SEALED = k.SealedChamber(BOTH, 8e-3, 20.0, 40.0)
PORT = k.PortSpec(math.pi * 0.03**2, 0.12, 1, "flanged", "flanged")
VENTED = k.VentedChamber(
    BOTH, 20e-3, (PORT, replace(PORT, area=8e-4, count=2, end="unflanged", inner_end="ideal")), None, 15.0, 60.0, 50.0
)
RADIATOR = k.RadiatorChamber(
    BOTH,
    18e-3,
    (k.RadiatorSpec(137e-4, 48e-3, 1.4e-3, 0.0, 1), k.RadiatorSpec(90e-4, 30e-3, 1.0e-3, 0.8, 2)),
    INF,
    30.0,
)
LINE = k.LineChamber(
    BOTH,
    (0.18, 0.44),
    (k.SectionSpec(0.6, 240e-4, 200e-4, fill=k.FillSpec(1500.0)), k.SectionSpec(0.45, 200e-4, 200e-4)),
    (k.MouthSpec("flanged", replace(PORT, length=0.11, inner_end="ideal")),),
)
FILLED = replace(VENTED, fill=k.FillSpec(800.0))

EXACT = {
    "sealed_with_coupled_coils_and_reversed_tweeter": variant(SEALED, couplings=[k.Coupling(("L1", "L2"), 0.12)]),
    "lossless_sealed_with_notch_and_reversed_woofer": variant(
        replace(SEALED, leak=INF, absorption=INF), PLACES + NOTCH, reversed_b=True
    ),
    "vented_with_a_linked_capacitor": variant(VENTED, (replace(PLACES[0], state="link"), *PLACES[1:])),
    "lossless_vented": variant(
        replace(VENTED, leak=INF, absorption=INF, port=INF), PLACES + NOTCH, [k.Coupling(("L1", "L3"), -0.2)]
    ),
    "ports_along_a_wall_before_a_wall": variant(
        replace(VENTED, ports=(replace(PORT, end="along_wall", inner_end="in_corner", count=2, clearance=0.04),))
    ),
    "radiators": variant(RADIATOR),
    "no_chamber": variant(None, PLACES[:-1]),
}


def expected(one, frequency, output_resistance=0.1):
    """Our own prediction of this circuit: the solution, and the N-port's impedance and velocities (F, N, N)."""
    model = build(kit(one, output_resistance), one)
    omega, n = 2 * np.pi * frequency, len(model.drivers)
    impedance, velocity = np.zeros((2, omega.size, n, n), complex)
    flows = {}
    for cell in model.cells:
        m = np.array(cell.members)
        table = model.data[m[0]].impedance
        if table is not None:
            impedance[:, m, m] = tabulated.impedance(table, frequency)[:, None]
            continue
        load = electrical_load([model.drivers[i] for i in m], cell.enclosure, omega, model.air)
        impedance[:, m[:, None], m] = load.impedance
        velocity[:, m[:, None], m] = load.velocity
        flows |= {name: (m, load.openings[:, i]) for i, name in enumerate(cell.opening_names)}
    return model, solve(model.network, omega, impedance, 2.83, output_resistance), impedance, velocity, flows


def relative(found, right):
    return np.max(np.abs(found - right) / np.abs(right))


@needs_ngspice
@pytest.mark.parametrize("name", EXACT)
def test_lumped_variants_are_exact(name, tmp_path):
    one = EXACT[name]
    frequency, spice = run(netlist(kit(one), one), tmp_path)
    model, solution, _, velocity, flows = expected(one, frequency)
    worst = relative(-spice["i(vamplifier)"], solution.input_current)
    for point, volts in solution.point_volts.items():
        if point not in ("common", "N1", "w1"):
            worst = max(worst, relative(spice[f"v({point.lower()})"], volts))
    moved = np.einsum("fnm,fm->fn", velocity, solution.load_current)
    for i, driver_name in enumerate(model.names):
        worst = max(worst, relative(spice[f"i(v_{driver_name})"], solution.load_current[:, i]))
        found = spice[f"v({driver_name}_velocity)"]
        # a cone may stand still at one frequency: against what the other current would do to it
        worst = max(
            worst, np.max(np.abs(found - moved[:, i]) / np.abs(velocity[:, i] * solution.load_current).sum(axis=1))
        )
    for opening, (members, flow) in flows.items():
        terms = flow * solution.load_current[:, members]
        worst = max(worst, np.max(np.abs(spice[f"i(v_{opening})"] - terms.sum(axis=1)) / np.abs(terms).sum(axis=1)))
    print(f"{name}: largest relative difference {worst:.1e}")
    assert worst < 1e-5


def stated(text, words):
    """The largest error that the netlist's comments state about `words`."""
    flat = text.replace("\n*  ", "")
    return max(float(found) for found in re.findall(words + r".*?largest error ([0-9.e-]+[0-9])", flat))


DOME = tuple(np.geomspace(20, 20e3, 80))


def dome_table():
    """A table as measured on a dome: resonance at 900 Hz and a voice coil that rises slowly."""
    omega = 2 * np.pi * np.array(DOME)
    z = 5.2 + 0.02 * (1j * omega) ** 0.6 + 4.0 / (1 + 1j * 1.5 * (omega / 5655 - 5655 / omega))
    return k.Table("dome.txt", DOME, tuple(np.abs(z)), tuple(np.angle(z)))


POWER_LAW = driver("woofer", WOOFER_DATA, k.Coil("power_law", {"factor": 0.03, "exponent": 0.62}))
SEMI = driver("woofer", WOOFER_DATA, k.Coil("semi_inductance", {"series": 1e-4, "shunted": 1.5e-3, "semi": 0.05}))
DOME_ONLY = k.DriverData("dome", "tweeter", 5.2, impedance=dome_table())
LOSSY = (replace(PLACES[0], part=part("capacitor", 100e-6, dissipation_factor=0.08, dissipation_at=120.0)), *PLACES[1:])

FITTED = {
    "line": (variant(LINE), "mobility fitted"),
    "box_with_depth": (variant(replace(SEALED, along=0.45, positions=(0.1, 0.35))), "mobility fitted"),
    "filled_vented_box": (variant(FILLED), "mobility fitted"),
    "voice_coils": (variant(SEALED, drivers=(POWER_LAW, SEMI, TWEETER)), "Voice coil of"),
    "loss_angle": (variant(SEALED, LOSSY), "Loss angle of C1"),
    # values joined by straight lines and held beyond the table's ends have corners that no rational function has
    "table": (variant(SEALED, drivers=(WOOFER, WOOFER, DOME_ONLY)), "impedance table"),
}


@needs_ngspice
@pytest.mark.parametrize("name", FITTED)
def test_fitted_variants_keep_to_the_error_they_state(name, tmp_path):
    one, words = FITTED[name]
    text = netlist(kit(one), one)
    error = stated(text, words)
    frequency, spice = run(text, tmp_path)
    model, solution, impedance, velocity, _ = expected(one, frequency)
    volts = np.stack([spice_volts(spice, load) for load in model.network.loads], axis=1)
    current = np.stack([spice[f"i(v_{n})"] for n in model.names], axis=1)
    own = np.sqrt(np.abs(np.einsum("fnn->fn", impedance)))
    scale = own * (own * np.abs(current)).sum(axis=1)[:, None]
    of_load = np.max(np.abs(volts - np.einsum("fnm,fm->fn", impedance, current)) / scale)
    whole = relative(current, solution.load_current)
    print(f"{name}: stated {error:.1e}, impedance {of_load:.1e}, currents {whole:.1e}")
    assert of_load < 1.05 * error + 1e-9
    assert whole < 10 * error  # where the crossover resonates with the drivers, it magnifies what they miss
    assert error < (1e-2 if name == "table" else 1e-3)
    if name in ("line", "filled_vented_box"):
        moved = np.einsum("fnm,fm->fn", velocity, current)
        slow = frequency <= 500
        for i, n in enumerate(model.names):
            terms = np.abs(velocity[:, i] * current).sum(axis=1)
            assert np.max((np.abs(spice[f"v({n}_velocity)"] - moved[:, i]) / terms)[slow]) < 10 * error


def spice_volts(spice, load):
    ends = [0.0 if p == "common" else spice[f"v({p})"] for p in (load.plus_point, load.minus_point)]
    return ends[0] - ends[1]


def test_names_and_numbers_of_the_netlist():
    places = (
        k.Place("X7", part("capacitor", np.float64(2.2e-6)), ("A", "a")),
        k.Place("l_x", part("resistor", 0.0), ("in", "A")),
        k.Place("R_X7", part("resistor", 1.0), ("gnd", "a")),
        k.Place("R5", part("resistor", 1.0), ("gnd", "0")),
        k.Place("R6", part("resistor", 4.0), ("0", "common")),
        k.Place("C9", part("capacitor", 1e-6), ("in", "w2"), "link"),
        k.Place("L9", part("coil", 1e-3), ("in", "w2")),
        k.Place("R7", part("resistor", 4.0), ("t2", "common")),
    )
    one = variant(None, places)
    lines = netlist(kit(one, 0.0), one).splitlines()
    assert lines[0] == "* Test kit, variant one"
    assert "Vamplifier in 0 DC 0 AC 2.83" in lines  # no resistance: the source is at the input
    assert "C_x7 a a_2 2.2e-06" in lines  # another letter than its kind's, and points that differ by case
    assert "V_l_x in a DC 0" in lines  # a wire
    assert "R_x7 gnd_2 a_2 1.0" in lines
    assert "R5 gnd_2 0_2 1.0" in lines
    assert "R6 0_2 0 4.0" in lines
    assert "* Point common is node 0." in lines
    assert "* Point w2 is node in." in lines
    assert "* Place C9 between in and w2: link." in lines
    assert "* L9 is bridged." in lines
    assert ".ac dec 100 10.0 20000.0" in lines
    assert lines[-1] == ".end"
    elements = [line.split()[0].lower() for line in lines[1:] if line[0].isalpha()]
    assert len(set(elements)) == len(elements)


def test_a_table_driver_has_no_place_in_a_chamber():
    chamber = replace(SEALED, drivers=("woofer_a", "tweeter"))
    one = variant(chamber, drivers=(WOOFER, WOOFER, DOME_ONLY))
    with pytest.raises(ValueError, match="driver tweeter is known by its tables only"):
        netlist(kit(one), one)
