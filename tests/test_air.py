"""Air against ISO 2533 and the moist-air values of the metrologists."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest

from enclosures.air import Air, moist_air, saturation_pressure
from enclosures.materials import MATERIALS, flow_resistivity


def test_dry_air_is_that_of_iso_2533() -> None:
    air = moist_air(293.15, 101325.0, 0.0)
    assert air.speed_of_sound == pytest.approx(343.21, abs=0.05)
    assert air.density == pytest.approx(1.2041, abs=2e-4)
    assert air.impedance == pytest.approx(413.26, abs=0.05)
    assert moist_air(298.15, 101325.0, 0.0).density == pytest.approx(1.1839, abs=2e-4)
    # ISO 2533:1975, table 1, at 15 degC: 340.294 m/s, 1.225 kg/m3, 1.7894e-5 Pa s
    standard = moist_air(288.15, 101325.0, 0.0)
    assert standard.speed_of_sound == pytest.approx(340.294, abs=0.0005)
    assert standard.density == pytest.approx(1.225, abs=0.00005)
    assert standard.viscosity == pytest.approx(1.7894e-5, abs=0.00005e-5)


def test_isothermal_speed() -> None:
    air = moist_air(293.15, 101325.0, 0.0)
    assert air.speed_of_sound / math.sqrt(air.heat_ratio) == pytest.approx(290.1, abs=0.05)


def test_moist_air() -> None:
    # 20 degC, 50 %: published formulas (Cramer 1993, Picard et al. 2008; from memory) differ by 0.03 %
    air = moist_air(293.15, 101325.0, 0.5)
    assert air.speed_of_sound == pytest.approx(343.9, abs=0.15)
    assert air.density == pytest.approx(1.199, abs=0.001)


def test_saturation_pressure_at_the_boiling_point_and_at_20_degrees() -> None:
    assert saturation_pressure(293.15) == pytest.approx(2338.8, rel=1e-3)  # IAPWS: 2.3388 kPa (from memory)
    assert saturation_pressure(373.12) == pytest.approx(101325, rel=5e-3)  # boils; the fit is made for 0 to 27 degC


def test_prandtl_number_is_that_of_air() -> None:
    assert moist_air(300.0, 101325.0, 0.0).prandtl == pytest.approx(0.707, abs=0.003)  # textbook tables (memory)


@pytest.mark.parametrize(
    ("temperature", "pressure", "humidity", "word"),
    [(20.0, 101325.0, 0.5, "temperature"), (293.15, 101.325, 0.5, "pressure"), (293.15, 101325.0, 50.0, "humidity"),
     (380.0, 1.01325e5, 1.0, "vapour"), (math.nan, 101325.0, 0.5, "temperature")],
)  # fmt: skip
def test_air_that_cannot_be(temperature: float, pressure: float, humidity: float, word: str) -> None:
    with pytest.raises(ValueError, match=word):
        moist_air(temperature, pressure, humidity)


@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan, math.inf])
def test_given_air_is_checked(wrong: float) -> None:
    with pytest.raises(ValueError, match="density"):
        Air(wrong, 343.0)
    with pytest.raises(ValueError, match="speed_of_sound"):
        Air(1.2, wrong)


def test_flow_resistivities() -> None:
    # polyester: Garai & Pompoli 2005; glass fibre: Bies & Hansen 1980 (from memory); wool: Ballagh 1996 (from memory)
    assert flow_resistivity("polyester", 12.0) == pytest.approx(943, abs=0.5)
    assert flow_resistivity("polyester", 25.0) == pytest.approx(2642, abs=0.5)
    assert flow_resistivity("glass_fibre", 24.0) == pytest.approx(8394, abs=1)
    assert flow_resistivity("wool", 15.0) == pytest.approx(1369, abs=0.5)
    assert flow_resistivity("polyester", 12.0, fibre_diameter=15e-6) == pytest.approx(4 * 942.71, rel=1e-4)


def test_unknown_material_and_impossible_density() -> None:
    with pytest.raises(ValueError, match=r"'felt'.*polyester, glass_fibre, wool"):
        flow_resistivity("felt", 12.0)
    for wrong in (0.0, -3.0, math.nan):
        with pytest.raises(ValueError, match="density"):
            flow_resistivity("wool", wrong)
    assert all(material.source for material in MATERIALS.values())


def test_what_the_kit_reader_imports_does_not_load_numpy() -> None:
    code = (
        "import enclosures.air, enclosures.parameters, enclosures.materials, enclosures.tuning, sys;"
        "sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
