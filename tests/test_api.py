"""Python use: the same figures as the commands' JSON, values that cannot be changed, faults that say what was meant."""

from __future__ import annotations

import ast
import inspect
import json
import math
import re
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import FrozenInstanceError, fields, is_dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from system import api
from system.bench.meter import read_readings
from system.bench.sweeps import read_sweep
from system.kit import Kit
from tests.support_bench import MISTAKES, microphone_file, sweep_file
from tests.support_cli import Run, document
from tests.support_kits import write_kit
from tests.test_cli import HOME, MARSHLIGHT
from tests.test_cli_characterise import sweep as driver_sweep
from tests.test_cli_characterise import two

GRID = np.geomspace(20, 20e3, 40)
FEW = ("--points", 40)
FUNCTIONS = [name for name in api.__all__ if inspect.isfunction(getattr(api, name))]


@pytest.fixture(scope="module")
def kit() -> Kit:
    return api.load_kit(MARSHLIGHT)


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What somebody measured of a finished cabinet, and of a driver."""
    folder = tmp_path_factory.mktemp("measured")
    sweep_file(folder / "sweep.txt", MISTAKES["120 uF open"])
    sweep_file(folder / "other.txt", seed=2)
    microphone_file(folder / "heard.txt")
    (folder / "readings.txt").write_text("in common connected open\nwoofer_a+ woofer_a- apart 5.9\n", encoding="utf-8")
    two(folder)
    driver_sweep(folder, "again.txt")
    return folder


def differences(ours: Any, theirs: Any, at: str = "") -> Iterator[str]:
    """Where nested data are not the same, numbers to 1e-12."""
    if isinstance(ours, Mapping) and isinstance(theirs, Mapping):
        yield from (f"{at}.{key} is in one only" for key in ours.keys() ^ theirs.keys())
        for key in ours.keys() & theirs.keys():
            yield from differences(ours[key], theirs[key], f"{at}.{key}")
    elif isinstance(ours, list) and isinstance(theirs, list) and len(ours) == len(theirs):
        for i, (one, other) in enumerate(zip(ours, theirs, strict=True)):
            yield from differences(one, other, f"{at}[{i}]")
    elif isinstance(ours, float) and isinstance(theirs, int | float):
        if not math.isclose(ours, theirs, rel_tol=1e-12, abs_tol=1e-12):
            yield f"{at}: {ours!r} and {theirs!r}"
    elif ours != theirs:
        yield f"{at}: {ours!r} and {theirs!r}"


def whole(shown: Any) -> Any:
    """A document without what it has of every command."""
    return {key: value for key, value in shown.items() if key not in ("schema_version", "kit", "findings")}


Ask = tuple[str, tuple[Any, ...], Callable[[Kit, Path], Any], Callable[[Any], Any]]


def under(name: str) -> Callable[[Any], Any]:
    """What a document has of one variant."""
    return lambda shown: shown["variants"][name]


ASKED: Iterable[Ask] = [
    (
        "predict",
        (MARSHLIGHT, "--variant", "tall", *FEW),
        lambda kit, _: api.predict(kit, "tall", GRID),
        under("tall"),
    ),
    (
        "predict",
        (MARSHLIGHT, "--variant", "wall", "--around", "--volts", 5, *FEW),
        lambda kit, _: api.around(kit, "wall", GRID, 5.0),
        lambda shown: shown["variants"]["wall"]["around"],
    ),
    ("limits", (MARSHLIGHT, "--variant", "wall", *FEW), lambda kit, _: api.limits(kit, "wall", GRID), under("wall")),
    ("protect", (MARSHLIGHT, "--variant", "centre"), lambda kit, _: api.protect(kit, "centre"), under("centre")),
    ("stress", (MARSHLIGHT, "--variant", "tall"), lambda kit, _: api.stress(kit, "tall"), under("tall")),
    (
        "parts",
        (MARSHLIGHT, "--variant", "centre", "--count", 4),
        lambda kit, _: api.parts(kit, ["centre"], 4),
        whole,
    ),
    (
        "swap",
        (MARSHLIGHT, "R1", "--with", "3.3 ohm", "--variant", "centre"),
        lambda kit, _: api.swap(kit, "R1", "3.3 ohm", ["centre"]),
        whole,
    ),
    (
        "swap",
        (MARSHLIGHT, "woofer_b", "--with", "woofer", "--variant", "wall"),
        lambda kit, _: api.swap(kit, "woofer_b", "woofer", ["wall"]),
        whole,
    ),
    (
        "revalue",
        (MARSHLIGHT, "--variant", "wall", "--move", "R1"),
        lambda kit, _: api.revalue(kit, ["wall"], ["R1"]),
        lambda shown: {key: value for key, value in whole(shown).items() if key != "seed"},
    ),
    (
        "spread",
        (MARSHLIGHT, "--variant", "wall", "--builds", 200, "--seed", 3),
        lambda kit, _: api.spread(kit, "wall", 200, 3),
        whole,
    ),
    ("expect", (MARSHLIGHT, "--variant", "wall", *FEW), lambda kit, _: api.expect(kit, "wall", GRID), whole),
    (
        "compare",
        (MARSHLIGHT, "--variant", "wall", "--variant", "centre", "--against", "wall", *FEW),
        lambda kit, _: api.compare(kit, variants=["wall", "centre"], frequencies=GRID, against="wall"),
        whole,
    ),
    pytest.param(
        "verify",
        (MARSHLIGHT, "--variant", "wall", "--readings", "readings.txt", "--sweep", "sweep.txt", "--against",
         "other.txt", "--microphone", "heard.txt"),
        lambda kit, files: api.verify(
            kit, "wall", files / "readings.txt", files / "sweep.txt", files / "heard.txt", files / "other.txt"
        ),
        whole,
        marks=pytest.mark.slow,
    ),
    (
        "characterise",
        ("free.txt", "--added-mass", "5 g", "heavier.txt", "--diameter", "105.852 mm", "--dc", 5.6),
        lambda _, files: api.characterise(
            files / "free.txt", added_mass=(5e-3, files / "heavier.txt"), diameter=105.852e-3, dc=5.6
        ),
        whole,
    ),
    (
        "characterise",
        ("free.txt", "again.txt"),
        lambda _, files: api.pairs([api.characterise(files / name) for name in ("free.txt", "again.txt")]),
        whole,
    ),
]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize(("command", "words", "ask", "part"), ASKED)
def test_the_same_as_the_commands_json(
    command: str,
    words: tuple[Any, ...],
    ask: Callable[[Kit, Path], Any],
    part: Callable[[Any], Any],
    kit: Kit,
    files: Path,
    run: Run,
) -> None:
    done = run(command, *(files / word if str(word).endswith(".txt") else word for word in words), "--json")
    assert done.status in (0, 1)  # done, whatever is the answer
    result = ask(kit, files)
    ours = json.loads(json.dumps(api.to_dict(result), allow_nan=False))
    assert list(differences(ours, part(document(done, done.status)))) == []
    assert list(written(result)) == []


def written(result: Any, at: str = "") -> Iterator[str]:
    """What in a result can be changed: fields that are not frozen, arrays that can be written to."""
    if isinstance(result, np.ndarray):
        if result.flags.writeable:
            yield at
    elif isinstance(result, Mapping):
        for name, value in result.items():
            yield from written(value, f"{at}.{name}")
    elif isinstance(result, tuple | list):
        for i, value in enumerate(result):
            yield from written(value, f"{at}[{i}]")
    elif is_dataclass(result) and type(result).__module__ != "system.kit":
        if not type(result).__dataclass_params__.frozen:  # type: ignore[attr-defined]
            yield f"{at} ({type(result).__name__})"
        for field in fields(result):
            yield from written(getattr(result, field.name), f"{at}.{field.name}")


def test_results_cannot_be_changed(kit: Kit) -> None:
    mine = np.array([100.0, 1000.0])
    prediction = api.predict(kit, "wall", mine, detail=False)
    with pytest.raises(FrozenInstanceError):
        prediction.volts = 3.0  # type: ignore[misc]
    with pytest.raises(ValueError, match="read-only"):
        prediction.pressure[0] = 0.0
    with pytest.raises(ValueError, match="read-only"):
        prediction.frequency[0] = 20.0
    mine[0] = 50.0  # the caller's own stays the caller's


def test_what_if_is_the_same_as_set_on_the_command_line(run: Run) -> None:
    changed = "crossover.parts.C3.capacitor=8.2 uF"
    kit = api.load_kit(MARSHLIGHT, [changed])
    assert kit.variants["wall"].places["C3"].part.value == 8.2e-6
    shown = document(run("stress", MARSHLIGHT, "--variant", "wall", "--set", changed, "--json"))
    assert list(differences(api.to_dict(api.stress(kit, "wall")), shown["variants"]["wall"])) == []


def test_findings_are_those_of_the_command(kit: Kit, run: Run) -> None:
    words = ("predict", MARSHLIGHT, "--variant", "tall", "--points", 40, "--json")
    found = [each.to_dict() for each in api.findings(kit, api.predict(kit, "tall", GRID, detail=False))]
    assert found == document(run(*words))["findings"]


def wrong(call: Callable[[], Any]) -> str:
    with pytest.raises(api.KitError) as caught:
        call()
    return str(caught.value)


def test_another_name_is_told_with_the_nearest(kit: Kit) -> None:
    assert "did you mean centre?" in wrong(lambda: api.predict(kit, "center"))
    assert "its variants are centre, wall, tall" in wrong(lambda: api.protect(kit, "kitchen"))
    assert "did you mean tall?" in wrong(lambda: api.parts(kit, ["talll"]))
    assert "did you mean wall?" in wrong(lambda: api.compare(kit, variants=["wal"]))
    assert "did you mean R1?" in wrong(lambda: api.swap(kit, "R11", "1 ohm"))


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda kit: api.predict(kit, "wall", [1000.0, 100.0]), "rising frequencies in Hz"),
        (lambda kit: api.predict(kit, "wall", [0.0, math.nan]), "rising frequencies in Hz"),
        (lambda kit: api.predict(kit, "wall", []), "a list of 1 to"),
        (lambda kit: api.predict(kit, "wall", volts=math.nan), "1e-06 to 1000 V rms"),
        (lambda kit: api.limits(kit, "wall", [0.1, 100.0]), "1 to 100000"),
        (lambda kit: api.parts(kit, count=0), "1 to 100 cabinets"),
        (lambda kit: api.parts(kit, "wall"), "a list of names"),
        (lambda kit: api.parts(kit, []), "some of centre, wall, tall"),
        (lambda kit: api.spread(kit, "wall", builds=0), "100 to 1e+06 copies"),
        (lambda kit: api.spread(kit, "wall", law="flat"), "one of uniform, normal"),
        (lambda kit: api.spread(kit, "wall", at_least=90), "0 to 1"),
        (lambda kit: api.spread(kit, "wall", seed=-1), "0 or more"),
        (lambda kit: api.verify(kit, "wall"), "nothing that was measured"),
        (lambda kit: api.verify(kit, "wall", readings=(), against="x.txt"), "sweep of this loudspeaker"),
        (lambda kit: api.compare(), "one kit or more"),
        (lambda kit: api.compare(kit, variants=["wall"], against="tall"), "one of wall"),
        (lambda kit: api.swap(kit, "R1", "1 mH"), "mH"),
        (lambda kit: api.swap(replace(kit, name="mine"), "R1", "1 ohm"), "the settings that load_kit was called with"),
        (lambda kit: api.pairs([]), "two or more"),
        (lambda kit: api.load_kit("nowhere.yaml"), "nowhere.yaml"),
    ],
)
def test_bad_input_is_told_in_words(call: Callable[[Kit], Any], said: str, kit: Kit) -> None:
    assert said in wrong(partial(call, kit))


def test_every_fault_of_every_measured_file_is_told_at_once(kit: Kit, tmp_path: Path) -> None:
    for name in ("sweep.txt", "heard.txt", "readings.txt"):
        (tmp_path / name).write_text("one two three four\n", encoding="utf-8")
    said = wrong(
        lambda: api.verify(kit, "wall", tmp_path / "readings.txt", tmp_path / "sweep.txt", tmp_path / "heard.txt")
    )
    assert all(name in said for name in ("sweep.txt", "heard.txt", "readings.txt"))


def test_a_short_sweep_is_refused(kit: Kit, tmp_path: Path) -> None:
    short = tmp_path / "short.txt"
    short.write_text("".join(f"{f:.1f} 6.0 0\n" for f in np.linspace(900, 1100, 20)), encoding="utf-8")
    assert "sweep_refused" in wrong(lambda: api.verify(kit, "wall", sweep=short))


def test_characterise_tells_what_is_wrong(files: Path) -> None:
    free, heavier = files / "free.txt", files / "heavier.txt"
    assert "0.1 to 1000 ohm" in wrong(lambda: api.characterise(free, dc=0.0))
    assert "1e-05 to 1 kg" in wrong(lambda: api.characterise(free, added_mass=(5.0, heavier)))  # in grams
    both = {"added_mass": (5e-3, heavier), "known_box": (8e-3, heavier)}
    assert "one second sweep at a time" in wrong(lambda: api.characterise(free, **both))
    assert "semi_inductance" in wrong(lambda: api.characterise(free, model="semi_inductanse"))
    assert "missing.txt" in wrong(lambda: api.characterise(files / "missing.txt"))


@pytest.mark.slow
def test_what_was_read_already_does_as_well_as_its_file(kit: Kit, files: Path) -> None:
    by_file = api.verify(kit, "wall", files / "readings.txt", files / "sweep.txt")
    read = read_readings(files / "readings.txt", kit, kit.variants["wall"])
    by_value = api.verify(kit, kit.variants["wall"], read, read_sweep(files / "sweep.txt"))
    assert list(differences(api.to_dict(by_value), api.to_dict(by_file))) == []
    assert by_file.result == "fail"


def test_a_variant_with_another_value_is_predicted_as_one(kit: Kit, tmp_path: Path) -> None:
    """Ohm's law: a resistor between the points of the input alone is the impedance, with the cable's 0 ohm."""
    path = write_kit(tmp_path, parts="{R1: {resistor: 8 ohm, between: [in, common]}}")
    small = api.load_kit(path)
    here = small.variants["v"]
    place = here.places["R1"]
    alone = api.predict(small, "v", [10.0, 1000.0], detail=False).impedance
    halved = replace(here, places={"R1": replace(place, part=replace(place.part, value=4.0))})
    both = api.predict(small, halved, [10.0, 1000.0], detail=False).impedance
    # 1/z - 1/8 is the driver, and the driver is the same in both
    assert 1 / alone - 1 / 8 == pytest.approx(1 / both - 1 / 4, rel=1e-12)


def test_to_dict_refuses_what_is_no_result(kit: Kit) -> None:
    with pytest.raises(TypeError, match="Kit is no result"):
        api.to_dict(kit)


def test_importing_loads_nothing_heavy() -> None:
    script = (
        "import sys; from system import api; dir(api); "
        f"print(sorted({{'numpy', 'scipy', 'matplotlib', 'pydantic', 'typer'}} & set(sys.modules)));"
        f"api.load_kit({str(MARSHLIGHT)!r}); print(sorted({{'numpy', 'scipy', 'matplotlib'}} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, encoding="utf-8", cwd=HOME, check=True)
    assert done.stdout.split("\n")[:2] == ["[]", "[]"]


UNIT = re.compile(r"\b(Hz|dB|V|ohm|m|mm|m/s|ms|Pa|F|kg|K|V rms|units?)\b")


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_function_tells_units_and_errors(name: str) -> None:
    """Every name in its signature is spoken of, too."""
    function = getattr(api, name)
    told = function.__doc__ or ""
    assert UNIT.search(told), "no unit"
    assert re.search(r"\bRaises (KitError|ValueError|TypeError)\b", told), "no error"
    parameters = [each for each in inspect.signature(function).parameters if each not in FIRST]
    assert [each for each in parameters if f"`{each}`" not in told] == []


FIRST = {  # what a function is about
    "kit", "kits", "variant", "path", "axes", "result", "prediction", "predictions", "around", "ceilings", "verdict",
    "spread", "sweep", "drivers",
}  # fmt: skip


def test_everything_given_out_is_there_and_nothing_else() -> None:
    tree = ast.parse(Path(inspect.getfile(api)).read_text(encoding="utf-8"))
    own = {node.name for node in tree.body if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")}
    assert own | set(api.HOME) | {"Finding", "KitError"} == set(api.__all__)
    assert all(getattr(api, name) is not None for name in api.__all__)
    assert set(api.__all__) <= set(dir(api))
    with pytest.raises(AttributeError, match="guess"):
        _ = api.guess


SCRIPT = """
from typing import Literal, assert_type

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from system import api
from system.api import Around, Ceilings, Kit, Prediction
from system.bench.fitting_values import Fit

Word = Literal["needed", "helps", "not_needed", "makes_worse", "undecided"]

kit = assert_type(api.load_kit("kit.yaml", ["crossover.parts.C1.capacitor=150 uF"]), Kit)
prediction = assert_type(api.predict(kit, "tall", [100.0, 200.0]), Prediction)
assert_type(prediction.excursion_at("woofer_a", 5.0), NDArray[np.float64])
assert_type(api.protect(kit, "tall")[0].verdict, Word)
assert_type(api.limits(kit, kit.variants["tall"], np.array([20.0])), Ceilings)
assert_type(api.swap(kit, "R1", "1 ohm").result, Literal["pass", "marginal", "fail", "cannot_tell"])
assert_type(api.spread(kit, "tall").inside.value, float)
assert_type(api.expect(kit, "tall").kit, Kit)
assert_type(api.around(kit, "tall", [100.0, 200.0]), Around)
assert_type(api.characterise("sweep.txt").fit, Fit | None)

def mine(axes: Axes) -> None:
    api.plot_level(axes, prediction)
"""
WRONG = """
api.predict(kit, 3)
prediction.volts = 3.0
api.plot_level(prediction, prediction)
"""


@pytest.mark.slow
def test_a_users_script_is_typed(tmp_path: Path) -> None:
    """Held by mypy in its strict mode: what is right passes, and each of the wrong lines is told."""
    script = tmp_path / "mine.py"
    script.write_text(SCRIPT + WRONG, encoding="utf-8")
    words = [sys.executable, "-m", "mypy", "--strict", "--config-file=", "--ignore-missing-imports", str(script)]
    done = subprocess.run(words, capture_output=True, encoding="utf-8", cwd=HOME, check=False)
    told = {int(line) for line in re.findall(r"mine\.py:(\d+): error", done.stdout)}
    first = SCRIPT.count("\n") + 2
    assert told == set(range(first, first + 3)), done.stdout
