"""The command `characterise`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from system.commandline import AsJson, CsvFolder, Force, Output, app, command
from system.sheets.showing import Showing, write_csv

if TYPE_CHECKING:
    from system.bench.characterise import Measured, Second
    from system.findings import Finding

T = TypeVar("T")

RANGES = {  # of the quantity that a second sweep is told with
    "added_mass": ("mass", "10 mg", "1 kg"),
    "known_box": ("volume", "10 mL", "1 m3"),
}

BLOCKS = (".yaml", ".yml")  # endings of -o that ask for the driver alone, as a kit file has it

Sweeps = Annotated[
    list[Path], typer.Argument(metavar="SWEEP", help="Impedance sweeps, one a driver.", show_default=False)
]
AddedMass = Annotated[
    tuple[str, Path] | None,
    typer.Option("--added-mass", metavar="MASS SWEEP2", help='The same driver with a mass on its cone, like "10 g".'),
]
KnownBox = Annotated[
    tuple[str, Path] | None,
    typer.Option("--known-box", metavar="VOLUME SWEEP2", help='The same driver on a closed box, like "8 L".'),
]
Dc = Annotated[
    str | None, typer.Option(metavar="OHMS", help="Its dc resistance as a meter reads it, the leads' taken off.")
]
Diameter = Annotated[
    str | None,
    typer.Option(metavar="D", help='Across the cone from middle to middle of the surround, like "108 mm".'),
]
Model = Annotated[
    str | None, typer.Option(metavar="NAME", help="The voice coil's model. [default: the one the sweep supports]")
]
Creep = Annotated[bool, typer.Option("--creep", help="Let the suspension give way more the slower it moves.")]
Name = Annotated[str, typer.Option(metavar="NAME", help="What the kit file's lines call the driver.")]


@app.command()
@command
def characterise(
    sweeps: Sweeps,
    added: AddedMass = None,
    box: KnownBox = None,
    dc: Dc = None,
    diameter: Diameter = None,
    model: Model = None,
    creep: Creep = False,
    name: Name = "measured_driver",
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    force: Force = False,
) -> None:
    """A driver's figures from its impedance, ready for a kit; several put into pairs."""
    from system.bench import characterise as bench
    from system.bench.sweeps import read_sweep
    from system.output import check_target, write_file
    from system.sheets import characterise_texts, data

    asked = _Asked()
    as_block = output is not None and output.suffix.lower() in BLOCKS
    showing = asked.so(lambda: Showing.of(sweeps[0], None if as_block else output, as_json, force))
    if as_block and output is not None:
        asked.so(partial(check_target, output, force))
    given = asked.second(added, box)
    ohms = asked.take("--dc", dc, asked.ohms)
    area = asked.take("--diameter", diameter, asked.area)
    asked.check(sweeps, given, dc, model, name)
    read = [sweep for path in sweeps if (sweep := asked.so(partial(read_sweep, path)))]
    second = asked.second_sweep(*given) if given else None
    asked.refuse()
    assert showing is not None
    units = [bench.characterise(sweep, ohms, model, creep, second, area) for sweep in read]
    findings = [note for sweep in (*read, *([second.sweep] if second else ())) for note in sweep.notes]
    findings += [_refused(unit, sweep) for unit, sweep in zip(units, sweeps, strict=True) if unit.refused]
    shown = _Shown(units, second, name)
    if csv is not None:
        write_csv(csv, shown.csv(), force)
    block = shown.block() if as_block else []
    if output is not None and block:
        write_file(output, characterise_texts.kit_file(block), force)
    text = None if block else shown.text
    told = [finding for finding in findings if finding.severity != "note"]
    if text and not showing.drawn:  # which says itself what is refused
        told = [finding for finding in told if finding.code != "sweep_refused"]
    showing.show(told, lambda _: shown.graphs(), lambda: data.document("", findings, **shown.data()), text, csv)


class _Shown:
    """One driver or a batch, in every form."""

    def __init__(self, units: Sequence[Measured], second: Second | None, name: str) -> None:
        from system.bench.characterise import batch

        self.unit, self.second, self.name = units[0], second, name
        self.units = units
        self.batch = batch(units) if len(units) > 1 else None

    def data(self) -> dict[str, Any]:
        from system.sheets import characterise_data as sheet

        return sheet.single(self.unit, self.second) if self.batch is None else sheet.several(self.batch)

    def text(self) -> str:
        from system.sheets import characterise_texts as sheet

        if self.batch is None:
            return sheet.single(self.unit, self.second, self.name)
        return sheet.several(self.batch, self.name)

    def block(self) -> list[str]:
        from system.sheets import characterise_data, characterise_texts

        if self.batch is None:
            return characterise_data.block(self.unit, characterise_texts.made(self.unit, self.second))
        return characterise_texts.typical_block(self.batch)

    def graphs(self) -> Any:
        from system.sheets import characterise_graphs as sheet

        return sheet.single(self.unit, self.second) if self.batch is None else sheet.several(self.batch)

    def csv(self) -> dict[str, str]:
        from system.sheets import characterise_data as sheet

        files = {"figures.csv": sheet.figures_csv(self.units)}
        if self.batch is not None:
            files["pairs.csv"] = sheet.pairs_csv(self.batch)
        for i, unit in enumerate(self.units, 1):
            files[f"sweep-{i}.csv"] = sheet.curve_csv(unit)
        return files


def _refused(unit: Measured, file: Path) -> Finding:
    from system.findings import Finding

    return Finding("warning", "sweep_refused", str(file), 1, 1, "", f"{unit.refused}", "")


class _Asked:
    """What was asked for, with everything that is wrong with it."""

    def __init__(self) -> None:
        self.findings: list[Finding] = []

    def wrong(self, found: str, allowed: str, code: str = "usage") -> None:
        from system.findings import COMMAND_LINE, Finding

        self.findings.append(Finding("error", code, COMMAND_LINE, 1, 1, "", found, allowed))

    def refuse(self) -> None:
        """Raises KitError with all of it, if there is any."""
        from system.findings import KitError

        if self.findings:
            raise KitError(self.findings)

    def so(self, make: Callable[[], T]) -> T | None:
        """What is made, or None where it cannot be."""
        from system.findings import KitError

        try:
            return make()
        except KitError as error:
            self.findings += error.findings
            return None

    def take(self, option: str, text: str | None, read: Callable[[str], T]) -> T | None:
        """The value of an option that was given and can be read."""
        from system.quantity import QuantityError

        if text is None:
            return None
        try:
            return read(text)
        except QuantityError as error:
            # a space would end the option
            quotes = ", in quotes" if error.code == "quantity_no_unit" else ""
            self.wrong(f"{option} {error.found}", error.allowed + quotes, error.code)
            return None

    @staticmethod
    def ohms(text: str) -> float:
        """A resistance; here a bare number is ohm."""
        from system import quantity

        low, high = 0.1, 1000.0
        try:
            return quantity.read(text, "resistance", f"{low:g} ohm", f"{high:g} ohm")
        except quantity.QuantityError as error:
            if error.code != "quantity_no_unit":
                raise
        return quantity.read_number(text, low, high)

    @staticmethod
    def area(text: str) -> float:
        from system import quantity
        from system.bench.characterise import area

        return area(quantity.read(text, "length", "5 mm", "1 m"))

    def second(self, added: tuple[str, Path] | None, box: tuple[str, Path] | None) -> tuple[str, float, Path] | None:
        """The method of the second sweep, its amount in SI units and its file."""
        from system import quantity

        if added is not None and box is not None:
            self.wrong("--added-mass together with --known-box", "one second sweep at a time")
        found = None
        for method, given in (("added_mass", added), ("known_box", box)):
            if given is not None:
                text, path = given
                dimension, low, high = RANGES[method]
                read = partial(quantity.read, dimension=dimension, low=low, high=high)
                amount = self.take(f"--{method.replace('_', '-')}", text, read)
                found = (method, 0.0 if amount is None else amount, path)
        return found

    def check(self, sweeps: Sequence[Path], second: object, dc: str | None, model: str | None, name: str) -> None:
        """What does not go together, and names that are not known."""
        from system.bench.fitting_models import COILS
        from system.document import advice

        if len(sweeps) > 1:
            for given, words in ((second, "a second sweep"), (dc, "--dc")):
                if given is not None:
                    self.wrong(f"{words} together with {len(sweeps)} drivers", "it is of one driver: give one SWEEP")
        twice = {path for path in sweeps if sum(path == other for other in sweeps) > 1}
        for path in sorted(twice):
            self.wrong(f"{path} comes twice", "each sweep is another driver")
        if model is not None and model not in COILS:
            self.wrong(f"--model {model}", advice(model, list(COILS)))
        if not name.isidentifier():
            self.wrong(f"--name {name}", "a name of letters, digits and underscores, as in a kit file")

    def second_sweep(self, method: str, amount: float, path: Path) -> Second | None:
        from system.bench.characterise import Second
        from system.bench.sweeps import read_sweep

        sweep = self.so(partial(read_sweep, path))
        return Second(method, amount, sweep) if sweep else None
