"""The command line as a user meets it: streams, exit statuses, files, and the JSON contract."""

from __future__ import annotations

import json
import math
import os
import re
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from system.codes import CODES
from system.examples import scenarios, template
from system.units import DIMENSIONS
from tests.support_cli import kitwright
from tests.support_kits import write_kit

MARSHLIGHT = scenarios() / "marshlight" / "kit.yaml"
RUN = "import sys; from system.cli import main; sys.argv[0] = 'kitwright'; main()"
HOME = Path(__file__).parent.parent


def program(*words: object, **environment: str) -> subprocess.CompletedProcess[str]:
    """The real program, in a process of its own, with every warning an error."""
    return subprocess.run(
        [sys.executable, "-W", "error", "-c", RUN, *map(str, words)],
        capture_output=True,
        encoding="utf-8",
        cwd=HOME,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", **environment},
        timeout=120,
        check=False,
    )


def finite(data: Any) -> bool:
    """Whether every number in nested data is finite; nulls are counted by the tests that allow them."""
    if isinstance(data, dict):
        return all(map(finite, data.values()))
    if isinstance(data, list):
        return all(map(finite, data))
    return not isinstance(data, float) or math.isfinite(data)


def loaded_by(*words: str) -> set[str]:
    """The heavy packages that a command has imported when it ends, and what would list the packages there are."""
    code = (
        "import sys\nfrom system.cli import main\nsys.argv[0] = 'kitwright'\ntry:\n    main()\nfinally:\n"
        "    heavy = {'numpy', 'scipy', 'matplotlib', 'importlib.metadata._adapters'} & set(sys.modules)\n"
        "    print(' '.join(sorted(heavy)), file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, cwd=HOME, check=False)
    assert done.returncode == 0, done.stderr
    return set(done.stderr.splitlines()[-1].split())


@pytest.mark.parametrize(
    "words", [["--help"], ["proofread", str(MARSHLIGHT)], ["schema"], ["start"], ["explain", "units"]]
)
def test_light_commands_load_nothing_heavy(words: list[str]) -> None:
    assert loaded_by(*words) == set()


def test_help_lists_the_commands_by_purpose() -> None:
    lines = program("--help").stdout.splitlines()
    text = "\n".join(lines)
    heads = [line.split()[0] for line in lines if line and line[:3].strip()]
    order = [
        "Receive:",
        "start",
        "proofread",
        "Predict:",
        "predict",
        "compare",
        "Choose:",
        "protect",
        "Reference:",
        "schema",
    ]
    places = [heads.index(word) for word in order]
    assert places == sorted(places)
    assert "overview" not in text


def test_first_screen_is_one_screen() -> None:
    done = program(MARSHLIGHT)
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 100
    for name in ("centre", "wall", "tall"):
        assert any(line.startswith(name) for line in lines)
    assert lines[-1].startswith("next: kitwright protect ")
    assert "W into 8 ohm" in done.stdout


def test_predict_json_keeps_its_contract(tmp_path: Path) -> None:
    done = kitwright("predict", MARSHLIGHT, "--json", "--from", 20, "--to", 5000, "--points", 60)
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert document["schema_version"] == 1
    assert document["kit"] == "Marshlight two-way"
    frequency = document["frequency_hz"]
    assert len(frequency) == 60
    assert frequency[0] == pytest.approx(20)
    assert list(document["variants"]) == ["centre", "wall", "tall"]
    assert finite(document)
    for variant in document["variants"].values():
        assert (variant["volts"], variant["distance_m"]) == (2.83, 3.0)
        curves = [variant["level_db"], variant["impedance_ohm"]]
        phases = [variant["phase_deg"], variant["impedance_phase_deg"]]
        for driver in variant["drivers"].values():
            curves += [driver["volts"], driver["current_a"], driver["level_db"]]
            phases += [driver["phase_deg"], driver["volts_phase_deg"]]
        for opening in variant["openings"].values():
            curves += [opening["speed_m_s"], opening["level_db"]]
            phases.append(opening["phase_deg"])
        for part in variant["parts"].values():
            curves += [part["volts"], part["current_a"], part["watts"]]
        assert all(len(curve) == 60 and None not in curve for curve in curves + phases)
        assert all(-180 < angle <= 180 for phase in phases for angle in phase)
        assert set(variant["summary"]) >= {
            "sensitivity_db", "minus_3_db_hz", "minus_10_db_hz", "lowest_impedance_ohm", "lowest_impedance_hz",
            "rated_impedance_ohm",
        }  # fmt: skip
    tall = document["variants"]["tall"]
    assert list(tall["openings"]) == ["mouth"]
    assert "C1" not in tall["parts"]  # linked: a wire has no heat
    assert list(tall["parts"]) == ["L1", "C2", "C3", "L2", "R1", "R2"]
    # the dome is known by its tables: no excursion, and a finding that says why
    assert tall["drivers"]["tweeter"]["excursion_mm"] == [None] * 60
    assert {"excursion_unknown"} <= {finding["code"] for finding in document["findings"]}
    assert None not in tall["drivers"]["woofer_a"]["excursion_mm"]


def test_predict_json_tells_of_filling_lines_and_limits() -> None:
    words = ["predict", MARSHLIGHT, "--json", "--points", 60]
    variants = json.loads(kitwright(*words).stdout)["variants"]
    for name, boxes in (("centre", 1), ("wall", 1), ("tall", 0)):
        variant = variants[name]
        filling = variant["filling"]
        assert set(filling) == {"gains", "level_db", "minus_3_db_hz", "widest_db", "widest_hz"}
        assert len(filling["gains"]) == boxes  # a line has no volume gain
        assert all(set(gain) == {"chamber", "volume_gain", "at_hz"} for gain in filling["gains"])
        lowest, highest = (np.array(filling["level_db"][key]) for key in ("lowest", "highest"))
        assert np.all((lowest <= variant["level_db"]) & (variant["level_db"] <= highest))
        assert 0 < filling["widest_db"] < 6
        low, high = filling["minus_3_db_hz"]
        assert low <= variant["summary"]["minus_3_db_hz"] <= high
    assert variants["centre"]["lines"] == []
    (line,) = variants["tall"]["lines"]
    assert set(line) == {"chamber", "resonances_hz", "position_mm", "pressure_db", "drivers", "mouths", "bends"}
    assert line["drivers"] == pytest.approx({"woofer_a": 87, "woofer_b": 367})
    assert line["mouths"] == pytest.approx({"mouth": 1000})
    assert len(line["resonances_hz"]) == len(line["pressure_db"]) == 3
    assert all(len(levels) == len(line["position_mm"]) and max(levels) == 0 for levels in line["pressure_db"])
    mouth = variants["tall"]["openings"]["mouth"]
    assert mouth["speed_limit_m_s"] == pytest.approx(17.19, abs=0.01)  # 5 % of the speed of sound, common practice
    assert 0 < mouth["volts_at_limit"] < 80
    assert mouth["at_hz"] >= 20
    assert "excursion_mm" not in mouth
    assert all("limits" not in variant["summary"] for variant in variants.values())


def test_compare_leaves_the_detail_to_predict() -> None:
    variants = json.loads(kitwright("compare", MARSHLIGHT, "--json", "--points", 5).stdout)["variants"]
    for variant in variants.values():
        assert not {"filling", "lines"} & set(variant)
    assert "volts_at_limit" in variants["tall"]["openings"]["mouth"]


def test_a_radiator_has_an_excursion_and_no_speed_limit(tmp_path: Path) -> None:
    chamber = "kind: passive_radiator, drivers: [woofer], volume: 12 L"
    radiator = "{sd: 130 cm2, mms: 40 g, cms: 1.4 mm/N, rms: 0.9 kg/s, linear_excursion: 8 mm}"
    kit = write_kit(tmp_path, cabinets=f"{{box: {{chambers: [{{{chamber}, radiators: [{radiator}]}}]}}}}")
    variant = json.loads(kitwright("predict", kit, "--json", "--points", 9).stdout)["variants"]["v"]
    opening = variant["openings"]["radiator"]
    assert len(opening["excursion_mm"]) == 9
    assert not {"speed_limit_m_s", "volts_at_limit", "at_hz"} & set(opening)
    assert (variant["filling"], variant["lines"]) == (None, [])
    assert "radiator mm" in kitwright("predict", kit).stdout


def test_json_heat_is_current_squared_times_resistance() -> None:
    document = json.loads(kitwright("predict", MARSHLIGHT, "--json", "--points", 20).stdout)
    for variant in document["variants"].values():
        coil = variant["parts"]["L1"]
        np.testing.assert_allclose(coil["watts"], np.square(coil["current_a"]) * 0.24, rtol=1e-12)


def test_the_summary_does_not_depend_on_the_frequencies_asked_for() -> None:
    a, b = (
        json.loads(kitwright("predict", MARSHLIGHT, "--variant", "wall", "--json", *words).stdout)["variants"]["wall"]
        for words in ([], ["--from", 1000, "--to", 2000, "--points", 5])
    )
    assert a["summary"] == b["summary"]


def test_frequencies_from_standard_input_and_a_file(tmp_path: Path) -> None:
    kit = write_kit(tmp_path)
    done = kitwright("predict", kit, "--json", "--frequencies", "-", stdin="20\n50.5  # a comment\n\n1000\n")
    assert json.loads(done.stdout)["frequency_hz"] == [20, 50.5, 1000]
    (tmp_path / "f.txt").write_text("20\nfifty\n10\n")
    wrong = kitwright("predict", kit, "--frequencies", tmp_path / "f.txt")
    assert wrong.returncode == 2
    assert wrong.stdout == ""
    assert wrong.stderr.splitlines() == [
        f"{tmp_path}/f.txt:2:1: error[frequency_list]: 'fifty'; one frequency in Hz, 1 to 100000",
        f"{tmp_path}/f.txt:3:1: error[frequency_list]: 10 Hz after 20 Hz; rising frequencies, each once",
    ]
    nameless = kitwright("predict", kit, "--frequencies", "")
    assert nameless.stderr.startswith(".:1:1: error[file_unreadable]: this is a folder;")
    os.mkfifo(tmp_path / "pipe")  # which nobody writes to
    wrong = kitwright("predict", kit, "--frequencies", tmp_path / "pipe")
    assert wrong.stderr == (
        f"{tmp_path}/pipe:1:1: error[file_unreadable]: this is no plain file;"
        " --frequencies takes a text file of frequencies in Hz\n"
    )


@pytest.mark.parametrize(
    "words",
    [
        ["--volts", "0"],
        ["--volts", "nan"],
        ["--from", "100", "--to", "50"],
        ["--points", "1"],
        ["--variant", "nowhere"],
        ["--frequencies", "no-such-file", "--from", "20"],
        ["-o", "picture.gif"],
        ["--set", "crossover.parts.C1"],
        ["--netlist", "two.cir"],
        ["--no-such-option"],
    ],
)
def test_bad_usage_is_2_and_one_clear_line(words: list[str], tmp_path: Path) -> None:
    done = kitwright("predict", MARSHLIGHT, *words)
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert done.stderr.strip()
    assert not list(HOME.glob("picture.*")) + list(HOME.glob("two.*"))


@pytest.mark.parametrize("command", ["predict", "protect", "compare", "proofread"])
def test_a_faulty_kit_is_2_with_every_fault_and_json_findings(command: str, tmp_path: Path) -> None:
    kit = tmp_path / "kit.yaml"
    kit.write_text(template("smallest").replace("load: 8 ohm", "load: 8 apples").replace("volume: 8 L", "volume: 8"))
    done = kitwright(command, kit, "--json")
    assert done.returncode == 2
    errors = [line for line in done.stderr.splitlines() if ": error[" in line]
    assert len(errors) == 2
    assert all(line.startswith(f"{kit}:") for line in errors)
    document = json.loads(done.stdout)
    assert set(document) == {"schema_version", "kit", "findings"}
    assert document["kit"] == "My first kit"
    faults = [f for f in document["findings"] if f["severity"] == "error"]
    assert [(f["line"], f["path"]) for f in faults] == [(3, "amplifier.load"), (10, "cabinets.box.chambers.0.volume")]
    assert set(faults[0]) == {"severity", "code", "file", "line", "column", "path", "found", "allowed", "message"}


@pytest.mark.parametrize("name", ["none.yaml", "."])
def test_no_kit_there(name: str, tmp_path: Path) -> None:
    for words in (["predict", tmp_path / name], [tmp_path / name]):
        done = kitwright(*words)
        assert done.returncode == 2
        assert "error[file_" in done.stderr
        assert "Traceback" not in done.stderr


def test_a_circuit_without_a_solution_is_named(tmp_path: Path) -> None:
    kit = write_kit(tmp_path, parts="{R1: {resistor: 0 ohm, between: [in, common]}}")
    for command in ("predict", "protect"):
        done = kitwright(command, kit)
        assert done.returncode == 2
        assert f"{kit}:8:" in done.stderr
        assert "error[circuit_unsolvable]" in done.stderr


def test_a_link_that_endangers_the_amplifier_is_an_error(tmp_path: Path) -> None:
    """Under half of lowest_load because of a link: refused, with no way out; without the link it is only a warning."""
    pieces = {
        "parts": "{L1: {coil: 1 mH, between: [in, w]}, C2: {capacitor: 68 uF, between: [w, common]}}",
        "hookup": "{woofer: {driver: woofer, plus: w, minus: common}}",
        "amplifier": "{power: 50 W, load: 8 ohm, lowest_load: 3.2 ohm}",
    }
    linked = kitwright("predict", write_kit(tmp_path, **pieces, variants="{v: {cabinet: box, parts: {L1: link}}}"))
    assert linked.returncode == 2
    assert "error[impedance_link]" in linked.stderr
    assert "1.6 ohm" in linked.stderr
    low = "{R1: {resistor: 3 ohm, between: [in, common]}}"
    fine = kitwright("predict", write_kit(tmp_path, parts=low, amplifier=pieces["amplifier"]))
    assert fine.returncode == 0
    assert "warning[impedance_low]" in fine.stderr


def test_files_are_whole_and_never_replaced_unasked(tmp_path: Path) -> None:
    target = tmp_path / "picture.svg"
    kit = write_kit(tmp_path)
    assert kitwright("predict", kit, "-o", target).returncode == 0
    first = target.read_bytes()
    assert first.startswith(b"<?xml")
    again = kitwright("predict", kit, "-o", target)
    assert again.returncode == 2
    assert "is there already" in again.stderr
    assert kitwright("predict", kit, "-o", target, "--force").returncode == 0
    assert target.read_bytes() == first
    assert sorted(path.name for path in tmp_path.iterdir()) == ["kit.yaml", "picture.svg"]
    assert kitwright("predict", kit, "-o", tmp_path / "no" / "such.png").returncode == 2


@pytest.mark.parametrize(("ending", "magic"), [("png", b"\x89PNG"), ("pdf", b"%PDF")])
def test_pictures_of_protection(ending: str, magic: bytes, tmp_path: Path) -> None:
    target = tmp_path / f"picture.{ending}"
    assert kitwright("protect", MARSHLIGHT, "--variant", "centre", "-o", target).returncode == 0
    assert target.read_bytes().startswith(magic)


def test_csv_has_every_curve(tmp_path: Path) -> None:
    kit = write_kit(tmp_path)
    done = kitwright("predict", kit, "--csv", tmp_path / "out", "--points", 7, "--json")
    document = json.loads(done.stdout)
    header, *rows = (tmp_path / "out" / "v.csv").read_text().splitlines()
    assert header.split(",")[:3] == ["frequency_hz", "level_db", "phase_deg"]
    assert "drivers.woofer.excursion_mm" in header.split(",")
    assert [float(row.split(",")[1]) for row in rows] == document["variants"]["v"]["level_db"]
    kitwright("predict", MARSHLIGHT, "--variant", "tall", "--csv", tmp_path / "tall", "--points", 7)
    header = (tmp_path / "tall" / "tall.csv").read_text().splitlines()[0].split(",")
    assert {"filling.level_db.lowest", "filling.level_db.highest", "openings.mouth.speed_m_s"} <= set(header)


def test_what_if(tmp_path: Path) -> None:
    kit = write_kit(tmp_path, cabinets="{box: {chambers: [{kind: sealed, drivers: [woofer], volume: 8 L}]}}")
    changed = kit.parent / "changed.yaml"
    changed.write_text(kit.read_text().replace("8 L", "12 L"))
    asked = kitwright("predict", kit, "--json", "--set", "cabinets.box.chambers.0.volume=12 L").stdout
    written = kitwright("predict", changed, "--json").stdout
    assert json.loads(asked)["variants"] == json.loads(written)["variants"]


def test_protect_json_keeps_its_contract() -> None:
    done = kitwright("protect", MARSHLIGHT, "--json", "--variant", "wall")
    document = json.loads(done.stdout)
    assert finite(document)
    verdict = document["variants"]["wall"]["woofer_a"]
    assert set(verdict) >= {"verdict", "because", "worse_band_hz", "assumed", "link", "choices", "other_means"}
    keys = {
        "value_f", "made_of_f", "peak_excursion_mm", "peak_excursion_hz", "programme_excursion_mm", "minus_3_db_hz",
        "ripple_db", "lowest_impedance_ohm", "part_volts_peak", "part_current_a",
    }  # fmt: skip
    assert all(set(choice) >= keys for choice in [verdict["link"], *verdict["choices"]])
    assert all(sum(choice["made_of_f"]) == pytest.approx(choice["value_f"]) for choice in verdict["choices"])
    assert {means["means"] for means in verdict["other_means"]} >= {"receiver_high_pass"}


def test_compare_two_kits_side_by_side(tmp_path: Path) -> None:
    kit = write_kit(tmp_path)
    done = kitwright("compare", kit, MARSHLIGHT, "--variant", "v")
    assert done.returncode == 2  # the second has no such variant
    done = kitwright("compare", kit, kit, "--json")
    assert list(json.loads(done.stdout)["variants"]) == ["kit1.v", "kit2.v"]
    other = tmp_path / "other.yaml"
    other.write_text(kit.read_text().replace("50 W", "60 W"))
    names = json.loads(kitwright("compare", kit, other, "--json").stdout)["variants"]
    assert list(names) == ["kit.v", "other.v"]


def test_compare_says_what_two_files_say_otherwise(tmp_path: Path) -> None:
    kit = write_kit(
        tmp_path,
        cabinets="{box: {chambers: [{kind: sealed, drivers: [woofer], volume: 8 L}]}}",
        variants="{v: {cabinet: box}, here: {cabinet: box}}",
    )
    other = tmp_path / "other.yaml"
    text = kit.read_text().replace("8 L", "12 L").replace(", here: {cabinet: box}", "")
    other.write_text(text + "meter: {leads: 0.2 ohm}\n")
    done = kitwright("compare", kit, other, "--json", "--points", 5, "--csv", tmp_path / "csv")
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert document["differences"] == [
        {"path": "cabinets.box.chambers.0.volume", "first": "8 L", "second": "12 L", "contents": False},
        {"path": "variants.here", "first": {"cabinet": "box"}, "second": None, "contents": False},
        {"path": "meter", "first": None, "second": {"leads": "0.2 ohm"}, "contents": False},
    ]
    assert (tmp_path / "csv" / "differences.csv").read_text().splitlines() == [
        "path,first,second",
        "cabinets.box.chambers.0.volume,8 L,12 L",
        "variants.here,{cabinet: box},",
        "meter,,{leads: 0.2 ohm}",
    ]
    assert list(document["same_name"]) == ["v"]
    beside = document["same_name"]["v"]
    assert (beside["first"], beside["second"]) == ("kit.v", "other.v")
    assert beside["listening_point"] == document["match"]["variants"]["other.v"]["listening_point"]
    shown = kitwright("compare", kit, other).stdout
    assert max(map(len, shown.splitlines())) <= 100
    assert re.search(r"cabinets\.box\.chambers\.0\.volume +8 L +12 L", shown)
    assert "other.v matches kit.v within" in shown
    # a what-if goes into both
    same = kitwright("compare", kit, other, "--json", "--points", 5, "--set", "cabinets.box.chambers.0.volume=9 L")
    assert "cabinets.box.chambers.0.volume" not in same.stdout


def test_compare_sees_that_a_table_differs(tmp_path: Path) -> None:
    rows = np.geomspace(20, 20e3, 20)
    folders = [tmp_path / name for name in ("one", "two")]
    driver = "{dome: {role: tweeter, re: 5.5 ohm, impedance: z.txt, response: {file: p.txt, volts: 2.83 V}}}"
    for folder, level in zip(folders, (86, 88), strict=True):
        folder.mkdir()
        (folder / "z.txt").write_text("\n".join(f"{f} 6 0" for f in rows))
        (folder / "p.txt").write_text("\n".join(f"{f} {level} 0" for f in rows))
    kits = [
        write_kit(folder, drivers=driver, hookup="{dome: {driver: dome, plus: in, minus: common}}",
                  variants="{v: {cabinet: box, reason: a closed back}}")
        for folder in folders
    ]  # fmt: skip
    document = json.loads(kitwright("compare", *kits, "--json", "--points", 5).stdout)
    assert [(each["path"], each["contents"]) for each in document["differences"]] == [
        ("drivers.dome.response.file", True)
    ]
    assert document["same_name"]["v"]["listening_point"]["level_db"] == pytest.approx(2)
    assert "another table" in kitwright("compare", *kits).stdout
    assert "say the same" in kitwright("compare", kits[0], kits[0]).stdout


@pytest.mark.slow
def test_same_input_same_bytes() -> None:
    outputs = {program("predict", MARSHLIGHT, "--json", "--points", 30, PYTHONHASHSEED=s).stdout for s in ("1", "77")}
    assert len(outputs) == 1
    verdicts = {program("protect", MARSHLIGHT, "--variant", "wall", PYTHONHASHSEED=s).stdout for s in ("1", "77")}
    assert len(verdicts) == 1


def test_an_ascii_terminal_gets_ascii(tmp_path: Path) -> None:
    kit = write_kit(tmp_path)
    done = program("predict", kit, "--set", "amplifier.load=8 Ωm", PYTHONIOENCODING="ascii", LC_ALL="C")
    assert done.returncode == 2
    assert done.stderr.isascii()


@pytest.mark.parametrize("worked", [0.01, 0.3, 1.0])
def test_interrupted_is_130(worked: float) -> None:
    """After `worked` s of processor time: while libraries load, and in the middle of the work."""
    code = f"""if True:
        import signal
        from system.cli import main
        signal.signal(signal.SIGINT, signal.default_int_handler)  # a job behind others is born deaf to it
        signal.signal(signal.SIGPROF, lambda *_: signal.raise_signal(signal.SIGINT))
        signal.setitimer(signal.ITIMER_PROF, {worked})
        main()
    """
    words = [sys.executable, "-c", code, "protect", str(MARSHLIGHT)]
    done = subprocess.run(words, capture_output=True, text=True, cwd=HOME, check=False)
    assert (done.returncode, done.stdout) == (130, "")
    assert "Traceback" not in done.stderr


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="no signal can be held back here")
def test_an_interrupt_waits_until_the_kit_is_read() -> None:
    code = f"""if True:
        import signal, sys
        from system import kitfile
        from system.cli import main
        signal.signal(signal.SIGINT, signal.default_int_handler)
        reader = kitfile._reader()
        class Interrupted:
            def validate_python(self, *given, **named):
                signal.raise_signal(signal.SIGINT)
                kit = reader.validate_python(*given, **named)
                print(len(kit.variants), "variants read", file=sys.stderr)
                return kit
        kitfile._reader = Interrupted
        sys.argv[1:] = ["predict", {str(MARSHLIGHT)!r}]
        main()
    """
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=HOME, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "3 variants read\n")


def test_a_reader_that_leaves_is_no_fault() -> None:
    shell = f'{sys.executable} -c "{RUN}" predict {MARSHLIGHT} --json | head -c 100 >/dev/null'
    done = subprocess.run(["bash", "-c", shell], capture_output=True, text=True, cwd=HOME, check=False)
    assert done.stderr == ""


@pytest.mark.parametrize("name", ["start", "smallest"])
def test_templates_are_kits(name: str, tmp_path: Path) -> None:
    words = ["start", "-o", tmp_path / "my.yaml", *(["--smallest"] if name == "smallest" else [])]
    assert kitwright(*words).returncode == 0
    assert (tmp_path / "my.yaml").read_text() == template(name)
    done = kitwright("proofread", tmp_path / "my.yaml")
    assert done.returncode == 0, done.stderr
    assert "no errors" in done.stdout
    assert "error[" not in done.stderr


def test_the_smallest_kit_has_twelve_lines() -> None:
    assert len(template("smallest").splitlines()) == 12


def test_the_template_names_every_key() -> None:
    """Every key of the schema stands in the commented kit, and every commented key is marked."""
    schema = json.loads(kitwright("schema").stdout)
    keys = set(schema["properties"])
    for definition in schema["definitions"].values():
        keys |= set(definition.get("properties", {}))
    text = template("start")
    missing = {key for key in keys if f"{key}:" not in text}
    assert missing == set()


# what a key of the template may clash with that stands there already: it says "or", "instead" or names a table
CLASHES = {"air_twice", "duplicate_key", "mouth_twice", "file_missing", "spread_unused", "step_coupled", "move_coupled"}


def test_every_commented_key_of_the_template_is_a_key(tmp_path: Path) -> None:
    """Each alone without its mark, with the lines that belong to it: it is read, or clashes with what it replaces."""
    lines = template("start").splitlines()
    found = [(row, match[1]) for row, line in enumerate(lines) if (match := re.match(r"( *)# \w+:(\s|$)", line))]
    assert len(found) > 30
    for row, indent in found:
        block = [row]
        while re.match(rf"{indent}#   +\S", lines[block[-1] + 1]):
            block.append(block[-1] + 1)
        changed = [indent + line[len(indent) + 2 :] if n in block else line for n, line in enumerate(lines)]
        kit = tmp_path / "kit.yaml"
        kit.write_text("\n".join(changed), encoding="utf-8")
        codes = set(re.findall(r"error\[(\w+)\]", kitwright("proofread", kit).stderr))
        assert codes <= CLASHES, lines[row]


def test_a_variant_may_be_called_like_a_command(tmp_path: Path) -> None:
    kit = write_kit(tmp_path, variants="{predict: {cabinet: box}}")
    for words in ([kit, "--variant", "predict"], ["--variant", "predict", kit]):
        done = kitwright(*words)
        assert done.returncode == 0, done.stderr
        assert "predict" in done.stdout


def test_protect_refuses_what_predict_refuses(tmp_path: Path) -> None:
    kit = write_kit(
        tmp_path,
        parts="{L1: {coil: 1 mH, between: [in, w]}, C2: {capacitor: 68 uF, between: [w, common]}}",
        hookup="{woofer: {driver: woofer, plus: w, minus: common}}",
        amplifier="{power: 50 W, load: 8 ohm, lowest_load: 3.2 ohm}",
        variants="{v: {cabinet: box, parts: {L1: link}}}",
    )
    for words in (["protect", kit], [kit]):
        done = kitwright(*words)
        assert done.returncode == 2
        assert "error[impedance_link]" in done.stderr


@pytest.mark.slow
@pytest.mark.parametrize("variants", [1, 8, 30])
def test_many_variants_still_fit_the_screen(variants: int, tmp_path: Path) -> None:
    name = "a_long_name_for_a_variant_"
    text = ", ".join(f"{name}{i}: {{cabinet: box}}" for i in range(variants))
    done = kitwright(write_kit(tmp_path, variants=f"{{{text}}}"))
    lines = done.stdout.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 100
    assert lines[-1].startswith("next:")


def test_a_silent_variant_is_computed_as_it_stands(tmp_path: Path) -> None:
    """A reason lets a place be left out; then no current flows, which is said, and nulls stand for infinity."""
    pieces = {
        "parts": "{C1: {capacitor: 220 uF, between: [in, w]}}",
        "hookup": "{woofer: {driver: woofer, plus: w, minus: common}}",
        "variants": "{v: {cabinet: box, reason: on the bench, parts: {C1: omit}}}",
    }
    kit = write_kit(tmp_path, **pieces)
    done = kitwright("predict", kit, "--json", "--points", 5)
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert document["variants"]["v"]["impedance_ohm"] == [None] * 5
    assert document["variants"]["v"]["summary"]["lowest_impedance_ohm"] is None
    assert {"no_current", "no_figure"} <= {finding["code"] for finding in document["findings"]}
    done = kitwright("compare", kit)
    assert (done.returncode, done.stdout.count("silent")) == (0, 2)


SILENT_TOO = (  # of a silent variant, and of one whose input is loaded
    "predict", "limits", "protect", "compare", "parts", "stress", "expect --points 10",
    "spread --builds 100", "buildsheet", "revalue", "symptom thin",
)  # fmt: skip
PLACES = {"C1": "C1: omit", "L1": "L1: omit", "branch": "L1: omit, R1: omit", "all": "C1: omit, L1: omit, R1: omit"}


@pytest.mark.slow
@pytest.mark.parametrize("omitted", PLACES)
def test_every_command_stands_silence(omitted: str, tmp_path: Path) -> None:
    """Without L1 alone the input is loaded and the woofer is not; without R1 too the capacitor hangs in a dead end."""
    pieces = {
        "parts": "{C1: {capacitor: 220 uF, between: [in, w]},"
        " L1: {coil: 1 mH, dc_resistance: 0.3 ohm, between: [w, x]},"
        " R1: {resistor: 3 ohm, power_rating: 10 W, between: [w, common]}}",
        "hookup": "{woofer: {driver: woofer, plus: x, minus: common}}",
        "variants": f"{{v: {{cabinet: box, reason: on the bench, parts: {{{PLACES[omitted]}}}}}}}",
    }
    kit = write_kit(tmp_path, **pieces)
    for line in SILENT_TOO:
        command, *more = line.split()
        words = [command, *more, kit] if command == "symptom" else [command, kit, *more]
        for way in [], ["--json"]:
            done = kitwright(*words, *way)
            if omitted != "L1" and command in ("revalue", "symptom"):
                assert done.returncode == 2, line
                assert "draws no current, " in done.stderr or "no part may move" in done.stderr, line
            else:
                assert done.returncode in (0, 1), (line, done.stderr)
            assert not re.search(r"\binf\b|\bnan\b|[0-9]{15}\.[0-9]", done.stdout), line
    for command, name in (("predict", "p.svg"), ("limits", "l.svg"), ("report", "r.html")):
        assert kitwright(command, kit, "-o", tmp_path / name).returncode in (0, 1)
        assert (tmp_path / name).stat().st_size > 0
    assert kitwright(kit).returncode == 0


def test_a_woofer_known_by_its_tables_is_undecided(tmp_path: Path) -> None:
    rows = np.geomspace(20, 20e3, 20)
    (tmp_path / "z.txt").write_text("\n".join(f"{f} 6 0" for f in rows))
    (tmp_path / "p.txt").write_text("\n".join(f"{f} 86 0" for f in rows))
    driver = "{woofer: {re: 5.5 ohm, impedance: z.txt, response: {file: p.txt, volts: 2.83 V, distance: 1 m}}}"
    kit = write_kit(tmp_path, drivers=driver)
    verdict = json.loads(kitwright("protect", kit, "--json").stdout)["variants"]["v"]["woofer"]
    assert (verdict["verdict"], verdict["link"], verdict["choices"]) == ("undecided", None, [])
    for words in (["protect", kit], ["compare", kit], [kit]):
        done = kitwright(*words)
        assert done.returncode == 0, done.stderr
        assert "undecided" in done.stdout


def test_text_and_json_to_a_file(tmp_path: Path) -> None:
    kit = write_kit(tmp_path)
    for words, name in ((["--json"], "a.json"), ([], "a.txt")):
        printed = kitwright("predict", kit, *words).stdout
        done = kitwright("predict", kit, *words, "-o", tmp_path / name)
        assert (done.returncode, done.stdout) == (0, "")
        assert (tmp_path / name).read_text() == printed


def test_version() -> None:
    done = program("--version")
    assert done.returncode == 0
    assert done.stdout.startswith("kitwright ")


def test_compare_takes_frequencies(tmp_path: Path) -> None:
    done = kitwright("compare", write_kit(tmp_path), "--json", "--from", 50, "--to", 100, "--points", 3, "--seed", 1)
    assert json.loads(done.stdout)["frequency_hz"] == pytest.approx([50, 70.71067811865476, 100])
    assert kitwright("predict", write_kit(tmp_path), "--points", 0).returncode == 2


def test_every_code_is_explained() -> None:
    for code in CODES:
        done = kitwright("explain", code)
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout.startswith(f"{code}\n")
        assert len(done.stdout.split()) > 5
    wrong = kitwright("explain", "quantity_no_unti")
    assert wrong.returncode == 2
    assert "did you mean quantity_no_unit?" in wrong.stderr


def test_explain_units_names_every_unit_that_is_read() -> None:
    rows = kitwright("explain", "units").stdout.splitlines()
    for name, kind in DIMENSIONS.items():
        (row,) = (row for row in rows if row.startswith(f"{name.replace('_', ' ')}  "))
        assert set(row.partition(kind.example)[2].strip().split(", ")) >= set(kind.units) - {""}
