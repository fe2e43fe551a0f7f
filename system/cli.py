"""The commands: thin, one call of `system` each. What needs numpy is imported inside the command that needs it."""

from __future__ import annotations

import functools
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer
from typer.core import TyperGroup

from system.sheets.showing import Showing, say, say_data, write_csv

if TYPE_CHECKING:
    from system.findings import KitError
    from system.kit import Kit, Variant

GROUPS = {  # how the help lists the commands
    "Receive": ("start", "proofread"),
    "Predict": ("predict", "limits", "stress", "compare"),
    "Choose": ("protect",),
    "Reference": ("schema", "explain"),
}
FIRST_SCREEN = "overview"  # what `kitwright KIT.yaml` alone runs


class _Commands(TyperGroup):
    """Lists the commands by what they are for."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        for title, names in GROUPS.items():
            with formatter.section(title):
                formatter.write_dl([(name, self.commands[name].get_short_help_str(90)) for name in names])


app = typer.Typer(
    cls=_Commands,
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"]},
    help="Works out a loudspeaker kit: what each cabinet variant will do, what gives first, what protects its woofers,"
    " which parts to fit.\n\n`kitwright KIT.yaml` alone shows every variant on one screen.",
)

KitFile = Annotated[Path, typer.Argument(metavar="KIT.yaml", help="The kit file.", show_default=False)]
Variants = Annotated[
    list[str] | None, typer.Option("--variant", metavar="NAME", help="Only this variant; may be given again.")
]
Settings = Annotated[
    list[str] | None,
    typer.Option("--set", metavar="PATH=VALUE", help="What if: replace a value of the kit file; may be given again."),
]
AsJson = Annotated[bool, typer.Option("--json", help="JSON on standard output.")]
Output = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="FILE", help="Write to FILE: .svg, .png, .pdf a picture; .txt, .json text."),
]
Seed = Annotated[int, typer.Option(metavar="N", help="Seed of what is drawn at random: the programme in time.")]
Force = Annotated[bool, typer.Option("--force", help="Replace files that are there already.")]
Volts = Annotated[float, typer.Option(metavar="V", help="Volts rms at the amplifier's output.")]
From = Annotated[float | None, typer.Option("--from", metavar="HZ", help="Lowest frequency. [default: 20]")]
To = Annotated[float | None, typer.Option("--to", metavar="HZ", help="Highest frequency. [default: 20000]")]
Points = Annotated[int | None, typer.Option(metavar="N", help="Number of frequencies. [default: 400]")]
Frequencies = Annotated[
    str | None, typer.Option(metavar="FILE", help="Frequencies from a file, one in Hz a line; - for standard input.")
]
CsvFolder = Annotated[Path | None, typer.Option("--csv", metavar="FOLDER", help="Also write the curves as CSV files.")]


def _command(function: Callable[..., None]) -> Callable[..., None]:
    """Give a command the exit statuses of the program: 2 for bad input, 70 for a fault of ours, 130 interrupted."""

    @functools.wraps(function)
    def run(*args: Any, **kwargs: Any) -> None:
        from system.findings import KitError

        try:
            function(*args, **kwargs)
        except KitError as error:
            _refuse(error, kwargs.get("as_json", False))
        except KeyboardInterrupt:
            raise typer.Exit(130) from None
        except (typer.Exit, BrokenPipeError):
            raise
        except Exception as error:
            where = error.__traceback__
            while where and where.tb_next:
                where = where.tb_next
            line = f" ({Path(where.tb_frame.f_code.co_filename).name}:{where.tb_lineno})" if where else ""
            say(f"kitwright: a fault of ours, not of your input: {type(error).__name__}: {error}{line}")
            raise typer.Exit(70) from None

    return run


def _refuse(error: KitError, as_json: bool) -> NoReturn:
    for finding in error.findings:
        say(finding.text())
    if as_json:
        from system.sheets.data import document

        say_data(document(error.kit, error.findings))
    raise typer.Exit(2)


def _load(kit: Path, settings: Sequence[str] | None) -> Kit:
    from system.kitfile import load_kit

    return load_kit(kit, tuple(settings or ()))


def _chosen(kit: Kit, names: Sequence[str] | None) -> list[Variant]:
    """The variants asked for, in the order of the file, or all of them."""
    from system.findings import usage_error

    unknown = [name for name in names or () if name not in kit.variants]
    if unknown:
        raise usage_error(f"--variant {', '.join(unknown)}", f"the kit's variants: {', '.join(kit.variants)}")
    return [variant for name, variant in kit.variants.items() if not names or name in names]


def _frequencies(source: str | None, start: float | None, stop: float | None, points: int | None) -> Any:
    """The grid asked for, or None where nothing was said."""
    from system import grid
    from system.findings import usage_error

    given = (start, stop, points)
    if source is not None:
        if any(value is not None for value in given):
            raise usage_error("--frequencies together with --from, --to or --points", "one or the other")
        return grid.listed(source)
    if all(value is None for value in given):
        return None
    return grid.logarithmic(
        20.0 if start is None else start, 20e3 if stop is None else stop, 400 if points is None else points
    )


def _volts(value: float) -> float:
    from system.findings import usage_error

    if not 1e-6 <= value <= 1000:
        raise usage_error(f"--volts {value:g}", "above 0, up to 1000 V rms")
    return value


@app.command()
@_command
def start(
    smallest: Annotated[bool, typer.Option("--smallest", help="The twelve lines that are enough.")] = False,
    output: Output = None,
    force: Force = False,
) -> None:
    """Write a commented kit file to edit."""
    from system.examples import template

    text = template("smallest" if smallest else "start")
    if output is None:
        say_data(text.rstrip("\n"))
        return
    from system.output import write_file

    write_file(output, text, force)
    say(f"{output} written; next: kitwright proofread {output}")


@app.command()
@_command
def proofread(kit: KitFile, settings: Settings = None, as_json: AsJson = False) -> None:
    """Every fault of a kit file, with line and column; nothing is computed."""
    loaded = _load(kit, settings)
    for finding in loaded.findings:
        say(finding.text())
    if as_json:
        from system.sheets.data import document

        say_data(document(loaded.name, loaded.findings))
    else:
        counts = [sum(f.severity == severity for f in loaded.findings) for severity in ("warning", "note")]
        say_data(f"{kit}: no errors, {counts[0]} warnings, {counts[1]} notes")


@app.command()
@_command
def predict(
    kit: KitFile,
    variant: Variants = None,
    volts: Volts = 2.83,
    frequencies: Frequencies = None,
    start: From = None,
    stop: To = None,
    points: Points = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    netlist: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a SPICE netlist of the variant (give one --variant).")
    ] = None,
    seed: Seed = 0,
    force: Force = False,
) -> None:
    """Response, impedance, excursion, opening speed and driver voltages of each variant."""
    from system import grid
    from system.checks import examine
    from system.detail import predict_in_detail as compute
    from system.sheets import data, texts

    loaded = _load(kit, settings)
    asked = _frequencies(frequencies, start, stop, points)
    volts = _volts(volts)
    variants = _chosen(loaded, variant)
    showing = Showing.of(kit, output, as_json, force)
    curves = as_json or showing.drawn or csv is not None
    frequency = asked if asked is not None else grid.logarithmic() if curves else grid.THIRD_OCTAVES
    results = [compute(loaded, each, frequency, volts) for each in variants]
    findings = (*loaded.findings, *examine(loaded, results))
    if netlist is not None:
        _write_netlist(loaded, variants, netlist, force)
    if csv is not None:
        write_csv(csv, {f"{r.variant.name}.csv": data.prediction_csv(r) for r in results}, force)

    def document() -> str:
        content = {r.variant.name: data.prediction(r) for r in results}
        return data.document(loaded.name, findings, frequency_hz=data.numbers(frequency), variants=content)

    showing.show(
        findings,
        lambda graphs: graphs.predictions(loaded, results),
        document,
        (lambda: texts.predictions(loaded, results)) if netlist is None else None,
    )


def _write_netlist(kit: Kit, variants: Sequence[Variant], path: Path, force: bool) -> None:
    from system.findings import usage_error
    from system.netlist import netlist
    from system.output import write_file

    if len(variants) != 1:
        raise usage_error(
            f"--netlist for {len(variants)} variants", "one --variant NAME, since a netlist is one circuit"
        )
    write_file(path, netlist(kit, variants[0]), force)


@app.command()
@_command
def limits(
    kit: KitFile,
    variant: Variants = None,
    frequencies: Frequencies = None,
    start: From = None,
    stop: To = None,
    points: Points = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    seed: Seed = 0,
    force: Force = False,
) -> None:
    """What gives first, at how many volts, how loud and how hot. Exit status 1 where full volume is too much."""
    from system import grid
    from system.ceilings import ceilings
    from system.checks import examine
    from system.sheets import data, limit_data, limit_texts

    loaded = _load(kit, settings)
    asked = _frequencies(frequencies, start, stop, points)
    variants = _chosen(loaded, variant)
    showing = Showing.of(kit, output, as_json, force)
    curves = as_json or showing.drawn or csv is not None
    frequency = asked if asked is not None else grid.logarithmic() if curves else grid.THIRD_OCTAVES
    results = ceilings(loaded, variants, frequency, seed)
    findings = (*loaded.findings, *examine(loaded, [result.prediction for result in results]))
    if csv is not None:
        write_csv(csv, {f"{r.limits.variant.name}.csv": limit_data.limits_csv(r) for r in results}, force)

    def document() -> str:
        content = {r.limits.variant.name: limit_data.limits(r) for r in results}
        return data.document(loaded.name, findings, frequency_hz=data.numbers(frequency), variants=content)

    def picture(graphs: Any) -> Any:
        from system.protect import protect

        return graphs.limits(loaded, results, {each.name: protect(loaded, each) for each in variants})

    showing.show(findings, picture, document, lambda: limit_texts.limits(loaded, results))
    if any(result.limits.exceeded for result in results):
        raise typer.Exit(1)


@app.command()
@_command
def stress(
    kit: KitFile,
    variant: Variants = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    seed: Seed = 0,
    force: Force = False,
) -> None:
    """What each part bears, against its ratings, and what to order. Exit status 1 where a part fails."""
    from system.ceilings import swept_case
    from system.checks import examine
    from system.sheets import data, limit_data, stress_texts
    from system.stress import stress as compute

    loaded = _load(kit, settings)
    showing = Showing.of(kit, output, as_json, force)
    cases = [swept_case(loaded, each) for each in _chosen(loaded, variant)]
    findings = (*loaded.findings, *examine(loaded, [case.result for case in cases]))
    results = [compute(case) for case in cases]
    if csv is not None:
        write_csv(csv, {"stress.csv": limit_data.stress_csv(results)}, force)

    def document() -> str:
        content = {result.variant.name: limit_data.stress(result) for result in results}
        return data.document(loaded.name, findings, variants=content)

    showing.show(
        findings,
        lambda graphs: graphs.stress(loaded, cases),
        document,
        lambda: stress_texts.stress(loaded, results),
    )
    if any(result.fails for result in results):
        raise typer.Exit(1)


@app.command()
@_command
def compare(
    kit: KitFile,
    other: Annotated[Path | None, typer.Argument(metavar="[KIT2.yaml]", help="Another kit beside it.")] = None,
    variant: Variants = None,
    volts: Volts = 2.83,
    frequencies: Frequencies = None,
    start: From = None,
    stop: To = None,
    points: Points = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    seed: Seed = 0,
    force: Force = False,
) -> None:
    """The variants side by side: one table, overlaid plots."""
    from system import grid
    from system.compare import compare as compute
    from system.sheets import data, texts

    kits = [_load(path, settings) for path in (kit, other) if path is not None]
    volts = _volts(volts)
    showing = Showing.of(kit, output, as_json, force)
    asked = _frequencies(frequencies, start, stop, points)
    frequency = grid.logarithmic() if asked is None else asked
    result = compute(kits, [_chosen(loaded, variant) for loaded in kits], frequency, volts)
    if csv is not None:
        write_csv(csv, {f"{name}.csv": data.prediction_csv(p) for name, p in result.predictions.items()}, force)
    showing.show(
        result.findings,
        lambda graphs: graphs.comparison(result),
        lambda: data.document(kits[0].name, result.findings, **data.comparison(result)),
        lambda: texts.comparison(result),
    )


@app.command()
@_command
def protect(
    kit: KitFile,
    variant: Variants = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    seed: Seed = 0,
    force: Force = False,
) -> None:
    """Does a woofer need a high-pass? Verdict, evidence, choices from stock."""
    from system.checks import examine_impedance
    from system.protect import protect as compute
    from system.sheets import data, texts

    loaded = _load(kit, settings)
    showing = Showing.of(kit, output, as_json, force)
    variants = _chosen(loaded, variant)
    findings = (*loaded.findings, *examine_impedance(loaded, variants))
    verdicts = {each.name: compute(loaded, each) for each in variants}
    if csv is not None:
        write_csv(csv, {"choices.csv": data.choices_csv(v for each in verdicts.values() for v in each)}, force)

    def document() -> str:
        content = {name: {v.driver: data.verdict(v) for v in each} for name, each in verdicts.items()}
        return data.document(loaded.name, findings, variants=content)

    showing.show(
        findings,
        lambda graphs: graphs.protection(loaded, verdicts),
        document,
        lambda: texts.protection(loaded, verdicts),
    )


@app.command()
@_command
def schema() -> None:
    """JSON Schema of the kit file, for editors that check as you type."""
    import json

    from system.kitfile import kit_schema

    say_data(json.dumps(kit_schema(), indent=1, ensure_ascii=False))


@app.command()
@_command
def explain(code: Annotated[str, typer.Argument(metavar="CODE|units", help="A finding's code, or `units`.")]) -> None:
    """What a finding's code means, or every unit that a kit file may use."""
    from system.codes import explanation
    from system.quantity import units_text

    say_data(units_text() if code == "units" else explanation(code))


@app.command(FIRST_SCREEN, hidden=True)
@_command
def overview(kit: KitFile, variant: Variants = None, settings: Settings = None) -> None:
    """Every variant on one screen: verdict, how loud, how low, how hard on the amplifier, which parts differ."""
    from system.overview import overview as compute
    from system.sheets.texts import first_screen

    loaded = _load(kit, settings)
    say_data(first_screen(kit, compute(loaded, _chosen(loaded, variant))))


@app.callback(invoke_without_command=True)
def _options(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Show the version and stop.")] = False,
) -> None:
    if version:
        from importlib import metadata

        try:
            installed = metadata.version("kitwright")
        except metadata.PackageNotFoundError:
            installed = "from a checkout that is not installed"
        say_data(f"kitwright {installed}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        say_data(context.get_help())


def _is_kit(word: str) -> bool:
    """Whether a word of the command line can only be a kit file: by its ending, or because there is such a file."""
    return word.lower().endswith((".yaml", ".yml")) or Path(word).exists()


def main() -> None:
    """The `kitwright` command. A first word that is no command but looks like a file is a kit: its first screen."""
    for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(threads, "1")  # many small matrices: a second thread would only wait for the first
    arguments = sys.argv[1:]
    commands = {name for names in GROUPS.values() for name in names}
    kits = [word for word in arguments if not word.startswith("-") and (_is_kit(word) or os.sep in word)]
    if kits and arguments[0] not in commands:
        arguments = [FIRST_SCREEN, *arguments]
    try:
        status = app(args=arguments, prog_name="kitwright", standalone_mode=False)
    except BrokenPipeError:
        # whoever read our output has gone: not a fault, but nothing more can be said
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 141
    except Exception as error:
        if not hasattr(error, "format_message"):  # what the command-line library raises for bad usage
            raise
        status = _bad_usage(error.format_message().rstrip("."), "--json" in arguments)
    raise SystemExit(status or 0)


def _bad_usage(found: str, as_json: bool) -> int:
    from system.findings import usage_error

    try:
        _refuse(usage_error(found, "kitwright --help, or kitwright COMMAND --help, lists what there is"), as_json)
    except typer.Exit as stop:
        return stop.exit_code
