"""Reading kit files: every wrong kit says exactly what is stored beside it, and nothing else ever comes out."""

import ast
import random
import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import yaml

from system.codes import CODES, explanation
from system.document import DocumentError, parse
from system.findings import Finding, KitError
from system.kit import Kit, StockItem
from system.kitfile import load_kit
from system.schema import models

HERE = Path(__file__).parent
WRONG = HERE / "wrong"
FULL = HERE / "kits" / "full.yaml"
EXAMPLE = HERE.parent / "scenarios" / "marshlight" / "kit.yaml"
KITS = [FULL, EXAMPLE]


def lines(findings: Any) -> list[str]:
    return [finding.text() for finding in findings]


def faults(path: str | Path, *settings: str) -> list[str]:
    with pytest.raises(KitError) as caught:
        load_kit(path, settings)
    return lines(caught.value.findings)


@pytest.mark.parametrize("name", sorted(path.stem for path in WRONG.glob("*.yaml")))
def test_wrong_kit(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(WRONG)
    expected = Path(f"{name}.expected").read_text(encoding="utf-8").splitlines()
    assert faults(f"{name}.yaml") == expected


def test_there_are_enough_wrong_kits_and_none_is_left_over() -> None:
    kits = {path.stem for path in WRONG.glob("*.yaml")}
    assert len(kits) >= 40
    assert kits == {path.stem for path in WRONG.glob("*.expected")}


# codes that the reading of a kit file does not give
ELSEWHERE = {"frequency_list", "impedance_link", "impedance_low", "fill_range", "excursion_unknown"}
ELSEWHERE |= {"hand_columns", "hand_row", "hand_few"}
ELSEWHERE |= {"sweep_unit", "sweep_phase", "sweep_repeats", "sweep_tidied"}
ELSEWHERE |= {"reading_line", "reading_point", "reading_value", "reading_twice"}
ELSEWHERE |= {"sweep_refused"}
ELSEWHERE |= {
    "circuit_unsolvable",
    "no_current",
    "no_figure",
    "nothing_to_draw",
    "fill_without_effect",
    "fill_gives_power",
    "response_join",
    "polarity",
    "revalue_impossible",
    "cabinet_table_in_wall",
    "impedance_table_unused",
    "table_range",
    "minimum_phase",
    "standard_baffle",
    "unknown_code",
    "unknown_symptom",
    "usage",
}
ELSEWHERE |= {"volume_off", "line_outside", "fold_thickness", "driver_too_deep", "rebate_too_deep"}
ELSEWHERE |= {"hole_over_joint", "holes_overlap", "tips_over"}  # the cabinet sheet's
READERS = [
    "kitmodel",
    "board",
    "context",
    "document",
    "edge",
    "kitfile",
    "quantity",
    "rawkit",
    "resolve",
    "resolve_cabinets",
]
READERS += [
    "resolve_board",
    "resolve_choice",
    "resolve_curves",
    "resolve_drivers",
    "resolve_fills",
    "resolve_heat",
    "resolve_layout",
    "resolve_lines",
    "resolve_places",
    "resolve_ports",
    "resolve_parts",
    "resolve_settings",
    "resolve_variants",
    "resolve_wood",
    "standing",
    "stockfile",
    "tables",
]


def codes_in_the_source() -> dict[str, set[str]]:
    """Every code of the register that the kit reader's modules mention, with the severities it is reported at."""
    found: dict[str, set[str]] = {}
    for module in READERS:
        tree = ast.parse((HERE.parent / "system" / f"{module}.py").read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and node.value in CODES:
                found.setdefault(str(node.value), set())
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.args:
                severity, first = node.func.attr, node.args[0]
                if severity in ("error", "warning", "note") and isinstance(first, ast.Constant):
                    assert first.value in CODES, f"{module}: {first.value} is not in the register"
                    found.setdefault(first.value, set()).add(severity)
    return found


def test_every_code_has_a_wrong_kit_and_every_kit_code_is_used() -> None:
    text = "\n".join(path.read_text(encoding="utf-8") for path in WRONG.glob("*.expected"))
    shown = set(re.findall(r": error\[(\w+)\]", text)) | set(re.findall(r": warning\[(\w+)\]", text))
    used = codes_in_the_source()
    assert set(CODES) - ELSEWHERE - set(used) == {"assumed"} - set(used)
    only_notes = {code for code, severities in used.items() if severities == {"note"}} | {"assumed"}
    elsewhere = {"setting", "file_too_large"}  # tested below: no wrong kit of a few lines has them
    assert set(used) - only_notes - elsewhere - {"standard_baffle"} <= shown


def test_every_code_of_the_program_is_in_the_register() -> None:
    """Wherever a severity is followed by a code in a call, in any module."""
    for path in (HERE.parent / "system").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            arguments = node.args if isinstance(node, ast.Call) else []
            words = [arg.value if isinstance(arg, ast.Constant) else None for arg in arguments]
            for severity, code in pairwise(words):
                if severity in ("error", "warning", "note") and isinstance(code, str):
                    assert code in CODES, f"{path.name}: {code}"


def test_explanations_are_whole_sentences() -> None:
    for code, text in CODES.items():
        assert text[0].isupper() or text[0] == "`", code
        assert text.endswith("."), code
        assert explanation(code) == f"{code}\n{text}"
    with pytest.raises(KitError, match=r"did you mean driver_twice\?"):
        explanation("driver_twise")


def test_whole_kit_at_once(tmp_path: Path) -> None:
    kit = tmp_path / "kit.yaml"
    assert faults(kit) == [f"{kit}:1:1: error[file_missing]: there is no such file"]
    assert faults(tmp_path) == [f"{tmp_path}:1:1: error[file_unreadable]: this is a folder; name the file in it"]
    kit.write_bytes(b"format: 1\nkit: Sm\xf8rbr\xf8d\n")
    assert faults(kit) == [f"{kit}:2:8: error[file_not_utf8]: byte 0xf8 is not UTF-8; save the file as UTF-8 text"]
    kit.write_bytes("format: 1".encode("utf-16"))
    assert faults(kit)[0].startswith(f"{kit}:1:1: error[file_not_utf8]")
    kit.write_bytes(b"#" * (1 << 20) + b"\n")
    assert faults(kit) == [
        f"{kit}:1:1: error[file_too_large]: the file is larger than 1 MiB; a kit or table takes a few kB"
    ]
    kit.write_bytes(b"\xef\xbb\xbfformat: 1\nkit: Named\n")  # a byte-order mark is tolerated
    with pytest.raises(KitError) as caught:
        load_kit(kit)
    assert caught.value.kit == "Named"
    assert {finding.code for finding in caught.value.findings if finding.severity == "error"} == {"missing_key"}


def test_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    inside, outside = tmp_path / "kit", tmp_path / "secret.txt"
    inside.mkdir()
    outside.write_text("20 5\n", encoding="utf-8")
    (inside / "dome-impedance.txt").symlink_to(outside)
    (inside / "dome-response.txt").write_text((WRONG / "dome-response.txt").read_text(encoding="utf-8"))
    kit = inside / "kit.yaml"
    kit.write_text((WRONG / "format.yaml").read_text(encoding="utf-8").replace("format: 2", "format: 1"))
    assert [line.partition(": ")[2] for line in faults(kit)] == [
        'error[file_outside]: dome.impedance is "dome-impedance.txt", which is outside of the kit\'s folder; '
        "files named in a kit lie in its own folder"
    ]
    (inside / "dome-impedance.txt").unlink()
    (inside / "dome-impedance.txt").symlink_to(inside / "dome-impedance.txt")  # a loop
    assert len(faults(kit)) == 1


def test_scalars_are_text_as_typed(tmp_path: Path) -> None:
    """YAML 1.1 would read these as a boolean, a number in base 60, an octal number, nothing, and a date."""
    for text in ("no", "12:30", "010", "~", "2024-01-02"):
        kit = tmp_path / "kit.yaml"
        kit.write_text(
            FULL.read_text(encoding="utf-8").replace("kit: Every key once", f"kit: {text}"), encoding="utf-8"
        )
        for other in FULL.parent.glob("*.[tc]*"):
            (tmp_path / other.name).write_bytes(other.read_bytes())
        assert load_kit(kit).name == text


def test_what_if() -> None:
    kit = load_kit(FULL, ["cabinets.compact.chambers.0.volume=9 L", "variants.tall.parts.C3=4.7 uF"])
    chamber = kit.variants["centre"].cabinet.chambers[0]
    assert chamber.volume == 9e-3  # type: ignore[union-attr]
    assert kit.variants["tall"].places["C3"].part.value == 4.7e-6
    # a base that others start from changes them too
    kit = load_kit(FULL, ["variants.centre.seats.distance=3 m"])
    assert kit.variants["full_range_centre"].seats is not None
    assert kit.variants["full_range_centre"].seats.distance == 3.0
    # a piece of what is inherited changes here only
    kit = load_kit(FULL, ["cabinets.tall2={like: tall}", "cabinets.tall2.chambers.0.profile.0.length=500 mm",
                          "variants.tall2={like: tall, cabinet: tall2}"])  # fmt: skip
    lengths = [kit.variants[name].cabinet.chambers[0].profile[0].length for name in ("tall", "tall2")]  # type: ignore[union-attr]
    assert lengths == [0.6, 0.5]
    kit = load_kit(FULL, ["stock.resistors=[1 ohm, 2.2 ohm]"])
    assert kit.stock.resistors == (StockItem(1.0), StockItem(2.2))


def test_what_if_adds_what_is_not_there() -> None:
    """A key, a mapping and all above it, an entry that is like another, and the item that a list has next."""
    settings = [
        "meter.leads=0.2 ohm",
        "assembly.ambient=30 degC",
        "variants.also={like: tall, placement: in_wall}",
        "variants.also.seats.distance=4 m",
        "variants.also.seats.angle=10 deg",
        "cabinets.compact.boards.braces=[{length: 100 mm, width: 20 mm}]",
        "cabinets.compact.boards.braces.1={length: 90 mm, width: 20 mm}",
    ]
    wrong = faults(EXAMPLE, *settings, "variant.also.attitude=upright", "cabinets.compact.boards.braces.3.count=2")
    assert [line for line in wrong if line.startswith("--set")] == [
        "--set cabinets.compact.boards.braces.3.count=2:1:1: error[setting]: "
        "cabinets.compact.boards.braces has no item 3; its items are 0 to 1, and 2 adds one",
        '--set variant.also.attitude=upright:1:1: error[unknown_key]: the kit has an unknown key "variant"; '
        "did you mean variants?",
    ]
    kit = load_kit(EXAMPLE, settings)
    assert [brace.length for brace in kit.variants["wall"].cabinet.boards.braces] == pytest.approx([0.1, 0.09])
    assert kit.meter.leads == pytest.approx(0.2)
    assert (kit.variants["also"].placement.kind, kit.variants["also"].cabinet.name) == ("in_wall", "tall")
    assert kit.variants["also"].seats.distance == pytest.approx(4)


def test_what_if_at_fault() -> None:
    settings = [
        "amplifier.load=8",
        "kit",
        "kit.x=1",
        "cabinets.compact.chambers.7.volume=9 L",
        "=",
        "x=[",
        "amplifier.laod=4 ohm",
    ]
    settings += ["cabinets.compact.cutouts.woofer_a.3=1 mm"]
    found = [line for line in faults(FULL, *settings) if line.startswith("--set")]
    assert found == [
        "--set =:1:1: error[setting]: this is no path=value; write for example variants.centre.parts.C1=link",
        '--set amplifier.laod=4 ohm:1:1: error[unknown_key]: amplifier has an unknown key "laod"; did you mean load?',
        '--set amplifier.load=8:1:1: error[quantity_no_unit]: amplifier.load is "8", without a unit; '
        "write for example 8 ohm",
        "--set cabinets.compact.chambers.7.volume=9 L:1:1: error[setting]: "
        "cabinets.compact.chambers has no item 7; its items are 0 to 1, and 2 adds one",
        "--set cabinets.compact.cutouts.woofer_a.3=1 mm:1:1: error[setting]: "
        "cabinets.compact.cutouts.woofer_a has no item 3; its items are 0 to 1, and 2 adds one",
        "--set kit:1:1: error[setting]: this is no path=value; write for example variants.centre.parts.C1=link",
        "--set kit.x=1:1:1: error[setting]: kit is a value, and nothing stands under it; end the path with kit",
        "--set x=[:1:1: error[yaml_syntax]: YAML cannot be read here: expected the node content, but found "
        "'<stream end>'; look for a missing quote, bracket, colon or space",
    ]


@pytest.mark.parametrize("path", KITS, ids=lambda path: path.stem)
def test_a_good_kit_loads(path: Path) -> None:
    kit = load_kit(path)
    assert isinstance(kit, Kit)
    assert not [finding for finding in kit.findings if finding.severity == "error"]
    places = [(finding.file, finding.line, finding.column) for finding in kit.findings]
    assert places == sorted(places)
    assert all(finding.code in CODES for finding in kit.findings)


def test_every_key_is_in_the_full_kit() -> None:
    """The full kit says every key of every model, so the tests that change it meet them all."""
    said: set[str] = set()

    def walk(value: Any) -> None:
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            said.add(str(key))
            if isinstance(inner, dict | list):
                walk(inner)

    walk(yaml.safe_load(FULL.read_text(encoding="utf-8")))
    for model in models():
        assert set(model.keys()) - {"speed_of_sound"} <= said, model.__name__  # it excludes the weather


def test_locate_finds_values_and_names() -> None:
    kit = load_kit(FULL)
    text = FULL.read_text(encoding="utf-8").splitlines()
    for path, word in (
        ("drivers.woofer.qes", "0.415"),
        ("variants.tall", "tall:"),
        ("crossover.parts.C1.tolerance", "+-10"),
    ):
        line, column = kit.locate(path)
        assert text[line - 1][column - 1 :].startswith(word)
    assert kit.locate("variants.tall.no.such.key") == kit.locate("variants.tall")


NASTY = [
    "",
    "0",
    "-1",
    "1e3",
    "nan",
    "no",
    "null",
    "[]",
    "{}",
    "8",
    "8 ohm",
    "x",
    "[1, 2]",
    "link",
    "é" * 300,
    "1,5 mH",
    "'",
]
NASTY += [
    "*a",
    "&a b",
    "!t x",
    ": :",
    "{a: b}",
    "- a",
    "\t",
    "|",
    "1/0 in",
    "99999999999999999999 mm",
    "\\x00",
    "%",
    "@",
]


def mutate(text: str, chance: random.Random) -> str:
    """A kit as a tired person or a broken disk leaves it: one to three changes of words, lines or characters."""
    for _ in range(chance.choice([1, 1, 1, 2, 3])):
        rows = text.split("\n")
        at = chance.randrange(len(rows))
        kind = chance.randrange(11)
        if kind == 0:
            del rows[at]
        elif kind == 1:
            rows.insert(chance.randrange(len(rows)), rows[at])
        elif kind == 2:
            rows[at] = " " * chance.randint(1, 4) + rows[at]
        elif kind == 3:
            rows[at] = rows[at].lstrip()
        elif kind in (4, 5):
            words = re.split(r"([\w.µΩ°²]+)", rows[at])
            if len(words) > 1:
                words[chance.randrange(1, len(words), 2)] = chance.choice(NASTY)
            rows[at] = "".join(words)
        elif kind == 6:
            every = re.findall(r"\w+", text)
            words = re.split(r"(\w+)", rows[at])
            if len(words) > 1:
                words[chance.randrange(1, len(words), 2)] = chance.choice(every)
            rows[at] = "".join(words)
        elif kind == 7 and rows[at]:
            column = chance.randrange(len(rows[at]))
            rows[at] = rows[at][:column] + chance.choice("[]{}:,-#&*!|>'\"%@` \t\0x9") + rows[at][column + 1 :]
        elif kind in (9, 10):  # another number, which may be as good
            rows[at] = re.sub(r"(?<=[ \[])[1-9]", lambda _: str(chance.randint(1, 9)), rows[at], count=1)
        elif kind == 8:
            return "\n".join(rows)[: chance.randrange(len(text))]
        text = "\n".join(rows)
    return text


def outcome(path: Path) -> tuple[Kit | None, tuple[Finding, ...]]:
    """What reading the kit comes to; any other exception than KitError passes through and fails the test."""
    try:
        kit = load_kit(path)
    except KitError as error:
        return None, error.findings
    return kit, kit.findings


@pytest.mark.slow
@pytest.mark.parametrize("path", KITS, ids=lambda path: path.stem)
def test_mutations_load_or_say_what_is_wrong(path: Path, tmp_path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    for other in path.parent.iterdir():
        if other.is_file() and other.suffix != ".yaml":
            (tmp_path / other.name).write_bytes(other.read_bytes())
    kit = tmp_path / "kit.yaml"
    outcomes = {"loads": 0, "faults": 0}
    for seed in range(200):
        kit.write_text(mutate(text, random.Random(seed)), encoding="utf-8")
        loaded, findings = outcome(kit)
        outcomes["loads" if loaded else "faults"] += 1
        assert loaded is None or loaded.variants, seed
        assert any(finding.severity == "error" for finding in findings) == (loaded is None), seed
        for finding in findings:
            assert finding.code in CODES, seed
            assert "\n" not in finding.text(), seed
            assert finding.line >= 1, seed
    assert min(outcomes.values()) > 20, outcomes


@pytest.mark.slow
def test_mutations_of_tables(tmp_path: Path) -> None:
    for other in FULL.parent.iterdir():
        (tmp_path / other.name).write_bytes(other.read_bytes())
    for name in ("dome-impedance.txt", "dome-response.txt", "levels.txt", "stock.csv"):
        text = (FULL.parent / name).read_text(encoding="utf-8")
        for seed in range(25):
            (tmp_path / name).write_text(mutate(text, random.Random(seed)), encoding="utf-8")
            _, findings = outcome(tmp_path / "full.yaml")
            assert all(finding.code in CODES for finding in findings), seed
        (tmp_path / name).write_text(text, encoding="utf-8")


def test_large_nonsense_is_answered(tmp_path: Path) -> None:
    """Within the size limit nothing takes more than seconds: counted in findings and values, not in time."""
    kit = tmp_path / "kit.yaml"
    for text in (
        "a: b\n" * 20_000,
        "a: [" * 5000,
        "".join(f"k{i}: v\n" for i in range(5000)),
        "[" * 100_000,
        "? " * 5000,
    ):
        kit.write_text(text, encoding="utf-8")
        assert faults(kit)


def test_reading_a_kit_loads_no_numpy() -> None:
    code = (
        "import sys; from system.kitfile import load_kit; load_kit(sys.argv[1]);"
        "print([m for m in ('numpy', 'scipy', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(FULL)], capture_output=True, text=True, cwd=HERE.parent, check=True
    )
    assert done.stdout.strip() == "[]"


BITS = [
    "\t",
    ": ",
    "{",
    "}",
    "[",
    "]",
    ",",
    '"',
    "'",
    "#",
    "&a ",
    "*a",
    "!!x ",
    ">\n",
    "- ",
    "? ",
    "é",
    "\u2028",
    "\ufeff",
]
BITS += ["---", "\r\n", "\x00", "|"]


def test_both_scanners_of_pyyaml_read_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    """Values, positions and faults are those of pyyaml's own scanner, whether libyaml is there or not."""
    shuffled, has_libyaml = random.Random(3), yaml.__with_libyaml__
    texts = [path.read_text(encoding="utf-8", errors="ignore") for path in [*KITS, *WRONG.glob("*.yaml")]]
    seen = set()
    for _ in range(300):
        text = shuffled.choice(texts)[: shuffled.randrange(200, 2000)]
        for _ in range(shuffled.randrange(4)):
            place = shuffled.randrange(len(text) + 1)
            text = text[:place] + shuffled.choice(BITS) + text[place + shuffled.randrange(2) :]
        outcomes = []
        for quick in (has_libyaml, False):
            monkeypatch.setattr(yaml, "__with_libyaml__", quick)
            outcomes.append(as_read(text))
        assert outcomes[0] == outcomes[1], text
        seen.add(outcomes[0][0])
    assert seen == {"read", "refused"}


def as_read(text: str) -> tuple[str, list[Any]]:
    try:
        root, found = parse(text, "kit.yaml")
    except DocumentError as error:
        return "refused", [error.code, error.mark, error.found, error.allowed]
    places, todo = [(fault.code, fault.mark, fault.found) for fault in found], [root]
    while todo:
        node = todo.pop()
        places.append((str(node), node.mark, getattr(node, "key_marks", {})))
        todo += node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
    return "read", places
