"""Impedance sweeps and microphone tables as programs write them: against numpy's reader; every fault in its place."""

from __future__ import annotations

import io
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from system.bench.sweeps import MicrophoneTable, Sweep, read_microphone, read_sweep
from system.findings import KitError

# A resistor of 6 ohm and a coil of 0.5 mH behind it: |Z| and angle in closed form at each frequency.
FREQUENCY = np.array([20.0, 50.0, 200.0, 1000.0, 5000.0, 20000.0])
LOAD = 6.0 + 2j * np.pi * FREQUENCY * 0.5e-3
PHASE = np.degrees(np.angle(LOAD))


def rows(separator: str, phase: bool = True, order: int = 1) -> list[str]:
    columns = [FREQUENCY, np.abs(LOAD), *([PHASE] if phase else [])]
    return [separator.join(f"{value:.6g}" for value in row) for row in np.array(columns).T[::order]]


def sweep(tmp_path: Path, text: str) -> Sweep:
    file = tmp_path / "z.txt"
    file.write_bytes(text.encode())
    return read_sweep(file)


def faults(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(KitError) as caught:
        sweep(tmp_path, text)
    start = f"{tmp_path}/z.txt:"
    assert all(each.text().startswith(start) for each in caught.value.findings)
    return [each.text().removeprefix(start) for each in caught.value.findings]


def fault(tmp_path: Path, text: str) -> str:
    (found,) = faults(tmp_path, text)
    return found


# ---- what is taken


@pytest.mark.parametrize("phase", [True, False])
@pytest.mark.parametrize("separator", [",", ", ", ";", "\t", " ", "   ", " ; "])
@pytest.mark.parametrize(
    "heading",
    [
        "",
        "Freq(Hz){s}Z(Ohm){s}Phase(deg)\n",
        "* Freq(Hz) Z(Ohm) Phase(deg)\n",
        '# a sweep\n; of 3 May, at 8 ohm\n"measured with care"\n// 0.5 V\n',
        "Woofer 2, 8 ohm nominal\n2024-05-03 10:15\n\n",
    ],
)
def test_every_form_reads_as_numpy_reads_the_numbers(heading: str, separator: str, phase: bool, tmp_path: Path) -> None:
    if not phase:
        heading = heading.replace("{s}Phase(deg)", "").replace(" Phase(deg)", "")
    body = rows(separator, phase)
    found = sweep(tmp_path, heading.format(s=separator) + "\n".join(body) + "\n")
    mark = separator.strip() or None
    expected = np.genfromtxt(io.StringIO("\n".join(body)), delimiter="\t" if separator == "\t" else mark)
    np.testing.assert_array_equal(found.frequency, expected[:, 0])
    np.testing.assert_array_equal(found.magnitude, expected[:, 1])
    assert found.notes == ()
    if phase:
        assert found.phase is not None
        np.testing.assert_allclose(found.phase, np.radians(expected[:, 2]), rtol=1e-15)
        np.testing.assert_allclose(found.impedance, LOAD, rtol=2e-5)  # six digits printed
    else:
        assert found.phase is None
        with pytest.raises(ValueError, match="has no phase"):
            _ = found.impedance


def test_a_byte_order_mark_carriage_returns_quotes_and_exponents(tmp_path: Path) -> None:
    text = '\ufeff"Freq","Ohm","Deg"\r\n' + "".join(
        f'"{f:.5E}","{abs(z):.7E}","{p:.7E}"\r\n' for f, z, p in zip(FREQUENCY, LOAD, PHASE, strict=True)
    )
    np.testing.assert_allclose(sweep(tmp_path, text).impedance, LOAD, rtol=1e-6)


def test_falling_order_is_sorted_and_said(tmp_path: Path) -> None:
    found = sweep(tmp_path, "\n".join(rows(",", order=-1)))
    np.testing.assert_array_equal(found.frequency, FREQUENCY)
    np.testing.assert_allclose(found.impedance, LOAD, rtol=2e-5)
    (note,) = found.notes
    assert (note.severity, note.code, note.line) == ("note", "sweep_tidied", 2)
    assert note.found == "the frequency falls throughout"


def test_ten_points_a_decade_are_enough_and_four_rows_are_not(tmp_path: Path) -> None:
    coarse = np.geomspace(20, 20e3, 31)
    text = "\n".join(f"{f:.4f} {abs(6 + 2j * np.pi * f * 5e-4):.4f}" for f in coarse)
    assert sweep(tmp_path, text).frequency.size == 31
    assert fault(tmp_path, "\n".join(rows(" ")[:4])).startswith("4:1: error[table_rows]: the table ends after 4 rows")
    assert fault(tmp_path, "# nothing\n").startswith("1:1: error[table_rows]: the table ends after 0 rows")


def test_columns_of_their_own_are_left_unread_and_named(tmp_path: Path) -> None:
    body = [f"{row};0.4;ok" for row in rows(";")]
    found = sweep(tmp_path, "\n".join(body))
    np.testing.assert_allclose(found.impedance, LOAD, rtol=2e-5)
    assert [note.found for note in found.notes] == ["columns 4, 5 are not read"]
    # with a heading over each column the phase is where it is called so, or nowhere
    moved = [f"{f};{z};0.4;{p}" for f, z, p in (row.split(";") for row in rows(";"))]
    found = sweep(tmp_path, "Hz;|Z|/Ohm;Coherence;Phase/deg\n" + "\n".join(moved))
    np.testing.assert_allclose(found.impedance, LOAD, rtol=2e-5)
    assert [note.found for note in found.notes] == ['column 3 "Coherence" is not read']
    found = sweep(tmp_path, "Hz;Ohm;X\n" + "\n".join(rows(";")))
    assert found.phase is None
    assert [note.found for note in found.notes] == ['column 3 "X" is not read']
    # an empty cell keeps its column
    found = sweep(tmp_path, "\n".join(f"{row},,0.4" for row in rows(",", phase=False)))
    assert found.phase is None


def test_a_phase_that_is_headed_as_radians_is_read_as_radians(tmp_path: Path) -> None:
    body = "\n".join(f"{f},{abs(z):.8g},{np.angle(z):.8g}" for f, z in zip(FREQUENCY, LOAD, strict=True))
    found = sweep(tmp_path, f"Hz,ohm,phase (rad)\n{body}")
    np.testing.assert_allclose(found.impedance, LOAD, rtol=1e-7)
    assert [note.allowed for note in found.notes] == ["read as radians"]
    assert fault(tmp_path, f"Hz,ohm,phase\n{body}").startswith(
        "7:19: error[sweep_phase]: the phase is nowhere further from 0 than 1.47"
    )


def test_rows_at_one_frequency_are_averaged_or_are_two_sweeps(tmp_path: Path) -> None:
    body = [*rows(" "), "1000 7.0 29", "1000 6.9 27.5"]
    found = sweep(tmp_path, "\n".join(body))
    assert found.phase is not None
    at = list(found.frequency).index(1000.0)
    # numpy's mean of what is printed at that frequency
    printed = np.genfromtxt(io.StringIO("\n".join(row for row in body if row.startswith("1000 "))))
    assert len(printed) == 3
    assert found.magnitude[at] == pytest.approx(printed[:, 1].mean(), rel=1e-12)
    assert math.degrees(found.phase[at]) == pytest.approx(printed[:, 2].mean(), rel=1e-12)
    assert [note.found for note in found.notes] == [
        "the frequency does not rise from row to row",
        "2 rows repeat frequencies",
    ]
    told = fault(tmp_path, "\n".join([*rows(" "), "1000 16 29"]))
    assert told == "7:6: error[sweep_repeats]: 1000 Hz has 16, and 6.77271 on line 4; keep one sweep in the file"


@given(st.permutations(range(6)))
def test_any_order_gives_the_same_sweep(tmp_path_factory: pytest.TempPathFactory, order: list[int]) -> None:
    body = rows("\t")
    found = sweep(tmp_path_factory.mktemp("order"), "\n".join(body[i] for i in order))
    np.testing.assert_array_equal(found.frequency, FREQUENCY)
    np.testing.assert_allclose(found.impedance, LOAD, rtol=2e-5)


# ---- what is a fault, and where


def replaced(old: str, new: str, separator: str = " ") -> str:
    text = "\n".join(rows(separator))
    assert text.count(old) == 1
    return text.replace(old, new)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("\n".join(rows(";")).replace(".", ","),
         '1:4: error[table_decimal_comma]: "6,00033" has a comma; write 6.00033'),
        ("\n".join(rows(" ")).replace(".", ","), '1:4: error[table_decimal_comma]: "6,00033" has a comma'),
        ("\n".join(rows("\t")).replace(".", ","), '1:4: error[table_decimal_comma]: "6,00033" has a comma'),
        ("\n".join(rows(",")).replace(".", ","), "1:1: error[table_decimal_comma]: no number has a point"),
        (replaced("200 6.03", "200 six"), '3:5: error[table_number]: "six'),
        (replaced("200 6.03", "200 nan"), '3:5: error[table_number]: "nan'),
        (replaced("200 6.03", "-200 6.03"), "3:1: error[table_frequency]: the frequency is -200"),
        ("\n".join([*rows(" ")[:3], "1000 6.8", *rows(" ")[4:]]), "4:1: error[table_columns]: this row has 2 columns"),
        ("\n".join(f"{f} {abs(z) / 1e3:.6f}" for f, z in zip(FREQUENCY, LOAD, strict=True)),
         "1:6: error[sweep_unit]: the impedance is nowhere above 0.063118; these may be kilohms or volts; write ohm"),
        ("\n".join(f"{f} {abs(z) * 1e3:.1f}" for f, z in zip(FREQUENCY, LOAD, strict=True)),
         "1:6: error[sweep_unit]: the impedance is nowhere below 6000.3; these may be milliohms or millivolts"),
        ("\n".join(f"{f} {20 * np.log10(abs(z) / 10):.2f}" for f, z in zip(FREQUENCY, LOAD, strict=True)),
         "1:6: error[sweep_unit]: the impedance is -4.44; it is above zero: these may be decibels; write ohm"),
        ("Hz,dB,deg\n" + "\n".join(rows(",")),
         '1:4: error[sweep_unit]: the second column is headed "dB", which is decibels; write the impedance in ohm'),
        ("f Z[kOhm] phase\n" + "\n".join(rows(" ")), '1:3: error[sweep_unit]: the second column is headed "Z[kOhm]"'),
        ("* f U/mV phase\n" + "\n".join(rows(" ")), '1:5: error[sweep_unit]: the second column is headed "U/mV"'),
        ("f R X\n" + "\n".join(rows(" ")), '1:3: error[sweep_unit]: the second column is headed "R", which is the'),
        ("\n".join(f"{f} {abs(z):.3f} {np.degrees(np.angle(-z)):.2f}" for f, z in zip(FREQUENCY, LOAD, strict=True)),
         "1:12: error[sweep_phase]: the phase is -179.40 degrees at 20.0 Hz; a passive load stays within +-90 degrees"),
    ],
)  # fmt: skip
def test_a_fault_is_told_where_it_is(text: str, expected: str, tmp_path: Path) -> None:
    assert fault(tmp_path, text).startswith(expected)


def test_several_faults_in_one_run(tmp_path: Path) -> None:
    text = "20 5,9 1\n50 6.0 2\n100 x 3\n0 6.3 4\n200 6.4\n"
    assert [line.split("]")[0] for line in faults(tmp_path, text)] == [
        "1:4: error[table_decimal_comma",
        "3:5: error[table_number",
        "4:1: error[table_frequency",
        "5:1: error[table_columns",
    ]
    text = "\n".join(f"{f} {-abs(z):.3f} {150:.2f}" for f, z in zip(FREQUENCY, LOAD, strict=True))
    assert [line.split(": ")[1] for line in faults(tmp_path, text)] == ["error[sweep_unit]", "error[sweep_phase]"]


def test_a_resistor_has_no_phase_and_that_is_no_fault(tmp_path: Path) -> None:
    """A load that changes by less than a half may stay within some degrees (Bode 1945, ch. 14); noise too."""
    found = sweep(tmp_path, "\n".join(f"{f} 8.{i} {0.2 * (-1) ** i}" for i, f in enumerate(FREQUENCY)))
    assert found.phase is not None
    assert np.max(np.abs(found.phase)) < 0.01


def test_noise_about_90_degrees_is_no_fault(tmp_path: Path) -> None:
    """A capacitor of 100 uF, as a driver out of circuit leaves it, with two degrees of noise."""
    text = "\n".join(
        f"{f} {1 / (2 * np.pi * f * 1e-4):.4f} {-90 + 2 * (-1) ** i}" for i, f in enumerate(np.geomspace(20, 2e3, 9))
    )
    assert sweep(tmp_path, text).frequency.size == 9


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    for name, code in (("none.txt", "file_missing"), (".", "file_unreadable")):
        with pytest.raises(KitError) as caught:
            read_sweep(tmp_path / name)
        assert [each.code for each in caught.value.findings] == [code]


# ---- the microphone


def microphone(tmp_path: Path, text: str) -> MicrophoneTable:
    file = tmp_path / "m.txt"
    file.write_text(text, encoding="utf-8")
    return read_microphone(file)


def test_a_microphones_table(tmp_path: Path) -> None:
    level, phase = [71.5, 80.25, 84.0, 83.5, 79.0, 60.5], [170.0, 95.5, -40.0, -130.0, -420.0, -2000.0]
    body = [f"{f}\t{a}\t{p}" for f, a, p in zip(FREQUENCY, level, phase, strict=True)]
    found = microphone(tmp_path, "Hz\tdB SPL\tdegrees\n" + "\n".join(body[::-1]))
    np.testing.assert_array_equal(found.level, level)
    assert found.phase is not None
    np.testing.assert_allclose(np.degrees(found.phase), phase, rtol=1e-12)
    relative = microphone(tmp_path, "\n".join(f"{f} {a - 85}" for f, a in zip(FREQUENCY, level, strict=True)))
    assert relative.phase is None
    assert relative.level[0] == -13.5


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Hz Pa\n",
            '1:4: error[sweep_unit]: the second column is headed "Pa", which is pascals; write the level in dB',
        ),
        ("Hz dB\n300 2000\n", "2:5: error[table_magnitude]: the level is 2000 dB; it must lie from -200 to 200 dB"),
        ("Hz dB\n300 80,5\n", '2:5: error[table_decimal_comma]: "80,5" has a comma'),
    ],
)
def test_a_microphones_faults(text: str, expected: str, tmp_path: Path) -> None:
    with pytest.raises(KitError) as caught:
        microphone(tmp_path, text + "".join(f"{f} 80.5\n" for f in FREQUENCY[3:]) + "21000 80\n22000 80\n23000 80\n")
    (finding,) = caught.value.findings
    assert finding.text().startswith(f"{tmp_path}/m.txt:{expected}")


def test_a_microphones_phase_in_radians(tmp_path: Path) -> None:
    with pytest.raises(KitError) as caught:
        microphone(
            tmp_path, "\n".join(f"{f} 80.5 {p}" for f, p in zip(FREQUENCY, (3.1, 2, 1, 0, -1, -3.0), strict=True))
        )
    assert [each.code for each in caught.value.findings] == ["sweep_phase"]
